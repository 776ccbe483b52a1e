"""A body is known by its serial: another one at the lead cannot tell of a frame, and is only closed to be sure."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest
from paper import PaperCamera, true_open_s

from duskhold.camera.port import Closing, Identity, NoCard
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.holder_link import HolderRefused
from duskhold.shutter.phase import Phase
from duskhold.shutter.report import Exposure, Kind, Outcome, ShutterReport, ShutterState
from duskhold.shutter.stepped import SteppedShutter

PLAN = Exposure("f1", Kind.HELD, 30.0, 35.0, 0.0, 0.005, "here")


@dataclass
class Swapped(PaperCamera):
    """The first body until `swap`, and another one, closed, from then on until `swap_back`."""

    is_other: bool = False
    other_is_full: bool = False
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
        if self.is_other and self.other_is_full:
            raise NoCard("full", "P2")
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


def lost_with_another_there() -> tuple[SimulatedClock, Swapped, SteppedShutter]:
    """The lead went in a frame, and minutes later another body is still there: the frame is told as unknown."""
    clock, camera, shutter = world()
    clock.at(1010.0, camera.drop)
    clock.at(1020.0, camera.swap)
    assert not shutter.expose(PLAN).settled
    return clock, camera, shutter


def collected_later() -> tuple[SimulatedClock, Swapped, SteppedShutter, ShutterReport]:
    """A frame is told, and before its pictures are fetched another body is at the lead."""
    clock, camera, shutter = world()
    told = shutter.expose(PLAN)
    clock.at(clock.now_s() + 1.0, camera.drop)
    clock.at(clock.now_s() + 3.0, camera.swap)
    return clock, camera, shutter, told


def test_a_process_that_was_killed_leaves_word_of_whose_frame_it_was() -> None:
    clock, camera, shutter = lost_with_another_there()
    seen: list[tuple[bool, str]] = []
    clock.at(clock.now_s() + 30.0, lambda: seen.append((camera.is_open, str(shutter.machine.trouble))))
    clock.at(clock.now_s() + 40.0, camera.swap_back)
    shutter.live_again()
    ((was_open, trouble),) = seen
    assert was_open
    assert "another camera answers (serial P2): put back P1" in trouble
    assert not camera.is_open
    report = shutter.machine.reports["f1"]
    assert report.settled
    assert report.open_s == pytest.approx(true_open_s(camera), abs=0.5)


def test_another_body_without_a_card_settles_no_frame_either() -> None:
    clock, camera, shutter = world()
    camera.other_is_full = True
    clock.at(1010.0, camera.drop)
    clock.at(1020.0, camera.swap)
    clock.at(1040.0, camera.swap_back)
    report = shutter.expose(PLAN)
    assert report.settled
    assert true_open_s(camera) == pytest.approx(40.0, abs=1.0)
    assert report.open_s == pytest.approx(true_open_s(camera), abs=0.5)


def test_another_body_gives_no_pictures_of_a_frame_that_waits_to_be_collected() -> None:
    clock, camera, shutter, _ = collected_later()
    seen: list[tuple[Phase, str]] = []
    clock.at(clock.now_s() + 10.0, lambda: seen.append((shutter.machine.phase, str(shutter.machine.trouble))))
    clock.at(clock.now_s() + 20.0, camera.swap_back)
    shutter.idle(25.0)
    ((phase, trouble),) = seen
    assert phase is Phase.LOST
    assert "put back P1, whose pictures are not fetched yet" in trouble
    assert shutter.machine.phase is not Phase.LOST
    shutter.collect("f1")
    camera.swap()
    shutter.idle(5.0)
    assert shutter.ready(), "nothing is outstanding any more"


def test_a_person_says_that_the_first_body_does_not_come_back() -> None:
    clock, _, shutter = lost_with_another_there()
    clock.at(clock.now_s() + 30.0, shutter.give_up_body)
    shutter.idle(40.0)
    report = shutter.machine.reports["f1"]
    assert (report.outcome, report.open_s, report.shutter) == (Outcome.LINK_LOST, None, ShutterState.UNKNOWN)
    assert report.settled and report.given_up and report.has_nothing_to_fetch
    assert report.open_s_range is not None
    assert report.open_s_range[0] == pytest.approx(10.0, abs=0.2)
    assert report.open_s_range[1] > 80.0
    assert "as a person said" in report.reason
    shutter.live_again()  # the word is in the black box
    shutter.collect("f1")
    shutter.idle(2.0)
    assert shutter.ready()
    assert not shutter.machine.reports


def test_what_was_told_and_not_fetched_is_given_up_with_its_body() -> None:
    clock, _, shutter, told = collected_later()
    clock.at(clock.now_s() + 10.0, shutter.give_up_body)
    shutter.idle(15.0)
    report = shutter.machine.reports["f1"]
    assert (report.outcome, report.open_s, report.shutter) == (told.outcome, told.open_s, ShutterState.CLOSED)
    assert "its pictures stay on that camera's card" in report.reason
    shutter.collect("f1")
    shutter.idle(2.0)
    assert shutter.ready()


@pytest.mark.parametrize("is_lost", [False, True])
def test_nothing_is_given_up_while_no_other_body_answers(is_lost: bool) -> None:
    clock, camera, shutter = world()
    if is_lost:
        clock.at(1010.0, camera.drop)
        assert not shutter.expose(PLAN).settled
    with pytest.raises(HolderRefused, match="no other camera answers"):
        shutter.give_up_body()
