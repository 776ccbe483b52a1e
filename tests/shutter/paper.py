"""A camera on paper: the truth of its shutter, and a script of what goes wrong. Simulated time only."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from duskhold.camera.port import (
    BodyRefused,
    CameraBusy,
    CameraEvent,
    CameraMissing,
    Closing,
    EventKind,
    Identity,
    LinkHung,
    LinkLost,
    Picture,
    Setting,
)
from duskhold.shutter.clock import SimulatedClock

OPEN_FAULTS = ("busy", "refused", "ignored", "lost_before", "lost_after", "hung_before", "hung_after", "opened_then_no")
CLOSE_FAULTS = ("ignored", "closed_then_no", "lost_before", "lost_after", "hung_before", "hung_after", "refused")
HANG_S = 2.5


@dataclass
class PaperCamera:
    """Opens `open_latency_s` after the call's return and closes `close_latency_s` after the call's beginning."""

    clock: SimulatedClock
    open_latency_s: float = 0.0
    close_latency_s: float = 0.0
    call_s: float = 0.001
    open_faults: list[str] = field(default_factory=list)
    close_faults: list[str] = field(default_factory=list)
    link_down: bool = False
    link_hung: bool = False
    closes_when_link_goes: bool = False
    openings: list[tuple[float, float | None]] = field(default_factory=list)
    stored: list[Picture] = field(default_factory=list)
    _told: int = 0
    _session: bool = False

    @property
    def is_open(self) -> bool:
        return bool(self.openings) and self.openings[-1][1] is None

    def drop(self) -> None:
        """The lead is pulled."""
        if self.link_down:
            return
        self.link_down, self._session = True, False
        if self.closes_when_link_goes:
            self._close_truly()

    def plug_in(self) -> None:
        self.link_down = False

    def connect(self) -> Identity:
        self._spend(0.02)
        if self.link_down:
            raise CameraMissing("nothing answers")
        self._session = True
        return Identity("paper", "P1", 0x000A, "toggle", "paper")

    def disconnect(self) -> None:
        self._session = False

    def open_shutter(self) -> None:
        fault = self._call(self.open_faults)
        if fault == "busy":
            raise CameraBusy("busy")
        if fault == "refused":
            raise BodyRefused("no")
        if fault in ("lost_before", "hung_before"):
            self._fail(fault)
        if fault != "ignored":
            assert not self.is_open, "opened twice"
            self.openings.append((self.clock.now_s() + self.open_latency_s, None))
        if fault in ("lost_after", "hung_after"):
            self._fail(fault)
        if fault == "opened_then_no":
            raise BodyRefused("an error, although it has opened")

    def close_shutter(self) -> Closing:
        called_s = self.clock.now_s()
        fault = self._call(self.close_faults)
        if fault == "refused":
            raise CameraBusy("busy")
        if fault in ("lost_before", "hung_before"):
            self._fail(fault)
        if fault == "ignored":
            return Closing.STILL_OPEN if self.is_open else Closing.NOTHING_OPEN
        was_open = self.is_open
        self._close_truly(called_s)
        if fault in ("lost_after", "hung_after"):
            self._fail(fault)
        if fault == "closed_then_no":
            return Closing.NOTHING_OPEN
        return Closing.CLOSED if was_open else Closing.NOTHING_OPEN

    def wait(self, slice_s: float) -> Sequence[CameraEvent]:
        self._need_link()
        self.clock.sleep_until(self.clock.now_s() + slice_s)
        self._need_link()
        if self.link_hung:
            self._fail("hung")
        if self.is_open or self._told == len(self.stored):
            return []
        picture = self.stored[self._told]
        self._told += 1
        return [CameraEvent(EventKind.PICTURE_ADDED, picture), CameraEvent(EventKind.CAPTURE_COMPLETE)]

    def expose_dial(self) -> None:
        self.open_shutter()

    def settings(self) -> Mapping[Setting, str]:
        return {}

    def choices(self, setting: Setting) -> Sequence[str]:
        return []

    def change(self, setting: Setting, value: str) -> str:
        return value

    def pictures(self) -> Sequence[Picture]:
        self._need_link()
        return list(self.stored)

    def fetch(self, picture: Picture, take: Callable[[bytes], None]) -> int:
        raise AssertionError("nothing is fetched from paper")

    def _call(self, faults: list[str]) -> str | None:
        self._need_link()
        self._spend(self.call_s)
        self._need_link()
        return faults.pop(0) if faults else None

    def _need_link(self) -> None:
        if self.link_down or not self._session:
            raise LinkLost("the link is gone")

    def _fail(self, fault: str) -> None:
        if fault.startswith("hung"):
            self._spend(HANG_S)
            raise LinkHung("no answer")
        self._session = False
        raise LinkLost("the link is gone")

    def _close_truly(self, called_s: float | None = None) -> None:
        if self.is_open:
            opened_s, _ = self.openings[-1]
            closed_s = (self.clock.now_s() if called_s is None else called_s) + self.close_latency_s
            self.openings[-1] = (opened_s, max(opened_s, closed_s))
            self.stored.append(Picture("/store", f"P_{len(self.stored):04d}.DNG", 1))

    def _spend(self, seconds: float) -> None:
        self.clock.sleep_until(self.clock.now_s() + seconds)


def true_open_s(camera: PaperCamera) -> float:
    """How long the last opening truly was."""
    opened_s, closed_s = camera.openings[-1]
    assert closed_s is not None, "left open"
    return closed_s - opened_s
