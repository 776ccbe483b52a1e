"""A simulated camera on its tripod: frames taken in simulated time, journaled, fetched and measured like any other."""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from duskhold.app.concluding import outcome_of
from duskhold.app.folders import SIMULATED, Folders
from duskhold.app.rehearsal_scene import BASE_DIAL, BEGINS_UTC, FILTER, SKY, Scene, stops_rgb
from duskhold.app.station import stamp_now
from duskhold.camera.port import Picture, Setting
from duskhold.frames.measure import Level, measure_level
from duskhold.frames.store import Arrival, StoredFile, file_name
from duskhold.journal.entry import Intent
from duskhold.journal.journal import Journal
from duskhold.light.dials import SHUTTER
from duskhold.plan.command import FrameId, ShutterCommand
from duskhold.plan.role import Role
from duskhold.plan.stamp import mint_frame_id, utc_from
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.phase import Phase
from duskhold.shutter.report import Exposure, Kind, Outcome, ShutterReport
from duskhold.shutter.stepped import SteppedShutter

_LATENCY_SIGMA_S = 0.1  # of a body that nobody has learnt yet
_LOOK_S = 1.0


class RehearsalFailed(Exception):
    """Something of the rehearsal did not come about; the message says what."""


@dataclass(frozen=True, slots=True)
class Taken:
    """One frame: when and how long it was open, its files, and the level of the sky in it."""

    frame_id: str
    opened_utc: datetime
    planned_s: float
    open_s: float
    files: tuple[StoredFile, ...]
    level: Level

    @property
    def jpeg(self) -> StoredFile:
        return _with_suffix(self.files, ".jpg")


class Tripod:
    """One camera of the evening, with its own shutter and its own simulated clock. `close` it when done."""

    def __init__(self, scene: Scene, serial: str, folders: Folders, journal: Journal) -> None:
        self._clock = SimulatedClock()
        self._camera = scene.build_camera(serial, self._clock.now_s, self._sleep)
        self._shutter = SteppedShutter(self._camera, self._clock.as_clock(), BEGINS_UTC.timestamp())
        self._scene, self._folders, self._journal = scene, folders, journal
        self._fetched: set[Picture] = set()

    @property
    def now_utc(self) -> datetime:
        return self._scene.utc(self._clock.now_s())

    def wait_until(self, at_s: float) -> None:
        """Let the evening go on, to the moment before a frame."""
        self._shutter.idle(at_s - self._clock.now_s())
        if self._shutter.machine.phase is Phase.RELEASED:
            self._shutter.live_again()  # let go of while nobody asked for it

    def fit_filter(self) -> None:
        self._camera.body.fit(stops_rgb(FILTER), self._clock.now_s())

    def mint_frame_id(self) -> FrameId:
        """A name that the journal does not have: the same evening is rehearsed more than once."""
        while True:
            frame_id = mint_frame_id(self.now_utc, secrets.token_hex(2))
            if self._journal.frame(frame_id) is None:
                return FrameId(frame_id)

    def take_base(self) -> Taken:
        """A frame at the dial's time, without the filter. Raises as `take_long` does."""
        self._camera.change(Setting.SHUTTER, BASE_DIAL)
        base_s = SHUTTER.true_value(BASE_DIAL)
        exposure = self._exposure(self.mint_frame_id(), Kind.DIAL, base_s, base_s)
        return self._take(exposure, Role.BASE, {"dial": BASE_DIAL})

    def take_long(self, command: ShutterCommand, reasoning: Mapping[str, object]) -> Taken:
        """A held frame. Raises `RehearsalFailed`, `StoreError`, `MeasureError`, `JournalError`, `CameraError`."""
        exposure = self._exposure(command.frame_id, Kind.HELD, command.open_s, command.cap_s)
        return self._take(exposure, Role.LONG, reasoning)

    def close(self) -> None:
        self._shutter.close()

    def _exposure(self, frame_id: FrameId, kind: Kind, open_s: float, cap_s: float) -> Exposure:
        return Exposure(frame_id, kind, open_s, cap_s, 0.0, _LATENCY_SIGMA_S, str(self._folders.data))

    def _take(self, exposure: Exposure, role: Role, reasoning: Mapping[str, object]) -> Taken:
        intent = Intent(
            frame_id=exposure.frame_id,
            camera=SIMULATED,
            role=role.value,
            timing=exposure.kind.value,
            planned_s=exposure.open_s,
            cap_s=exposure.cap_s,
            decision={"rehearsal_seed": self._scene.seed, **reasoning},
        )
        self._journal.intend(intent, stamp_now())
        report = self._shutter.expose(exposure)
        self._journal.conclude(outcome_of(report), stamp_now())
        while self._shutter.machine.phase is Phase.STORING:
            self._shutter.idle(_LOOK_S)
        files = self._bring_home(report, role)
        outcome = replace(outcome_of(report), files=tuple(file.record() for file in files))
        self._journal.conclude(outcome, stamp_now())
        self._shutter.collect(exposure.frame_id)
        return _taken(report, files)

    def _bring_home(self, report: ShutterReport, role: Role) -> tuple[StoredFile, ...]:
        fresh = [picture for picture in self._camera.pictures() if picture not in self._fetched]
        self._fetched.update(fresh)
        folder = self._folders.session(self.now_utc.date())
        return tuple(
            self._fetch(picture, folder, file_name(report.frame_id, role, picture.name), role) for picture in fresh
        )

    def _fetch(self, picture: Picture, folder: Path, name: str, role: Role) -> StoredFile:
        with (
            Arrival(folder, name, role, picture.size_bytes) as arrival,
            os.fdopen(os.dup(arrival.descriptor), "wb") as out,
        ):
            self._camera.fetch(picture, lambda piece: _write(out, piece))
            out.flush()
            return arrival.keep()

    def _sleep(self, seconds: float) -> None:
        self._clock.sleep_until(self._clock.now_s() + seconds)


def _taken(report: ShutterReport, files: tuple[StoredFile, ...]) -> Taken:
    if report.outcome is not Outcome.COMPLETE or report.open_s is None or report.opened_utc is None:
        raise RehearsalFailed(f"frame {report.frame_id}: {report.outcome.value}; {report.reason}")
    return Taken(
        frame_id=report.frame_id,
        opened_utc=utc_from(report.opened_utc),
        planned_s=report.planned_s,
        open_s=report.open_s,
        files=files,
        level=measure_level(_with_suffix(files, ".dng").path, SKY),
    )


def _write(out: BinaryIO, piece: bytes) -> None:
    out.write(piece)


def _with_suffix(files: tuple[StoredFile, ...], suffix: str) -> StoredFile:
    for file in files:
        if file.path.suffix.lower() == suffix:
            return file
    raise RehearsalFailed(f"no picture with {suffix} came home")
