"""When an outing begins and where it ends, as moments: the sun's altitudes and events resolved at its place."""

from datetime import datetime, timedelta
from typing import Final

from duskhold.light.crossings import Direction, NoCrossing, SunPath
from duskhold.plan.outing import BadOuting, ClockStart, EventStart, LightStart, Outing, SunStart
from duskhold.plan.stops import Ends

RISE_AND_SET_DEG: Final = -0.8333
"""Sun's centre at sunrise and sunset: 34' of refraction and 16' of radius (usual almanac convention)."""
AHEAD: Final = timedelta(hours=24)


def begins_utc(outing: Outing) -> datetime:
    """When it begins; for a start by the light, when watching the light begins.

    Raises `BadOuting` when the sun does not do that within a day.
    """
    start = outing.start
    if isinstance(start, ClockStart):
        return start.at_utc
    if isinstance(start, LightStart):
        return start.from_utc
    if isinstance(start, SunStart):
        return _crossing(outing, start.altitude_deg, start.direction, start.from_utc, "start.sun")
    at_utc = _crossing(outing, RISE_AND_SET_DEG, start.direction, start.from_utc, "start.event")
    return at_utc + timedelta(minutes=start.offset_min)


def ends_of(outing: Outing, begun_utc: datetime, program_utc: datetime | None = None) -> Ends:
    """The moments that bound a series which begins at `begun_utc`, of a program that was started at `program_utc`.

    The sun ends it going the way it goes at the start; where it never gets there, nothing ends it that way. Minutes
    until it is time to leave count from the program's start.
    """
    bounds = outing.bounds
    sun_utc = None
    if bounds.sun_altitude_deg is not None:
        assert outing.place is not None, "checked by the outing"
        path = SunPath(outing.place, begun_utc, begun_utc + AHEAD)
        found = path.events(bounds.sun_altitude_deg, _way(outing, path))
        sun_utc = None if isinstance(found, NoCrossing) else found[0].at_utc
    pack_utc = None if bounds.leave_by is None else bounds.leave_by.pack_utc(program_utc or begun_utc)
    return Ends(sun_utc, pack_utc, outing.frames_wanted)


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
