"""Sun and moon against two reference libraries and two printed examples."""

import math
import warnings
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from pvlib import spa
from skyfield.api import Loader, wgs84

from duskhold.light.place import Place
from duskhold.light.skybodies import Position, moon_face, moon_position, sun_position

CASES = 1000
SLOW_CASES = 300  # the reference library takes its time over each
WITHIN_DEG = 0.01


def cases() -> list[tuple[Place, datetime]]:
    random = np.random.default_rng(20_261_014)
    first, last = datetime(2020, 1, 1, tzinfo=UTC), datetime(2036, 1, 1, tzinfo=UTC)
    span_s = (last - first).total_seconds()
    return [
        (
            Place(math.degrees(math.asin(random.uniform(-1, 1))), float(random.uniform(-180, 180))),
            first + timedelta(seconds=float(random.uniform(0, span_s))),
        )
        for _ in range(CASES)
    ]


def separation_deg(first: Position, altitude_deg: Any, azimuth_deg: Any) -> float:
    a1, a2 = math.radians(first.altitude_deg), math.radians(float(altitude_deg))
    across = math.radians(first.azimuth_deg - float(azimuth_deg))
    half = math.sin((a2 - a1) / 2) ** 2 + math.cos(a1) * math.cos(a2) * math.sin(across / 2) ** 2
    return math.degrees(2 * math.asin(math.sqrt(half)))


@pytest.fixture(scope="module")
def sky() -> Iterator[tuple[Any, Any]]:
    from skyfield_data import get_skyfield_data_path

    with warnings.catch_warnings():
        # The package's table of Earth rotation ends before today; the built-in one is used instead.
        warnings.filterwarnings("ignore", "The file finals2000A.all has expired", RuntimeWarning)
        load = Loader(get_skyfield_data_path())
    ephemeris = load("de421.bsp")
    yield ephemeris, load.timescale(builtin=True)
    ephemeris.close()


def test_sun_against_pvlib() -> None:  # pvlib's SPA: Reda and Andreas 2004, NREL/TP-560-34302
    asked = cases()
    columns = [
        [at_utc.timestamp() for _, at_utc in asked],
        [place.latitude_deg for place, _ in asked],
        [place.longitude_deg for place, _ in asked],
    ]
    unix_s, latitude, longitude = (np.array(column) for column in columns)
    no_air = {"elev": 0.0, "pressure": 0.0, "temp": 10.0, "atmos_refract": 0.0}
    found = spa.solar_position_numpy(unix_s, latitude, longitude, delta_t=69.3, numthreads=1, **no_air)
    airless_deg, azimuth_deg = found[3], found[4]
    apart_deg = [
        separation_deg(sun_position(place, at_utc), airless_deg[i], azimuth_deg[i])
        for i, (place, at_utc) in enumerate(asked)
    ]
    assert len(apart_deg) == CASES
    assert max(apart_deg) < WITHIN_DEG


@pytest.mark.parametrize(("body", "ours"), [("sun", sun_position), ("moon", moon_position)])
def test_sun_and_moon_against_skyfield(sky: tuple[Any, Any], body: str, ours: Any) -> None:
    ephemeris, timescale = sky
    worst = 0.0
    for place, at_utc in cases()[:SLOW_CASES]:
        observer = ephemeris["earth"] + wgs84.latlon(place.latitude_deg, place.longitude_deg)
        apparent = observer.at(timescale.from_datetime(at_utc)).observe(ephemeris[body]).apparent()
        altitude, azimuth, _ = apparent.altaz()
        worst = max(worst, separation_deg(ours(place, at_utc), altitude.degrees, azimuth.degrees))
    assert worst < WITHIN_DEG


def test_moon_face_against_skyfield(sky: tuple[Any, Any]) -> None:
    ephemeris, timescale = sky
    for _, at_utc in cases()[:300]:
        seen = ephemeris["earth"].at(timescale.from_datetime(at_utc)).observe(ephemeris["moon"]).apparent()
        face = moon_face(at_utc)
        assert face.phase_angle_deg == pytest.approx(seen.phase_angle(ephemeris["sun"]).degrees, abs=WITHIN_DEG)
        parallax_deg = math.degrees(math.asin(6378.14 / seen.distance().km))
        assert face.parallax_deg == pytest.approx(parallax_deg, abs=1e-4)


def test_nrel_worked_example() -> None:  # NREL/TP-560-34302, table A5.1; airless zenith by quadrature
    found = sun_position(Place(39.742476, -105.1786), datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC))
    assert 90.0 - found.altitude_deg == pytest.approx(50.127954, abs=0.003)
    assert found.azimuth_deg == pytest.approx(194.340241, abs=0.005)


def test_nrel_declination_and_equation_of_time() -> None:  # NREL/TP-560-34302, table A5.1
    declination_deg, equation_of_time_min, hours_utc = -9.31434, 14.64150, 19.0 + 30.5 / 60.0
    # Where it is apparent noon at that instant the sun stands due south, 90 - latitude + declination high.
    longitude_deg = (12.0 - hours_utc) * 15.0 - equation_of_time_min / 4.0
    found = sun_position(Place(40.0, longitude_deg), datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC))
    assert found.azimuth_deg == pytest.approx(180.0, abs=0.01)
    assert found.altitude_deg == pytest.approx(50.0 + declination_deg, abs=0.004)


def test_meeus_example() -> None:  # Meeus, Astronomical Algorithms, example 25.a: 1992-10-13.0 TD
    right_ascension_deg, declination_deg = 198.38083, -7.78507
    at_utc = datetime(1992, 10, 13, tzinfo=UTC) - timedelta(seconds=59)
    days = (at_utc - datetime(2000, 1, 1, 12, tzinfo=UTC)).total_seconds() / 86400.0
    sidereal_deg = 280.46061837 + 360.98564736629 * days  # Meeus, equation 12.4
    longitude_deg = (right_ascension_deg - sidereal_deg + 180.0) % 360.0 - 180.0
    found = sun_position(Place(40.0, longitude_deg), at_utc)
    assert found.azimuth_deg == pytest.approx(180.0, abs=0.015)
    assert found.altitude_deg == pytest.approx(50.0 + declination_deg, abs=0.004)


@pytest.mark.parametrize("latitude_deg", [90.0, -90.0])
def test_at_a_pole_the_altitude_is_the_declination(latitude_deg: float) -> None:
    at_utc = datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC)  # NREL/TP-560-34302, table A5.1
    found = sun_position(Place(latitude_deg, 0.0), at_utc)
    assert found.altitude_deg == pytest.approx(math.copysign(1.0, latitude_deg) * -9.31434, abs=0.004)
    assert 0.0 <= found.azimuth_deg < 360.0
