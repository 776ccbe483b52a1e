"""What people type and what the settings say, read into the values that the commands work with."""

import argparse
import math
import os
import sys
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

from duskhold.faces.answer import Wrong
from duskhold.light.place import Place, parse_place
from duskhold.plan.limits import Limits
from duskhold.plan.stamp import utc_from

if TYPE_CHECKING:
    from duskhold.app.folders import Folders
    from duskhold.app.settings import Settings

FIRST_YEAR, LAST_YEAR = 1900, 2100
"""Years in which the sky is worked out."""

_NO_LETTERS = ("Cc", "Cs")
"""Control characters and lone surrogates, by their general category (Unicode standard, 4.5)."""
_SETTINGS_HINT = "config/example.yaml shows every setting; `duskhold set-up` writes a file that is right."

Value = TypeVar("Value")


def settings_of(args: argparse.Namespace) -> "Settings":
    """The settings that this command runs with. Raises `Wrong` naming file, line and field."""
    from duskhold.app.document import DocumentWrong
    from duskhold.app.settings import load_settings, settings_path

    path = settings_path(args.settings, os.environ)
    try:
        return load_settings(path)
    except DocumentWrong as wrong:
        field = wrong.problems[0].field or "--settings"
        raise Wrong("bad_settings", str(wrong), field=field, hint=_SETTINGS_HINT) from wrong
    except OSError as error:
        raise Wrong("bad_settings", f"{path} cannot be read: {error.strerror}.", field="--settings") from error


def limits_of(settings: "Settings") -> Limits:
    """The limits of an exposure as the settings have them."""
    return settings.limits.exposure()


def folders_of(args: argparse.Namespace, settings: "Settings") -> "Folders":
    """Where this command's data, camera state and sockets live."""
    from duskhold.app.folders import folders_for

    return folders_for(args.data or settings.data, os.environ)


@contextmanager
def saying_journal_errors() -> Iterator[None]:
    """Trouble with the journal becomes a `Wrong`: not ready, and what to do about it."""
    from duskhold.journal.database import JournalError

    try:
        yield
    except JournalError as error:
        raise Wrong(error.code, str(error), field="--data", hint=error.hint, exit_status=3) from error


def zone_of(settings: "Settings") -> tzinfo | None:
    """The zone for local times: that of the settings, or None for the machine's own."""
    return ZoneInfo(settings.zone) if settings.zone else None


def home_of(settings: "Settings") -> Place | None:
    """The place that the settings name."""
    return None if settings.place is None else settings.place.place()


def read(field: str, text: str, reader: Callable[[str], Value], hint: str | None = None) -> Value:
    """What `reader` makes of the text; its `ValueError` becomes a `Wrong` that names the option."""
    try:
        return reader(text)
    except ValueError as error:
        said = str(error)
        raise Wrong("bad_input", said[:1].upper() + said[1:] + ".", field=field, hint=hint) from error


def moment_of(field: str, text: str) -> datetime:
    """An instant in UTC; an offset is asked for."""
    moment = read(field, text, utc_from, "Times are ISO 8601 with an offset, such as 2026-10-14T17:21:10Z.")
    ensure_year(field, moment.year)
    return moment


def ensure_year(field: str, year: int) -> None:
    """Refuse years in which the sun and the moon are not worked out."""
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise Wrong("bad_input", f"The year {year} is not within {FIRST_YEAR} to {LAST_YEAR}.", field=field)


def place_of(field: str, text: str) -> Place:
    """A place given as LAT,LON."""
    return read(field, text, parse_place, "North and east are positive: --place -33.9,18.4")


def number_of(field: str, value: float, least: float, most: float, unit: str) -> float:
    """A number within bounds; NaN is in none."""
    if math.isfinite(value) and least <= value <= most:
        return value
    raise Wrong("bad_input", f"{value:g} is not within {least:g} to {most:g} {unit}.", field=field)


def line_of(field: str, text: str, longest: int) -> str:
    """What a person typed, on one line. What no text file can hold is refused: no journal forgets it again."""
    line = " ".join(text.split())
    strange = next((each for each in line if unicodedata.category(each) in _NO_LETTERS), None)
    if strange is not None:
        hint = "Bytes that are not UTF-8 come out so, and keys that move the cursor."
        raise Wrong("bad_input", f"It has U+{ord(strange):04X} in it, which is no letter.", field=field, hint=hint)
    if not 0 < len(line) <= longest:
        raise Wrong("bad_input", f"{len(line)} letters are not within 1 to {longest}.", field=field)
    return line


def person_is_there() -> bool:
    """Whether somebody sits at a terminal and can answer. A service may have no standard input at all."""
    return sys.stdin is not None and sys.stdin.isatty()


def now_utc() -> datetime:
    """The wall clock."""
    return datetime.now(UTC)
