"""What ends a series: every condition has a name, and the first one that holds is the one that is told."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

from duskhold.plan.outing import Dark, Outing


class StopReason(StrEnum):
    """Why a series ended, or would end."""

    FRAMES_DONE = "frames_done"
    LEAVE_BY = "leave_by"
    SUN_ALTITUDE = "sun_altitude"
    LONGEST_FRAME = "longest_frame"
    SHORTEST_FRAME = "shortest_frame"
    LIGHT_NEVER_SUFFICES = "light_never_suffices"
    BATTERY_RESERVE = "battery_reserve"
    DISK_RESERVE = "disk_reserve"
    LEFT_BY_PERSON = "left_by_person"
    NOBODY_ANSWERED = "nobody_answered"
    IN_DOUBT = "in_doubt"
    PICTURE_FAULTS = "picture_faults"
    FAULT = "fault"


NO_DARKS_AFTER: Final = (
    StopReason.LEAVE_BY, StopReason.FAULT, StopReason.BATTERY_RESERVE,
    StopReason.DISK_RESERVE, StopReason.PICTURE_FAULTS,
)  # fmt: skip
"""Ends of a series after which no dark frames are taken, however short."""


@dataclass(frozen=True, slots=True)
class Ends:
    """The moments that bound an evening; None where there is none. `frames` is how many long frames are wanted."""

    sun_utc: datetime | None = None
    pack_utc: datetime | None = None
    frames: int | None = None


@dataclass(frozen=True, slots=True)
class Means:
    """What is left now; None where nobody told. `percent_per_min` is the battery's cost of an open minute."""

    battery_percent: float | None = None
    disk_free_bytes: int | None = None
    percent_per_min: float = 0.6


def what_ends(
    outing: Outing, ends: Ends, means: Means, frames_done: int, opens_utc: datetime, open_s: float
) -> StopReason | None:
    """Why a long frame that opens then, for so long, may not be taken; None when it may.

    A frame must close before the sun's limit; with its in-camera dark frame, and at its cap, it must be over before it
    is time to pack. Battery and disk are to stay above their reserves after it.
    """
    closes_utc = opens_utc + timedelta(seconds=open_s)
    over_utc = opens_utc + timedelta(seconds=busy_s(outing, open_s) + outing.limits.cap_margin_s)
    tests = {
        StopReason.FRAMES_DONE: ends.frames is not None and frames_done >= ends.frames,
        StopReason.LEAVE_BY: ends.pack_utc is not None and over_utc > ends.pack_utc,
        StopReason.SUN_ALTITUDE: ends.sun_utc is not None and closes_utc > ends.sun_utc,
        StopReason.BATTERY_RESERVE: _battery_falls_short(outing, means, open_s),
        StopReason.DISK_RESERVE: _disk_falls_short(outing, means),
    }
    return next((reason for reason, holds in tests.items() if holds), None)


def busy_s(outing: Outing, open_s: float) -> float:
    """How long the camera is taken up by a frame: open, its in-camera dark frame, and storing."""
    return exposures(outing) * open_s + outing.costs.storing_s


def cycle_s(outing: Outing, open_s: float) -> float:
    """From a long frame's opening to the next one's: open, its in-camera dark frame, and the pause that has storing
    within it."""
    return exposures(outing) * open_s + max(outing.want.between_s, outing.costs.storing_s)


def exposures(outing: Outing) -> int:
    """How often the shutter's time passes for a frame: once more where the camera takes a dark frame itself."""
    return 2 if outing.dark is Dark.IN_CAMERA else 1


def battery_cost_percent(outing: Outing, means: Means, open_s: float) -> float:
    """What a frame takes from the battery; an in-camera dark frame costs as much again."""
    return means.percent_per_min * exposures(outing) * open_s / 60.0


def _battery_falls_short(outing: Outing, means: Means, open_s: float) -> bool:
    if means.battery_percent is None:
        return False
    left_percent = means.battery_percent - battery_cost_percent(outing, means, open_s)
    return left_percent < outing.bounds.battery_reserve_percent


def _disk_falls_short(outing: Outing, means: Means) -> bool:
    if means.disk_free_bytes is None:
        return False
    return means.disk_free_bytes - outing.costs.disk_bytes < outing.bounds.disk_reserve_bytes
