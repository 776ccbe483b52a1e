"""Crossings of sun altitudes: a printed example, and none lost or invented anywhere on Earth."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from duskhold.light.crossings import Absence, Crossing, Direction, NoCrossing, SunPath, solar_day
from duskhold.light.place import Place
from duskhold.light.skybodies import sun_position

SUNSET_DEG = -0.8333


def only(path: SunPath, altitude_deg: float, direction: Direction) -> Crossing:
    found = path.events(altitude_deg, direction)
    assert isinstance(found, tuple)
    assert len(found) == 1
    return found[0]


def test_nrel_sunrise_and_sunset() -> None:
    # NREL/TP-560-34302, table A5.1: 06:12:43 and 17:20:19 at UTC-7, both of the UT day, so that the sunset is the
    # one at 00:20:19 UT, of the evening before.
    day = datetime(2003, 10, 17, tzinfo=UTC)
    path = SunPath(Place(39.742476, -105.1786), day, day + timedelta(days=1))
    rise = only(path, -(0.5667 + 0.26667), Direction.UP).at_utc
    fall = only(path, -(0.5667 + 0.26667), Direction.DOWN).at_utc
    assert abs((rise - day - timedelta(hours=13, minutes=12, seconds=43)).total_seconds()) < 2.0
    assert abs((fall - day - timedelta(minutes=20, seconds=19)).total_seconds()) < 2.0


def test_the_solar_day_begins_at_local_mean_midnight() -> None:
    begins, ends = solar_day(Place(10.0, -90.0), date(2026, 10, 14))
    assert begins == datetime(2026, 10, 14, 6, tzinfo=UTC)
    assert ends - begins == timedelta(days=1)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(min_value=-90, max_value=90),
    st.floats(min_value=-180, max_value=180),
    st.integers(min_value=0, max_value=5800),
    st.floats(min_value=-20.0, max_value=20.0),
)
def test_none_lost_and_none_invented(latitude_deg: float, longitude_deg: float, day: int, altitude_deg: float) -> None:
    place = Place(latitude_deg, longitude_deg)
    from_utc = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(days=day)
    until_utc = from_utc + timedelta(days=1)
    path = SunPath(place, from_utc, until_utc)
    found = path.crossings(altitude_deg)
    for each in found:
        assert from_utc <= each.at_utc <= until_utc
        assert sun_position(place, each.at_utc).altitude_deg == pytest.approx(altitude_deg, abs=1e-4)
    directions = [each.direction for each in found]
    assert all(a is not b for a, b in pairwise(directions))
    # Every minute lies on the side that the crossings before it say.
    above = sun_position(place, from_utc).altitude_deg >= altitude_deg
    for minute in range(0, 1441, 4):
        at_utc = from_utc + timedelta(minutes=minute)
        passed = [each for each in found if each.at_utc <= at_utc]
        expected = passed[-1].direction is Direction.UP if passed else above
        seen_deg = sun_position(place, at_utc).altitude_deg
        assert (seen_deg >= altitude_deg) == expected or abs(seen_deg - altitude_deg) < 1e-4


def test_two_sunsets_in_one_utc_day_are_both_found() -> None:
    # In autumn sunset comes earlier every day: with one just after midnight UTC the next is just before the end.
    day = datetime(2026, 10, 14, tzinfo=UTC)
    wide = SunPath(Place(60.0, -95.0), day - timedelta(hours=12), day + timedelta(hours=12))
    sunset = only(wide, SUNSET_DEG, Direction.DOWN).at_utc
    longitude_deg = -95.0 + (sunset - day - timedelta(seconds=60)).total_seconds() / 240.0
    place = Place(60.0, longitude_deg)
    found = SunPath(place, day, day + timedelta(days=1)).events(SUNSET_DEG, Direction.DOWN)
    assert isinstance(found, tuple)
    assert [each.at_utc.hour for each in found] == [0, 23]


def test_a_touch_of_seconds_is_found_and_a_miss_is_not() -> None:
    place = Place(66.0, 20.0)
    midnight, _ = solar_day(place, date(2026, 6, 10))
    path = SunPath(place, midnight - timedelta(hours=6), midnight + timedelta(hours=18))
    touched = path.crossings(path.highest_deg - 1e-4)
    assert [each.direction for each in touched] == [Direction.UP, Direction.DOWN]
    assert (touched[1].at_utc - touched[0].at_utc).total_seconds() < 120.0
    assert path.crossings(path.highest_deg + 1e-4) == ()
    assert len(path.crossings(path.lowest_deg + 1e-4)) == 2
    assert path.crossings(path.lowest_deg - 1e-4) == ()


def test_a_turn_in_the_first_or_last_minutes_is_found() -> None:
    place = Place(66.0, 20.0)
    middle = SunPath(place, *solar_day(place, date(2026, 6, 10)))
    top = middle.crossings(middle.highest_deg - 1e-3)
    noon = top[0].at_utc + (top[1].at_utc - top[0].at_utc) / 2
    for from_utc in (noon - timedelta(minutes=3), noon - timedelta(hours=2) + timedelta(minutes=3)):
        path = SunPath(place, from_utc, from_utc + timedelta(hours=2))
        assert len(path.crossings(middle.highest_deg - 1e-3)) == 2


@pytest.mark.parametrize(
    ("latitude_deg", "day", "altitude_deg", "reason"),
    [
        (69.6, date(2026, 6, 21), SUNSET_DEG, Absence.STAYS_ABOVE),
        (69.6, date(2026, 12, 21), SUNSET_DEG, Absence.STAYS_BELOW),
        (-90.0, date(2026, 6, 21), -18.0, Absence.STAYS_BELOW),
        (90.0, date(2026, 6, 21), -18.0, Absence.STAYS_ABOVE),
        (0.0, date(2026, 3, 20), 90.5, Absence.STAYS_BELOW),
    ],
)
def test_what_does_not_happen_is_a_value(latitude_deg: float, day: date, altitude_deg: float, reason: Absence) -> None:
    place = Place(latitude_deg, 0.0)
    path = SunPath(place, *solar_day(place, day))
    for direction in Direction:
        found = path.events(altitude_deg, direction)
        assert isinstance(found, NoCrossing)
        assert found.reason is reason
        assert found.lowest_deg <= found.highest_deg


@pytest.mark.parametrize(("latitude_deg", "first"), [(90.0, Direction.UP), (-90.0, Direction.DOWN)])
def test_at_a_pole_the_year_is_one_day(latitude_deg: float, first: Direction) -> None:
    place = Place(latitude_deg, 0.0)
    found = [
        only(SunPath(place, datetime(2026, month, 1, tzinfo=UTC), datetime(2026, month + 1, 1, tzinfo=UTC)), 0.0, way)
        for month, way in ((3, first), (9, Direction.UP if first is Direction.DOWN else Direction.DOWN))
    ]
    assert [each.at_utc.day for each in found] == pytest.approx([20, 23], abs=1)


def test_a_day_with_one_direction_only_says_so() -> None:
    place = Place(90.0, 0.0)
    year = SunPath(place, datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 4, 1, tzinfo=UTC))
    rise = only(year, 0.0, Direction.UP).at_utc
    path = SunPath(place, rise - timedelta(hours=12), rise + timedelta(hours=12))
    found = path.events(0.0, Direction.DOWN)
    assert isinstance(found, NoCrossing)
    assert found.reason is Absence.OTHER_DIRECTION_ONLY
