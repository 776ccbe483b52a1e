"""Stamps: the form is ISO 8601 (extended, UTC designator Z); milliseconds are our own choice."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.plan.stamp import mint_frame_id, utc_from, utc_text

MOMENTS = st.integers(0, 4_102_444_800_000_000).map(
    lambda us: datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)
)


def test_milliseconds_and_z() -> None:
    assert utc_text(datetime(2026, 10, 14, 17, 21, 10, 250_000, UTC)) == "2026-10-14T17:21:10.250Z"


def test_rounding_carries_into_the_next_year() -> None:
    assert utc_text(datetime(2026, 12, 31, 23, 59, 59, 999_600, UTC)) == "2027-01-01T00:00:00.000Z"


def test_other_zones_become_utc() -> None:
    there = timezone(timedelta(hours=-9, minutes=-30))
    assert utc_text(datetime(2026, 10, 14, 17, 0, 0, 0, there)) == "2026-10-15T02:30:00.000Z"
    assert utc_from("2026-10-14T19:21:10+02:00") == datetime(2026, 10, 14, 17, 21, 10, 0, UTC)


@given(MOMENTS)
def test_text_and_back_within_half_a_millisecond(moment: datetime) -> None:
    assert abs(utc_from(utc_text(moment)) - moment) <= timedelta(microseconds=500)


@pytest.mark.parametrize("text", ["2026-10-14T17:21:10", "2026-10-14", "2026-10-14 17:21"])
def test_no_offset_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="has no offset from UTC"):
        utc_from(text)


@pytest.mark.parametrize("text", ["", "now", "2026-13-01T00:00:00Z", "17:21Z", "2026-10-14T25:00:00Z"])
def test_no_time_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a time such as"):
        utc_from(text)


def test_a_moment_outside_the_calendar_is_refused() -> None:
    with pytest.raises(ValueError, match="outside the years"):
        utc_from("0001-01-01T00:00:00+10:00")


def test_frame_ids_sort_by_time() -> None:
    first = mint_frame_id(datetime(2026, 10, 14, 17, 21, 10, 0, UTC), "ffff")
    later = mint_frame_id(datetime(2026, 10, 14, 17, 21, 11, 0, UTC), "0000")
    assert first == "20261014-172110-ffff"
    assert first < later
