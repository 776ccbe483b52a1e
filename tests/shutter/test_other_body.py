"""A body is known by its serial: another one at the lead cannot tell of a frame, and is only closed to be sure."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest
from paper import PaperCamera, true_open_s

from duskhold.camera.port import Closing, Identity
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.report import Exposure, Kind, Outcome, ShutterState
from duskhold.shutter.stepped import SteppedShutter

PLAN = Exposure("f1", Kind.HELD, 30.0, 35.0, 0.0, 0.005, "here")


@dataclass
class Swapped(PaperCamera):
    """The first body until `swap`, and another one, closed, from then on until `swap_back`."""

    is_other: bool = False
    other_closings: int = 0

    def swap(self) -> None:
        self.is_other = True
        self.plug_in()

    def swap_back(self) -> None:
        self.drop()
        self.is_other = False
        self.plug_in()

    def connect(self) -> Identity:
        identity = super().connect()
        return replace(identity, serial="P2") if self.is_other else identity

    def close_shutter(self) -> Closing:
        if not self.is_other:
            return super().close_shutter()
        self._call([])
        self.other_closings += 1
        return Closing.NOTHING_OPEN


def world() -> tuple[SimulatedClock, Swapped, SteppedShutter]:
    clock = SimulatedClock(1000.0)
    camera = Swapped(clock)
    return clock, camera, SteppedShutter(camera, clock.as_clock(), 1.7e9, slice_s=0.1)


def test_a_frame_waits_for_its_own_body_and_the_other_is_closed() -> None:
    clock, camera, shutter = world()
    clock.at(1010.0, camera.drop)
    clock.at(1020.0, camera.swap)
    clock.at(1040.0, camera.swap_back)
    report = shutter.expose(PLAN)
    assert camera.other_closings > 0
    assert report.shutter is ShutterState.CLOSED
    assert true_open_s(camera) == pytest.approx(40.0, abs=1.0)
    assert report.open_s == pytest.approx(true_open_s(camera), abs=0.5)
    lost = [str(line.detail["reason"]) for line in shutter.lines if line.word == "lost"]
    assert any("another camera answers (serial P2): put back P1" in reason for reason in lost)


def test_another_body_never_settles_the_frame_however_long_it_is_there() -> None:
    clock, camera, shutter = world()
    clock.at(1010.0, camera.drop)
    clock.at(1020.0, camera.swap)
    clock.at(1400.0, camera.swap_back)
    report = shutter.expose(PLAN)
    assert report.outcome is Outcome.LINK_LOST
    assert report.shutter is ShutterState.UNKNOWN
    assert not report.settled
    assert not shutter.ready()
    shutter.idle(300.0)
    assert camera.other_closings > 100
    assert true_open_s(camera) == pytest.approx(400.0, abs=1.0)
    settled = shutter.machine.reports["f1"]
    assert settled.settled
    assert settled.open_s == pytest.approx(true_open_s(camera), abs=0.5)


def test_another_body_between_two_frames_is_as_good() -> None:
    clock, camera, shutter = world()
    clock.at(1010.0, camera.drop)
    clock.at(1020.0, camera.swap)
    shutter.idle(30.0)
    assert shutter.ready()
