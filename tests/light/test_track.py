"""The interpolated altitude against the ephemeris it stands for, and its slope against geometry."""

import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from duskhold.light.place import Place
from duskhold.light.skybodies import moon_position, sun_position
from duskhold.light.track import AltitudeTrack

START = datetime(2020, 1, 1, tzinfo=UTC)
places = st.builds(Place, st.floats(min_value=-90, max_value=90), st.floats(min_value=-180, max_value=180))
days = st.floats(min_value=0.0, max_value=5800.0)
seconds = st.floats(min_value=-7200.0, max_value=9000.0)


@pytest.mark.parametrize("position", [sun_position, moon_position])
@settings(max_examples=150, deadline=None)
@given(place=places, day=days, at_s=seconds)
def test_within_a_thousandth_of_a_degree(position: object, place: Place, day: float, at_s: float) -> None:
    assert callable(position)
    zero_utc = START + timedelta(days=day)
    true_deg = position(place, zero_utc + timedelta(seconds=at_s)).altitude_deg
    found_deg = AltitudeTrack(position, place, zero_utc).altitude_deg(at_s)
    assert found_deg == pytest.approx(true_deg, abs=0.001 if abs(true_deg) < 89.0 else 0.02)


@settings(max_examples=150, deadline=None)
@given(place=places, day=days, at_s=seconds)
def test_slope_is_that_of_the_turning_earth(place: Place, day: float, at_s: float) -> None:
    zero_utc = START + timedelta(days=day)
    sun = sun_position(place, zero_utc + timedelta(seconds=at_s))
    # 0.25 degree per minute x cos latitude x sin azimuth, plus up to a degree a day of the sun's own.
    turning = 0.25 * math.cos(math.radians(place.latitude_deg)) * math.sin(math.radians(sun.azimuth_deg))
    if abs(sun.altitude_deg) < 89.0:
        slope = AltitudeTrack(sun_position, place, zero_utc).slope_deg_per_min(at_s)
        assert slope == pytest.approx(turning, abs=0.0008)
