"""A frame that the body times itself: what proves its end, and what does not. And a proof that no card can give."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from paper import PaperCamera, true_open_s

from duskhold.camera.port import Closing, NoCard, Picture
from duskhold.shutter.blackbox import BoxLine
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.events import (
    CallFailed,
    CaptureCompleted,
    Close,
    CloseAnswered,
    Connected,
    Count,
    Counted,
    DialAnswered,
    ExposeAsked,
    Failure,
    PictureSeen,
    Tick,
)
from duskhold.shutter.leftover import left_over
from duskhold.shutter.machine import GIVE_UP_S, Machine
from duskhold.shutter.phase import Phase
from duskhold.shutter.report import Exposure, Kind, Outcome
from duskhold.shutter.stepped import SteppedShutter

DIAL = Exposure("f1", Kind.DIAL, 32.0, 32.0, 0.0, 0.0, "here")
HELD = Exposure("f1", Kind.HELD, 30.0, 35.0, 0.0, 0.005, "here")


def begun() -> Machine:
    """The body has taken the order at 10 s."""
    machine = Machine(phase=Phase.READY)
    machine.step(ExposeAsked(DIAL, 0.0), 10.0)
    machine.step(DialAnswered(10.0, 10.1), 10.1)
    assert machine.phase is Phase.TIMED
    return machine


def test_a_body_that_is_busy_while_it_exposes_has_not_refused_the_frame() -> None:
    machine = begun()
    assert machine.step(CallFailed("wait", Failure.REFUSED, "camera_busy", "busy"), 15.0) == []
    assert machine.phase is Phase.TIMED
    machine.step(PictureSeen(), 43.0)
    assert machine.reports["f1"].outcome is Outcome.COMPLETE


@pytest.mark.parametrize("late", [PictureSeen(), CaptureCompleted()])
def test_a_late_word_of_the_frame_before_does_not_end_this_one(late: PictureSeen | CaptureCompleted) -> None:
    machine = begun()
    assert machine.step(late, 13.0) == []
    assert machine.phase is Phase.TIMED and machine.reports == {}
    machine.step(PictureSeen(), 43.0)
    assert (machine.reports["f1"].outcome, machine.reports["f1"].open_s) == (Outcome.COMPLETE, 32.0)


def test_a_dial_that_takes_30_s_for_32_is_believed() -> None:
    machine = begun()
    machine.step(PictureSeen(), 40.5)
    assert machine.reports["f1"].outcome is Outcome.COMPLETE


def without_word(machine: Machine) -> float:
    """Nothing tells of a picture until it is asked; the body says that nothing is open. When that was."""
    asked_s = 10.0 + 32.0 + GIVE_UP_S
    assert machine.step(Tick(), asked_s) == [Close()]
    assert machine.step(CloseAnswered(Closing.NOTHING_OPEN, asked_s), asked_s) == [Close()]
    assert machine.step(CloseAnswered(Closing.NOTHING_OPEN, asked_s), asked_s) == [Count()]
    machine.step(Counted(1), asked_s)
    return asked_s


def test_a_frame_whose_word_was_lost_is_whole_when_its_picture_is_there() -> None:
    machine = begun()
    without_word(machine)
    assert (machine.reports["f1"].outcome, machine.reports["f1"].open_s) == (Outcome.COMPLETE, 32.0)


def test_a_body_that_ended_the_frame_by_itself_is_not_said_to_have_finished_it() -> None:
    machine = begun()
    machine.step(PictureSeen(), 15.0)  # its battery, say
    asked_s = without_word(machine)
    report = machine.reports["f1"]
    assert (report.outcome, report.open_s) == (Outcome.CUT_SHORT, None)
    assert report.open_s_range is not None
    assert report.open_s_range == pytest.approx((0.0, asked_s - 10.0))


def test_a_link_that_goes_in_the_last_closing_is_told_as_unknown_in_the_end() -> None:
    machine = begun()
    now_s = 10.0 + 32.0 + GIVE_UP_S
    machine.step(Tick(), now_s)
    machine.step(CallFailed("close", Failure.LOST, "link_lost", "the link is gone"), now_s + 1.0)
    due_s = machine.deadline_s()
    assert due_s is not None, "whoever waits for the frame would wait for ever"
    machine.step(Tick(), due_s)
    assert (machine.reports["f1"].outcome, machine.reports["f1"].settled) == (Outcome.LINK_LOST, False)


class Cardless(PaperCamera):
    """Its card was taken out while the shutter was open; it answers a closing as if nothing had been open."""

    listings = 0

    def pictures(self) -> Sequence[Picture]:
        if not self.openings:
            return []
        self.listings += 1
        assert self.listings < 20, "it is asked again and again"
        raise NoCard("the body shows no card")


def test_a_picture_that_could_prove_the_opening_is_not_looked_for_without_end() -> None:
    clock = SimulatedClock(1000.0)
    camera = Cardless(clock)
    shutter = SteppedShutter(camera, clock.as_clock(), 1.7e9, slice_s=0.1)
    camera.close_faults = ["closed_then_no"]
    report = shutter.expose(HELD)
    assert (report.outcome, report.settled) == (Outcome.FAILED, True)
    assert report.open_s_range is not None
    assert report.open_s_range[0] <= true_open_s(camera) <= report.open_s_range[1]
    shutter.close()


def back_in_the_middle(machine: Machine) -> None:
    """The link went at 14 s, and the body answers again at 16 s."""
    machine.step(CallFailed("wait", Failure.LOST, "link_lost", "the link is gone"), 14.0)
    assert machine.step(Connected(), 16.0) == [Close()]


@pytest.mark.parametrize("answer", [Closing.NOTHING_OPEN, Closing.STILL_OPEN, Closing.CLOSED_BUSY])
def test_a_body_that_is_found_again_in_the_middle_goes_on_by_its_dial(answer: Closing) -> None:
    """No family's closing call ends a timed exposure; some say that nothing is open."""
    machine = begun()
    back_in_the_middle(machine)
    assert machine.step(CloseAnswered(answer, 16.0), 16.2) == []
    assert (machine.phase, machine.reports, machine.latched) == (Phase.TIMED, {}, False)
    machine.step(PictureSeen(), 42.5)
    report = machine.reports["f1"]
    assert (report.outcome, report.open_s, report.settled) == (Outcome.COMPLETE, 32.0, True)
    assert report.denied, "its picture is to tell whether that is so"


def test_a_closing_that_worked_in_the_middle_is_not_told_as_a_whole_frame() -> None:
    machine = begun()
    back_in_the_middle(machine)
    machine.step(CloseAnswered(Closing.CLOSED, 16.0), 16.2)
    report = machine.reports["f1"]
    assert (report.outcome, report.open_s, report.open_s_range) == (Outcome.LINK_LOST, None, (0.0, 32.0))


def test_the_next_process_waits_for_the_end_of_the_dial_before_it_tells() -> None:
    opening = BoxLine("opening", 10.0, "boot", "f1", DIAL.as_message() | {"utc_offset_s": 0.0, "serial": ""})
    machine = Machine()
    machine.step(left_over([opening], "boot"), 15.0)
    machine.step(Connected(), 15.5)
    assert machine.step(CloseAnswered(Closing.NOTHING_OPEN, 15.6), 15.7) == []
    assert machine.reports == {}, "whoever collects it would find no picture yet, and let it off"
    machine.step(PictureSeen(), 42.5)
    report = machine.reports["f1"]
    assert (report.outcome, report.open_s, report.open_s_range) == (Outcome.UNKNOWN, None, (0.0, 32.0))


def test_a_dial_frame_without_a_picture_was_open_for_its_dial_at_most_and_not_only_until_the_link_went() -> None:
    machine = begun()
    back_in_the_middle(machine)
    machine.step(CloseAnswered(Closing.NOTHING_OPEN, 16.0), 16.2)
    asked_s = 10.0 + 32.0 + GIVE_UP_S
    assert machine.step(Tick(), asked_s) == [Close()]
    for _ in range(2):
        machine.step(CloseAnswered(Closing.NOTHING_OPEN, asked_s), asked_s)
    machine.step(Counted(0), asked_s)
    due_s = machine.deadline_s()
    assert due_s is not None
    machine.step(Tick(), due_s)
    report = machine.reports["f1"]
    assert report.outcome is Outcome.FAILED
    assert report.open_s_range is not None and report.open_s_range[1] >= 32.0
