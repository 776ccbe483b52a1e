"""Where the sun and the moon stand, seen from a place, and how full the moon is.

Altitudes are of the centre, airless (no refraction) and topocentric at sea level; azimuths from north through
east. The numbers come from `ephem` (VSOP87 and its moon theory); UTC is taken for UT1, which is at most 0.9 s or
0.004 degree off.
"""

import math
from dataclasses import dataclass
from datetime import UTC, datetime

import ephem

from duskhold.light.place import Place

_EPHEM_EPOCH = datetime(1899, 12, 31, 12, tzinfo=UTC)
_SECONDS_PER_DAY = 86400.0
_KM_PER_AU = 149_597_870.7
_EARTH_RADIUS_KM = 6378.14


@dataclass(frozen=True, slots=True)
class Position:
    """Direction of a body in degrees: airless altitude, azimuth from north through east."""

    altitude_deg: float
    azimuth_deg: float


@dataclass(frozen=True, slots=True)
class MoonFace:
    """The moon seen from the Earth's centre: phase angle (0 = full, 180 = new) and parallax, in degrees."""

    phase_angle_deg: float
    parallax_deg: float


def sun_position(place: Place, at_utc: datetime) -> Position:
    """Altitude and azimuth of the sun's centre."""
    return _position(ephem.Sun(), place, at_utc)


def moon_position(place: Place, at_utc: datetime) -> Position:
    """Altitude and azimuth of the moon's centre."""
    return _position(ephem.Moon(), place, at_utc)


def moon_face(at_utc: datetime) -> MoonFace:
    """Phase angle and horizontal parallax of the moon, geocentric."""
    date = _ephem_date(at_utc)
    moon, sun = ephem.Moon(date), ephem.Sun(date)
    # Astrometric places: the sun's 20 arc seconds of aberration would not be seen from the moon.
    elongation = _separation(moon.a_ra, moon.a_dec, sun.a_ra, sun.a_dec)
    to_moon, to_sun = float(moon.earth_distance), float(sun.earth_distance)
    # Meeus, Astronomical Algorithms, equation 48.3: the triangle of sun, moon and Earth.
    phase_angle = math.atan2(to_sun * math.sin(elongation), to_moon - to_sun * math.cos(elongation))
    parallax = math.asin(_EARTH_RADIUS_KM / (to_moon * _KM_PER_AU))
    return MoonFace(math.degrees(phase_angle), math.degrees(parallax))


def _position(body: ephem.Body, place: Place, at_utc: datetime) -> Position:
    observer = ephem.Observer()
    observer.lat = math.radians(place.latitude_deg)
    observer.lon = math.radians(place.longitude_deg)
    observer.elevation = 0.0
    observer.pressure = 0.0
    observer.date = _ephem_date(at_utc)
    body.compute(observer)
    return Position(math.degrees(body.alt), math.degrees(body.az) % 360.0)


def _ephem_date(at_utc: datetime) -> float:
    assert at_utc.tzinfo is not None, "an instant needs its zone"
    return (at_utc - _EPHEM_EPOCH).total_seconds() / _SECONDS_PER_DAY


def _separation(ra_1: float, dec_1: float, ra_2: float, dec_2: float) -> float:
    # The half-angle form keeps its precision near new and full moon, where the cosine loses it.
    half = math.sin((dec_2 - dec_1) / 2) ** 2 + math.cos(dec_1) * math.cos(dec_2) * math.sin((ra_2 - ra_1) / 2) ** 2
    return 2.0 * math.asin(min(1.0, math.sqrt(half)))
