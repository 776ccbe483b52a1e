"""Moments as text: ISO 8601 in UTC with milliseconds and `Z`; and the names that frames get from them."""

import re
from datetime import UTC, datetime, timedelta

_TOKEN = re.compile(r"[0-9a-f]{4}")


def utc_text(moment: datetime) -> str:
    """`2026-10-14T17:21:10.250Z`, rounded to the millisecond. `moment` must know its offset."""
    assert moment.utcoffset() is not None, "a moment without an offset is not a moment"
    rounded = moment.astimezone(UTC) + timedelta(microseconds=500)
    return f"{rounded:%Y-%m-%dT%H:%M:%S}.{rounded.microsecond // 1000:03d}Z"


def utc_from(text: str) -> datetime:
    """The moment in UTC named by ISO 8601 `text` with an offset. Raises `ValueError` with a sentence."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is not a time such as 2026-10-14T17:21:10Z") from None
    if moment.utcoffset() is None:
        raise ValueError(f"{text!r} has no offset from UTC: end it with Z, or with one such as +02:00")
    try:
        return moment.astimezone(UTC)
    except OverflowError:
        raise ValueError(f"{text!r} lies outside the years 1 to 9999") from None


def mint_frame_id(now_utc: datetime, token: str) -> str:
    """The one name of a frame, `20261014-172110-3f2a`: sorts by time.

    `token`, four lower-case hexadecimal digits, tells twins of one second apart.
    """
    assert _TOKEN.fullmatch(token), "a token is four lower-case hexadecimal digits"
    return f"{now_utc.astimezone(UTC):%Y%m%d-%H%M%S}-{token}"
