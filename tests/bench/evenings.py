"""Synthetic evenings and mornings whose light does not come from the program's own model.

The clear sky is the smooth fit to Brown 1952 (Natural Illumination Charts, BuShips Rep. 374-1; Chebyshev coefficients
of the US Naval Observatory 1996), by the airless altitude throughout: refraction put on while the upper limb is up, as
the fit was made for, would step the light by 0.4 stop within a second at sunset, which no sky does.
Weather is laid over it: its kinds and numbers, and the seeds, were fixed before the program was measured with them;
they have no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from duskhold.light.place import Place
from duskhold.light.skybodies import moon_face, moon_position, sun_position
from duskhold.light.skylight import moon_illuminance_lx
from duskhold.light.track import AltitudeTrack

Numbers = NDArray[np.float64]

BROWN_1952 = (
    2.936506136978837, 3.627326327566490, -2.233214447344062, 1.015115465301055, -0.1898083125016442,
    -0.2620601965183225, 0.3829581829851666, -0.2879683995474197, 0.1134487130232542, 0.03092492471913735,
    -0.09853820413978147, 0.08976982948378892, -0.04151839367722814, -0.005982465090666525, 0.02913731978265127,
    -0.02832367750489338, 0.01326901081959582, 0.003365892788214903, -0.01123578761200569, 0.009862218049840636,
    -0.003690281457418281, -0.001338196406378107, 0.005060420921563732, -0.003079727252974708, 0.002969002584378676,
)  # fmt: skip
BEFORE_S, AFTER_S = 1500, 3600
"""Seconds of light before and after metering."""


class Weather(StrEnum):
    """What is laid over the clear sky."""

    CLEAR = "clear"
    THIN = "thin cloud drifting"
    BROKEN = "broken cloud"
    BANK = "bank of cloud"
    THUNDER = "thunder-dark"
    RIDGE = "terrain shadow"
    CITY = "city glow"
    MOON = "moon"


CLOUDS = {Weather.THIN: (0.12, 6.0), Weather.BROKEN: (0.5, 2.5)}
"""Standard deviation in stops and time in minutes of clouds that wander about a mean (Ornstein-Uhlenbeck)."""


@dataclass(frozen=True, slots=True)
class Evening:
    """True light in stops, one number a second, from `BEFORE_S` before metering; and the same without its cloud."""

    weather: Weather
    place: Place
    metered_utc: datetime
    stops: Numbers
    bare_stops: Numbers

    def at(self, second: float) -> float:
        """Light at a second after metering."""
        return float(np.interp(second + BEFORE_S, np.arange(self.stops.size), self.stops))

    def dose(self, opens_s: float, held_s: float) -> float:
        """Integral of the light of an opening, in seconds of the light at metering."""
        inner = np.arange(math.ceil(opens_s), math.floor(opens_s + held_s) + 1, dtype=np.float64)
        at_s = np.unique(np.concatenate([[opens_s], inner, [opens_s + held_s]]))
        light = np.exp2(np.interp(at_s + BEFORE_S, np.arange(self.stops.size), self.stops) - self.at(0.0))
        return float(np.trapezoid(light, at_s))


def brown_lx(altitude_deg: Numbers) -> Numbers:
    """Illuminance of the clear sky by the fit, for airless altitudes from -20 degrees up."""
    return np.asarray(
        10.0 ** chebyshev.chebval((np.maximum(altitude_deg, -20.0) - 35.0) / 55.0, BROWN_1952), dtype=np.float64
    )


def evening(weather: Weather, chance: np.random.Generator) -> Evening:
    """A random place, day and moment with the sun within +3 to -7.5 degrees, and its light."""
    while True:
        place = Place(float(chance.uniform(-58, 62)), float(chance.uniform(-180, 180)))
        day = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=float(chance.uniform(0, 365)))
        found = _moment(place, day, chance)
        if found is not None and (weather is not Weather.MOON or _moonlit(place, found)):
            break
    at_s = np.arange(-BEFORE_S, AFTER_S + 1, dtype=np.float64)
    altitudes = _altitudes(place, found, at_s)
    bare = np.log2(_bare_lx(weather, place, found, at_s, altitudes, chance))
    bare = bare + _shade(weather, at_s, chance)
    return Evening(weather, place, found, bare + _cloud(weather, at_s.size, chance), bare)


def _moment(place: Place, day: datetime, chance: np.random.Generator) -> datetime | None:
    """A moment of that day with the sun at a random height of interest, while it goes up or down."""
    wanted_deg = chance.uniform(-7.5, 3.0)
    moments = [day + timedelta(minutes=10 * step) for step in range(144)]
    heights = _heights(place, moments, wanted_deg)
    crossed = [i for i in range(143) if (heights[i] - wanted_deg) * (heights[i + 1] - wanted_deg) < 0.0]
    if not crossed:
        return None
    index = int(chance.choice(crossed))
    before, after = (sun_position(place, moments[each]).altitude_deg for each in (index, index + 1))
    share = (wanted_deg - before) / (after - before)
    found = moments[index] + timedelta(minutes=10.0 * share)
    return found.replace(microsecond=0)


def _heights(place: Place, moments: list[datetime], wanted_deg: float) -> list[float]:
    """Heights of the sun, each on the same side of `wanted_deg` as the ephemeris has it; exact where it is near."""
    knots = [*range(0, len(moments), 12), len(moments) - 1]
    sines = [math.sin(math.radians(sun_position(place, moments[each]).altitude_deg)) for each in knots]
    roughly = np.degrees(np.arcsin(np.clip(CubicSpline(knots, sines)(np.arange(len(moments))), -1.0, 1.0)))
    return [
        sun_position(place, moment).altitude_deg if abs(height - wanted_deg) < 1.0 else float(height)
        for moment, height in zip(moments, roughly, strict=True)
    ]


def _moonlit(place: Place, at_utc: datetime) -> bool:
    sun_deg = sun_position(place, at_utc).altitude_deg
    return (
        sun_deg < -5.0 and moon_position(place, at_utc).altitude_deg > 10.0 and moon_face(at_utc).phase_angle_deg < 60
    )


def _altitudes(place: Place, metered_utc: datetime, at_s: Numbers) -> Numbers:
    track = AltitudeTrack(sun_position, place, metered_utc)
    coarse = np.arange(-BEFORE_S, AFTER_S + 31, 30.0)
    return np.interp(at_s, coarse, [track.altitude_deg(float(each)) for each in coarse])


def _bare_lx(
    weather: Weather,
    place: Place,
    metered_utc: datetime,
    at_s: Numbers,
    altitudes: Numbers,
    chance: np.random.Generator,
) -> Numbers:
    lx = brown_lx(altitudes)
    # One direction of view fades faster or slower than level ground: a share of the clear sky's own change.
    lx = lx ** float(chance.normal(1.0, 0.06))
    face = moon_face(metered_utc)
    moon = [
        moon_illuminance_lx(moon_position(place, metered_utc + timedelta(seconds=float(each))).altitude_deg, face)
        for each in at_s[::300]
    ]
    lx = lx + np.interp(at_s, at_s[::300], moon) * float(chance.uniform(0.7, 1.4))
    if weather is Weather.CITY:
        lx = lx + float(chance.uniform(0.3, 12.0))
    return np.asarray(lx, dtype=np.float64)


def _shade(weather: Weather, at_s: Numbers, chance: np.random.Generator) -> Numbers:
    if weather not in (Weather.BANK, Weather.THUNDER, Weather.RIDGE):
        return np.zeros_like(at_s)
    stops, minutes = {
        Weather.BANK: ((0.7, 2.5), (4.0, 15.0)),
        Weather.THUNDER: ((2.5, 4.5), (5.0, 12.0)),
        Weather.RIDGE: ((0.8, 1.5), (1.0, 3.0)),
    }[weather]
    middle_s, depth = chance.uniform(-900.0, 500.0), chance.uniform(*stops)
    width_s = chance.uniform(*minutes) * 60.0 / 6.0
    return np.asarray(-depth / (1.0 + np.exp(-(at_s - middle_s) / width_s)), dtype=np.float64)


def _cloud(weather: Weather, count: int, chance: np.random.Generator) -> Numbers:
    if weather not in CLOUDS:
        return np.zeros(count)
    sigma, minutes = CLOUDS[weather]
    kept = math.exp(-1.0 / (60.0 * minutes))
    steps = chance.normal(0.0, sigma * math.sqrt(1.0 - kept**2), count)
    cloud = np.empty(count)
    cloud[0] = chance.normal(0.0, sigma)
    for index in range(1, count):
        cloud[index] = kept * cloud[index - 1] + steps[index]
    return cloud
