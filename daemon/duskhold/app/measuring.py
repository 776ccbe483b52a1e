"""The three frames that measure a filter, taken one after the other while a person fits it and takes it off."""

from __future__ import annotations

import math
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from duskhold.app.base_frames import BaseFailed, dial_of, mark_of, picture_of, put_dial_back, set_dial, take_at_dial
from duskhold.app.calibrating import LONGEST_ON_DIAL_S, Step
from duskhold.app.exposing import Watch, expose
from duskhold.app.ordering import order_of
from duskhold.app.station import Station
from duskhold.light.dials import SHUTTER
from duskhold.plan.command import FrameId, Refused, authorize_hold
from duskhold.plan.role import Role
from duskhold.plan.stamp import mint_frame_id
from duskhold.shutter.clock import utc_now

LONGEST_HELD_S = 240.0
"""Past it a darker frame does: light that changes meanwhile costs more than its noise. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Walked:
    """The raw files of the three frames in their order, and how long each was really open."""

    files: tuple[Path, Path, Path]
    times_s: tuple[float, float, float]


def walk(station: Station, label_stops: float, watch: Watch, ready: Callable[[Step], None]) -> Walked:
    """Bare at the dial as it stands, filtered for about the same level, bare again; `ready` is called before each.

    Raises `BaseFailed`, `JournalError`, `HolderRefused` or `HolderSilent`.
    """
    dial = dial_of(station)
    wanted_s = mark_of(dial).true_value * math.exp2(label_stops)
    try:
        ready(Step.BARE_BEFORE)
        before = _at_dial(station, dial, Role.BASE, watch)
        ready(Step.FILTERED)
        filtered = _filtered(station, wanted_s, watch)
        ready(Step.BARE_AFTER)
        after = _at_dial(station, dial, Role.BASE, watch)
    finally:
        put_dial_back(station, dial)
    (first, first_s), (middle, middle_s), (last, last_s) = before, filtered, after
    return Walked((first, middle, last), (first_s, middle_s, last_s))


def _at_dial(station: Station, dial: str, role: Role, watch: Watch) -> tuple[Path, float]:
    set_dial(station, dial)
    taken = take_at_dial(station, role, watch)
    return taken.path, taken.shooting.open_s


def _filtered(station: Station, wanted_s: float, watch: Watch) -> tuple[Path, float]:
    if wanted_s > LONGEST_ON_DIAL_S * math.sqrt(2.0):
        return _held(station, min(wanted_s, LONGEST_HELD_S), watch)
    # Full stops only: they are the same on a dial of thirds and on one of halves.
    return _at_dial(station, SHUTTER.nearest(2.0 ** round(math.log2(wanted_s))).name, Role.SCOUT, watch)


def _held(station: Station, open_s: float, watch: Watch) -> tuple[Path, float]:
    frame_id = FrameId(mint_frame_id(utc_now(), secrets.token_hex(2)))
    command = authorize_hold(frame_id, open_s, station.settings.limits.exposure())
    if isinstance(command, Refused):
        raise BaseFailed(f"{command.reason} {command.hint}")
    asked = {"asked": {"measuring": "a filter"}}
    outcome = expose(station, order_of(station, command, Role.SCOUT, asked), watch)
    if outcome.outcome != "complete" or outcome.open_s is None:
        raise BaseFailed(f"frame {frame_id} is {outcome.outcome}: {outcome.reason or 'no reason given'}")
    return picture_of(outcome), outcome.open_s
