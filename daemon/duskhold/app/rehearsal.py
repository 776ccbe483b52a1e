"""The main job from end to end without hardware: an evening on the simulated camera, then the real camera library.

Two base frames tell how fast the light falls; a frame is computed and held; beside it, at the same moment and by a
second camera before the same light, the plain time is held that nobody corrected. Levels come from the raw pixels.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from duskhold.app.exposing import Watch
from duskhold.app.folders import Folders
from duskhold.app.rehearsal_library import HELD_S, LibraryFrame, hold_through_library
from duskhold.app.rehearsal_scene import (
    BASE_DIAL,
    FILTER,
    FIRST_BASE_S,
    NAME,
    OPENING_S,
    SECOND_BASE_S,
    Scene,
    make_scene,
)
from duskhold.app.rehearsal_tripod import RehearsalFailed, Taken, Tripod
from duskhold.camera.port import CameraError
from duskhold.camera.serving import ServingFailed
from duskhold.frames.measure import MeasureError
from duskhold.frames.store import StoreError
from duskhold.journal.journal import Journal
from duskhold.light.dials import SHUTTER
from duskhold.plan.command import FrameId, Refused, ShutterCommand, authorize, authorize_hold
from duskhold.plan.decision import Change, ExposureDecision, LightReading, SteadyDrift, solve
from duskhold.plan.limits import Limits
from duskhold.shutter.clock import utc_now
from duskhold.shutter.holder_link import HolderRefused

LIMITS = Limits()

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Evening:
    """The simulated evening: its frames, and what was made of them. Errors and levels in stops, rates per minute."""

    scene: Scene
    first: Taken
    second: Taken
    decision: ExposureDecision
    measured_stops_per_min: float
    model_stops_per_min: float
    corrected: Taken
    uncorrected: Taken

    def error_stops(self, taken: Taken) -> float:
        """How much brighter a frame came out than the second base frame, in green, for which the filter counts."""
        return taken.level.stops_over(self.second.level)[1]


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """All of it, and where it lies: `folder` is this rehearsal's own, `folders` those of simulated frames."""

    evening: Evening
    library: LibraryFrame
    folder: Path
    folders: Folders


def rehearse(folders: Folders, seed: int, say: Say, watch: Watch) -> Rehearsal:
    """Rehearse with the folders of the user; only those of simulated runs are written to.

    Raises `RehearsalFailed`; `KeyboardInterrupt` when `watch.stop` says so before the last frame; `JournalError`,
    `FolderUnsafe`, `NotStarted`, `HolderSilent` or `OSError`.
    """
    own = folders.simulated()
    folder = own.data / "rehearsals" / f"{utc_now():%Y%m%d-%H%M%S-%f}-seed-{seed}"
    folder.mkdir(parents=True)
    try:
        with Journal.open(own.journal) as journal:
            evening = spend_evening(make_scene(seed), own, journal, _stoppable(say, watch))
        _stoppable(say, watch)(f"Held through the real camera library: {HELD_S:g} s on a body served over loopback")
        library = hold_through_library(own, folder, seed, watch)
    except (CameraError, HolderRefused, MeasureError, ServingFailed, StoreError) as error:
        raise RehearsalFailed(str(error)) from error
    return Rehearsal(evening, library, folder, own)


def spend_evening(scene: Scene, folders: Folders, journal: Journal, say: Say) -> Evening:
    """The frames of the evening, in the order in which a person takes them."""
    with closing(Tripod(scene, "SIM-000001", folders, journal)) as tripod:
        say(f"{NAME}, simulated: first base frame, {BASE_DIAL} s without the filter")
        tripod.wait_until(FIRST_BASE_S)
        first = tripod.take_base()
        say("Six minutes later: second base frame, and the filter goes on")
        tripod.wait_until(SECOND_BASE_S)
        second = tripod.take_base()
        tripod.fit_filter()
        tripod.wait_until(OPENING_S)
        measured = _rate_stops_per_min(first, second)
        decision = _decide(second, measured, tripod.now_utc)
        say("Computed for this very opening, and held to its end in simulated time")
        corrected = _take_corrected(tripod, decision)
    with closing(Tripod(scene, "SIM-000002", folders, journal)) as twin:
        say("Beside it at the same moment, on a second camera: the plain time")
        twin.fit_filter()
        twin.wait_until(OPENING_S)
        uncorrected = _take_uncorrected(twin, decision)
    model = _model_stops_per_min(scene, first.opened_utc, second.opened_utc)
    return Evening(scene, first, second, decision, measured, model, corrected, uncorrected)


def reasoning(decision: ExposureDecision, role: str) -> Mapping[str, object]:
    """The decision as the journal keeps it; `role` says what the frame is to the rehearsal."""
    return {
        "rehearsal": role,
        "filter_stops": FILTER.stops,
        "base_s": decision.base_s,
        "plain_s": decision.plain_s,
        "delay_s": decision.delay_s,
        "rate_stops_per_min": decision.rate_stops_per_min,
        "open_s": decision.open_s,
        "correction_stops": decision.correction_stops,
        "uncorrected_error_stops": decision.uncorrected_error_stops,
    }


def _decide(second: Taken, rate_stops_per_min: float, opens_utc: datetime) -> ExposureDecision:
    reading = LightReading(SHUTTER.true_value(BASE_DIAL), second.opened_utc)
    return solve(reading, Change(FILTER.stops), SteadyDrift(rate_stops_per_min), opens_utc, LIMITS)


def _take_corrected(tripod: Tripod, decision: ExposureDecision) -> Taken:
    command = authorize(tripod.mint_frame_id(), decision, LIMITS, tripod.now_utc)
    return tripod.take_long(_granted(command), reasoning(decision, "corrected"))


def _take_uncorrected(tripod: Tripod, decision: ExposureDecision) -> Taken:
    command = authorize_hold(FrameId(tripod.mint_frame_id()), decision.plain_s, LIMITS)
    return tripod.take_long(_granted(command), reasoning(decision, "uncorrected"))


def _granted(command: ShutterCommand | Refused) -> ShutterCommand:
    if isinstance(command, Refused):
        raise RehearsalFailed(f"{command.reason} {command.hint}")
    return command


def _rate_stops_per_min(first: Taken, second: Taken) -> float:
    minutes = (second.opened_utc - first.opened_utc).total_seconds() / 60.0
    return second.level.stops_over(first.level)[1] / minutes


def _model_stops_per_min(scene: Scene, from_utc: datetime, to_utc: datetime) -> float:
    """What the clear sky of the place would have done between the base frames."""
    start_utc = scene.utc(0.0)
    from_s, to_s = ((each - start_utc).total_seconds() for each in (from_utc, to_utc))
    return math.log2(scene.clear.level(to_s) / scene.clear.level(from_s)) / (to_s - from_s) * 60.0


def _stoppable(say: Say, watch: Watch) -> Say:
    def say_or_stop(line: str) -> None:
        if watch.stop():
            raise KeyboardInterrupt
        say(line)

    return say_or_stop
