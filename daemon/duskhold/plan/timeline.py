"""The timeline of an evening: every frame, every change, the darks and the end, foretold from where it stands.

At home it is gone through from the first moment, at the tripod from what really happened. It is a forecast: the age of
the reading refuses nothing here. Plain data; showing it is another module's work.
"""

import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from duskhold.light.forecast import Forecast
from duskhold.light.opentime import LONGEST_SEARCH_S
from duskhold.plan.course import AHEAD, MOST_FRAMES, Course, PlannedFrame, PlannedPrompt, Standing, Stop
from duskhold.plan.decision import CurveDrift, SkyDrift
from duskhold.plan.outing import Dark, Kind, Outing
from duskhold.plan.outlook import midnight_before, sky_of
from duskhold.plan.role import Role
from duskhold.plan.stops import NO_DARKS_AFTER, Ends, StopReason, what_ends

_CLOSE_S: Final = 3.0 * 3600.0
"""So long the clear sky's curve has a knot every quarter of a minute: within 1e-4 stop of it."""


@dataclass(frozen=True, slots=True)
class FramesLeft:
    """How many more long frames fit, with an in-camera dark frame after each, and without."""

    in_camera_dark: int
    without: int


@dataclass(frozen=True, slots=True)
class Timeline:
    """What is to come. `frames` are the long ones (of a watch, its base frames); `others` are base frames and scouts.

    `darks` is how many of the wanted darks fit after the series, `darks_short` why not all of them do. `done_utc` is
    when the camera is free after all of it.
    """

    standing: Standing
    frames: tuple[PlannedFrame, ...]
    others: tuple[PlannedFrame, ...]
    prompts: tuple[PlannedPrompt, ...]
    darks: tuple[PlannedFrame, ...]
    darks_short: StopReason | None
    stop: Stop
    done_utc: datetime
    frames_left: FramesLeft
    battery_percent: float | None
    disk_free_bytes: int | None


def plan_timeline(outing: Outing, standing: Standing, most_frames: int = MOST_FRAMES) -> Timeline:
    """All that is to come from this standing on, if nothing intervenes, as far as so many frames."""
    seen = _with_curve(outing, standing)
    course = Course(outing, seen, most_frames)
    darks_short = _take_darks(outing, seen, course)
    darks = tuple(frame for frame in course.others if frame.role is Role.DARK)
    return Timeline(
        standing=standing,
        frames=tuple(course.frames),
        others=tuple(frame for frame in course.others if frame.role is not Role.DARK),
        prompts=tuple(course.prompts),
        darks=darks,
        darks_short=darks_short,
        stop=course.stop,
        done_utc=course.free_utc,
        frames_left=_frames_left(outing, seen, course, most_frames),
        battery_percent=course.means.battery_percent,
        disk_free_bytes=course.means.disk_free_bytes,
    )


def _frames_left(outing: Outing, standing: Standing, course: Course, most_frames: int) -> FramesLeft:
    is_in_camera = outing.dark is Dark.IN_CAMERA
    other = Course(replace(outing, dark=Dark.NONE if is_in_camera else Dark.IN_CAMERA), standing, most_frames)
    counts = len(course.frames), len(other.frames)
    return FramesLeft(*counts) if is_in_camera else FramesLeft(*reversed(counts))


def _take_darks(outing: Outing, standing: Standing, course: Course) -> StopReason | None:
    """Darks as long as the longest frame, while time and battery last; why not all of them could be taken."""
    wanted = outing.darks_after if standing.darks_left is None else standing.darks_left
    longest_s = max((standing.longest_s, *(frame.open_s for frame in course.frames)))
    if outing.dark is not Dark.AFTER or longest_s == 0.0 or outing.want.kind is Kind.WATCH:
        return None
    if course.stop.reason in NO_DARKS_AFTER:
        return course.stop.reason
    ends = Ends(pack_utc=standing.ends.pack_utc)
    for n in range(1, wanted + 1):
        short = what_ends(outing, ends, course.means, 0, course.free_utc, longest_s)
        if short is not None:
            return short
        course.record(n, Role.DARK, course.free_utc, longest_s)
    return None


def _with_curve(outing: Outing, standing: Standing) -> Standing:
    """The clear sky as a curve of knots: the same light, and many times as quick to go through."""
    metered = standing.metered
    if not isinstance(metered.drift, SkyDrift):
        return standing
    midnight, place = midnight_before(metered.reading.metered_utc), metered.drift.place
    zero_s = (metered.reading.metered_utc - midnight).total_seconds()
    ends = [one for one in (standing.ends.sun_utc, standing.ends.pack_utc) if one is not None]
    until_utc = min((standing.opens_utc + AHEAD, *ends)) + timedelta(seconds=outing.bounds.longest_s)
    # An end may lie before the beginning; then nothing fits, and the curve is as short as can be.
    at_s = _knots_s(max(0.0, (until_utc - metered.reading.metered_utc).total_seconds()))
    sky = sky_of(place, midnight)
    at_metering = math.log2(sky.level(zero_s))
    stops = [math.log2(sky.level(zero_s + each)) - at_metering for each in at_s]
    curve = CurveDrift(Forecast(at_s, stops, goes_on=False))
    return replace(standing, metered=replace(metered, drift=curve))


def _knots_s(until_s: float) -> list[float]:
    """Close together while a series usually lasts, wider afterwards, wide where only an end is looked for."""
    knots, at_s = [0.0], 0.0
    for end_s, step_s in ((_CLOSE_S, 15.0), (until_s, 60.0), (until_s + LONGEST_SEARCH_S, 120.0)):
        while at_s < min(end_s, until_s + LONGEST_SEARCH_S):
            at_s += step_s
            knots.append(at_s)
    return knots
