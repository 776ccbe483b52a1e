"""The sky's light over time: published rates, and its integral against brute force."""

import math
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from duskhold.light.crossings import Crossing, Direction, SunPath, solar_day
from duskhold.light.opentime import OpenTime, solve_curve
from duskhold.light.place import Place
from duskhold.light.skybodies import moon_face, moon_position, sun_position
from duskhold.light.skycurve import SkyCurve
from duskhold.light.skylight import moon_illuminance_lx, sun_illuminance_lx

# Evenings at new moon, so that the sun's light stands alone.
EQUINOX, JUNE, DECEMBER = date(2015, 3, 20), date(2020, 6, 21), date(2014, 12, 21)
SUNSET_DEG = -0.8333


def passing(place: Place, day: date, altitude_deg: float, direction: Direction = Direction.DOWN) -> datetime:
    found = SunPath(place, *solar_day(place, day)).events(altitude_deg, direction)
    assert isinstance(found, tuple)
    first = found[0]
    assert isinstance(first, Crossing)
    return first.at_utc


@pytest.mark.parametrize(
    ("latitude_deg", "day", "rates"),
    # Stops per minute at -0.833, -3, -6, -9 degrees: almanac table 12.8 times the sun's motion
    [
        (0, EQUINOX, (0.243, 0.334, 0.410, 0.383)),
        (30, EQUINOX, (0.211, 0.289, 0.354, 0.330)),
        (45, EQUINOX, (0.172, 0.236, 0.288, 0.267)),
        (45, JUNE, (0.140, 0.186, 0.215, 0.186)),
        (60, EQUINOX, (0.122, 0.166, 0.201, 0.184)),
        (60, DECEMBER, (0.078, 0.118, 0.161, 0.162)),
    ],
)
def test_published_rates(latitude_deg: float, day: date, rates: tuple[float, ...]) -> None:
    place = Place(latitude_deg, 0.0)
    for altitude_deg, rate in zip((SUNSET_DEG, -3.0, -6.0, -9.0), rates, strict=True):
        curve = SkyCurve(place, passing(place, day, altitude_deg))
        assert -curve.rate_stops_per_min(0.0) == pytest.approx(rate, abs=0.001)


@pytest.mark.parametrize(("latitude_deg", "minutes"), [(0, 4.98), (30, 5.75), (45, 7.04), (60, 9.97)])
def test_longest_plain_time_from_sunset_to_minus_18(latitude_deg: float, minutes: float) -> None:
    # Quadrature of almanac table 12.8 at an equinox
    place = Place(latitude_deg, 0.0)
    sunset = passing(place, EQUINOX, SUNSET_DEG)
    length_s = (passing(place, EQUINOX, -18.0) - sunset).total_seconds()
    curve = SkyCurve(place, sunset)
    assert curve.dose(0.0, length_s) / curve.level(0.0) / 60.0 == pytest.approx(minutes, rel=0.002)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(min_value=-90, max_value=90),
    st.floats(min_value=0.0, max_value=5800.0),
    st.floats(min_value=-3000.0, max_value=3000.0),
    st.floats(min_value=0.0, max_value=900.0),
)
def test_dose_is_the_integral(latitude_deg: float, day: float, from_s: float, length_s: float) -> None:
    zero_utc = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(days=day)
    curve = SkyCurve(Place(latitude_deg, 10.0), zero_utc)
    steps = 2000
    levels = [curve.level(from_s + length_s * (i + 0.5) / steps) for i in range(steps)]
    brute_force = math.fsum(levels) * length_s / steps
    # A moonrise at night doubles the table's light at once, which brute force and bisection place by their step.
    allowed = max(levels) * (0.05 + length_s / steps)
    assert curve.dose(from_s, from_s + length_s) == pytest.approx(brute_force, rel=1e-5, abs=allowed)


@settings(max_examples=60, deadline=None)
@given(st.floats(min_value=-90, max_value=90), st.floats(min_value=0.0, max_value=5800.0))
def test_level_is_sun_and_moon_of_the_ephemeris(latitude_deg: float, day: float) -> None:
    place, at_s = Place(latitude_deg, -70.0), 1234.5
    zero_utc = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(days=day)
    at_utc = zero_utc + timedelta(seconds=at_s)
    sun_lx = sun_illuminance_lx(sun_position(place, at_utc).altitude_deg)
    moon_lx = moon_illuminance_lx(moon_position(place, at_utc).altitude_deg, moon_face(at_utc))
    assert abs(math.log2(SkyCurve(place, zero_utc).level(at_s) / (sun_lx + moon_lx))) < 0.016


@settings(max_examples=60, deadline=None)
@given(st.floats(min_value=-85, max_value=85), st.floats(min_value=0.0, max_value=5800.0))
def test_rate_is_the_slope_of_the_level(latitude_deg: float, day: float) -> None:
    curve = SkyCurve(Place(latitude_deg, 0.0), datetime(2020, 1, 1, tzinfo=UTC) + timedelta(days=day))
    rise_stops = math.log2(curve.level(1.0) / curve.level(-1.0))
    if abs(rise_stops) < 0.03:  # else a joint of the table or the moon's last row lies between
        steps_allowed = 0.0145 if curve._rows(-1.0) != curve._rows(1.0) else 0.0
        assert curve.rate_stops_per_min(0.0) == pytest.approx(rise_stops * 30.0, abs=2e-4 + steps_allowed * 31)


def correction_stops(
    latitude_deg: float, plain_s: float, delay_s: float, altitude_deg: float, direction: Direction, day: date
) -> float:
    place = Place(latitude_deg, 0.0)
    metered = passing(place, day, altitude_deg, direction) - timedelta(seconds=delay_s)
    found = solve_curve(SkyCurve(place, metered), plain_s, 0.0, delay_s)
    assert isinstance(found, OpenTime)
    return math.log2(found.open_s / plain_s)


@pytest.mark.parametrize(
    ("latitude_deg", "altitude_deg", "direction", "needed"),
    # A 2-minute frame opened then, metered 1, 2, 3 minutes before; full integral at an equinox
    [
        (30, SUNSET_DEG, Direction.DOWN, (0.50, 0.75, 1.01)),
        (40, SUNSET_DEG, Direction.DOWN, (0.43, 0.65, 0.86)),
        (45, SUNSET_DEG, Direction.DOWN, (0.39, 0.59, 0.78)),
        (50, SUNSET_DEG, Direction.DOWN, (0.35, 0.52, 0.70)),
        (60, SUNSET_DEG, Direction.DOWN, (0.26, 0.39, 0.52)),
        (45, SUNSET_DEG, Direction.UP, (-0.31, -0.48, -0.65)),
        (45, -4.0, Direction.DOWN, (0.65, 1.00, 1.40)),
    ],
)
def test_what_a_two_minute_frame_needs(
    latitude_deg: float, altitude_deg: float, direction: Direction, needed: tuple[float, ...]
) -> None:
    found = [
        correction_stops(latitude_deg, 120.0, 60.0 * minutes, altitude_deg, direction, EQUINOX) for minutes in (1, 2, 3)
    ]
    assert found == pytest.approx(needed, abs=0.012)


def test_half_to_three_quarters_of_a_stop_holds_where_it_holds_and_not_elsewhere() -> None:
    # Common practice, no source: "half to three quarters of a stop at sunset".
    middle = [
        correction_stops(latitude, 120.0, delay_s, SUNSET_DEG, Direction.DOWN, EQUINOX)
        for latitude, delay_s in ((40, 120.0), (45, 120.0), (50, 120.0), (50, 180.0))
    ]
    assert all(0.5 <= stops <= 0.75 for stops in middle)
    everywhere = [
        correction_stops(latitude, plain_s, delay_s, SUNSET_DEG, Direction.DOWN, day)
        for latitude in (0, 10, 20, 30, 40, 50, 60)
        for day in (EQUINOX, JUNE, DECEMBER)
        for plain_s in (60.0, 120.0, 180.0)
        for delay_s in (60.0, 120.0, 180.0)
    ]
    inside = sum(0.5 <= stops <= 0.75 for stops in everywhere)
    assert len(everywhere) == 189
    assert 0.2 < inside / len(everywhere) < 0.35
    assert sorted(everywhere)[94] == pytest.approx(0.60, abs=0.05)
