"""When an outing begins and where it ends, as moments: the sun's altitudes and events resolved at its place."""

import math
from collections.abc import Callable
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final

from duskhold.light.crossings import Direction, NoCrossing, SunPath
from duskhold.light.skylight import sun_illuminance_lx
from duskhold.plan.outing import BadOuting, ClockStart, EventStart, LightStart, Outing, SunStart
from duskhold.plan.outlook import midnight_before, sky_of
from duskhold.plan.sky_sense import APART_MAX_STOPS
from duskhold.plan.stops import Ends

RISE_AND_SET_DEG: Final = -0.8333
"""Sun's centre at sunrise and sunset: 34' of refraction and 16' of radius (usual almanac convention)."""
AHEAD: Final = timedelta(hours=24)
_AT_HORIZON_S: Final = 0.1
"""Base time towards the light at f/11 and ISO 100 when the sun's centre is at 0 degrees. Common practice, no source:
two stops either way with direction and cloud."""
_AT_HORIZON_EXPOSURE: Final = 2.0**7 / 100.0
_SEARCH_STEP_S, _SEARCH_STEPS, _HALVINGS = 120.0, 720, 12


def begins_utc(outing: Outing) -> datetime:
    """When it begins; for a start by the light, when watching the light begins: no sooner than cloud may bring it.

    Raises `BadOuting` when the sun does not do that within a day.
    """
    start = outing.start
    if isinstance(start, ClockStart):
        return start.at_utc
    if isinstance(start, LightStart):
        return light_comes_utc(outing, APART_MAX_STOPS) or start.from_utc
    if isinstance(start, SunStart):
        return _crossing(outing, start.altitude_deg, start.direction, start.from_utc, "start.sun")
    at_utc = _crossing(outing, RISE_AND_SET_DEG, start.direction, start.from_utc, "start.event")
    return at_utc + timedelta(minutes=start.offset_min)


def late_from_utc(outing: Outing) -> datetime:
    """From when on a start is late; one by the light is not while the light may still be coming. Raises as above."""
    if not isinstance(outing.start, LightStart):
        return begins_utc(outing)
    return light_comes_utc(outing, -APART_MAX_STOPS) or outing.start.from_utc + AHEAD


def light_comes_utc(outing: Outing, sooner_stops: float = 0.0) -> datetime | None:
    """When the clear sky is so many stops before the base time of a start by the light, going the way the start goes.

    None where it does not come to that within a day, or no place is known.
    """
    start, exposure = outing.start, outing.kit.aperture.true_value**2 / outing.kit.iso.true_value
    assert isinstance(start, LightStart), "no other start waits for the light"
    if outing.place is None:
        return None
    sign = -1.0 if start.direction is Direction.DOWN else 1.0
    base_at_1_lx_s = _AT_HORIZON_S * sun_illuminance_lx(0.0) * exposure / _AT_HORIZON_EXPOSURE
    wanted_lx = base_at_1_lx_s / start.base_s * math.exp2(-sign * sooner_stops)
    midnight = midnight_before(start.from_utc)
    sky, from_s = sky_of(outing.place, midnight), (start.from_utc - midnight).total_seconds()

    def is_past(at_s: float) -> bool:
        return sign * (sky.level(at_s) - wanted_lx) >= 0.0

    if is_past(from_s):
        return start.from_utc
    steps = [from_s + _SEARCH_STEP_S * step for step in range(_SEARCH_STEPS + 1)]
    for before_s, after_s in pairwise(steps):
        if is_past(after_s):
            return midnight + timedelta(seconds=_halved(is_past, before_s, after_s))
    return None


def ends_of(outing: Outing, starts_utc: datetime, program_utc: datetime | None = None) -> Ends:
    """The moments that bound a series whose start is at `starts_utc`, of a program that was started at `program_utc`.

    The sun ends it going the way it goes at the start; where it never gets there, nothing ends it that way. Of a start
    that was missed it is that evening's end all the same; half a day later another one is meant. Minutes until it is
    time to leave count from the program's start.
    """
    bounds = outing.bounds
    sun_utc = None
    if bounds.sun_altitude_deg is not None:
        is_another = program_utc is not None and program_utc - starts_utc > AHEAD / 2
        from_utc = program_utc if is_another and program_utc is not None else starts_utc
        sun_utc = _sun_ends_utc(outing, bounds.sun_altitude_deg, from_utc)
    pack_utc = None if bounds.leave_by is None else bounds.leave_by.pack_utc(program_utc or starts_utc)
    return Ends(sun_utc, pack_utc, outing.frames_wanted)


def _sun_ends_utc(outing: Outing, altitude_deg: float, from_utc: datetime) -> datetime | None:
    assert outing.place is not None, "checked by the outing"
    path = SunPath(outing.place, from_utc, from_utc + AHEAD)
    way, crossings = _way(outing, path), path.crossings(altitude_deg)
    if isinstance(outing.start, LightStart) and crossings and crossings[0].direction is not way:
        return from_utc  # it is past it already, and light that is waited for is not that of the next evening
    return next((each.at_utc for each in crossings if each.direction is way), None)


def _way(outing: Outing, path: SunPath) -> Direction:
    if isinstance(outing.start, (SunStart, EventStart, LightStart)):
        return outing.start.direction
    crossings = path.crossings(outing.bounds.sun_altitude_deg or 0.0)
    return crossings[0].direction if crossings else Direction.DOWN


def _crossing(outing: Outing, altitude_deg: float, direction: Direction, from_utc: datetime, field: str) -> datetime:
    assert outing.place is not None, "checked by the outing"
    found = SunPath(outing.place, from_utc, from_utc + AHEAD).events(altitude_deg, direction)
    if isinstance(found, NoCrossing):
        way = "down" if direction is Direction.DOWN else "up"
        message = (
            f"within a day of {from_utc:%Y-%m-%d %H:%M}Z the sun does not pass {altitude_deg:g} degrees going {way}: "
            f"it is between {found.lowest_deg:.1f} and {found.highest_deg:.1f}"
        )
        raise BadOuting(field, message)
    return found[0].at_utc


def _halved(is_past: Callable[[float], bool], before_s: float, after_s: float) -> float:
    for _ in range(_HALVINGS):
        middle_s = (before_s + after_s) / 2.0
        before_s, after_s = (before_s, middle_s) if is_past(middle_s) else (middle_s, after_s)
    return after_s
