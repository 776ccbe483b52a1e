"""The shutter's rules, held against a camera on paper whose own log is the truth."""

from __future__ import annotations

from dataclasses import replace

import pytest
from paper import PaperCamera, true_open_s

from duskhold.camera.port import Closing
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.events import (
    Box,
    CallFailed,
    Close,
    CloseAnswered,
    CloseAsked,
    Connect,
    Connected,
    Die,
    End,
    ExposeAsked,
    Failure,
    HoldEnded,
    LatchCleared,
    OpenAnswered,
    Refused,
    Started,
    Tick,
)
from duskhold.shutter.holder_link import HolderRefused
from duskhold.shutter.machine import GIVE_UP_S, Machine
from duskhold.shutter.phase import Phase
from duskhold.shutter.report import Exposure, Kind, Outcome, ShutterReport, ShutterState
from duskhold.shutter.stepped import SteppedShutter

PLAN = Exposure("f1", Kind.HELD, 30.0, 35.0, 0.0, 0.005, "here")


def _time_ran_away() -> None:
    raise AssertionError("a day has gone by, and the frame is not told")


def world(**options: object) -> tuple[SimulatedClock, PaperCamera, SteppedShutter]:
    clock = SimulatedClock(1000.0)
    clock.at(1000.0 + 86_400.0, _time_ran_away)
    camera = PaperCamera(clock, **options)  # type: ignore[arg-type]
    return clock, camera, SteppedShutter(camera, clock.as_clock(), 1.7e9, slice_s=0.1)


def test_a_held_frame_is_open_for_as_long_as_it_says() -> None:
    _, camera, shutter = world()
    report = shutter.expose(PLAN)
    assert report.outcome is Outcome.COMPLETE
    assert len(camera.openings) == 1
    assert true_open_s(camera) == pytest.approx(30.0, abs=1e-6)
    assert report.open_s == pytest.approx(30.0, abs=1e-6)


def test_the_latency_of_the_body_is_taken_off_the_wait() -> None:
    _, camera, shutter = world(open_latency_s=0.2, close_latency_s=0.05)
    report = shutter.expose(replace(PLAN, latency_s=-0.15))
    assert true_open_s(camera) == pytest.approx(30.0, abs=1e-6)
    assert report.open_s == pytest.approx(30.0, abs=1e-6)


def test_the_cap_ends_a_hold_whatever_the_latency_says() -> None:
    _, camera, shutter = world()
    shutter.expose(replace(PLAN, open_s=30.0, cap_s=31.0, latency_s=-500.0))
    assert true_open_s(camera) <= 31.0 + 1e-6


def test_opening_is_in_the_box_before_the_shutter_opens() -> None:
    _, camera, shutter = world()
    shutter.expose(PLAN)
    opening = next(line for line in shutter.lines if line.word == "opening")
    assert opening.mono_s <= camera.openings[0][0]
    assert opening.frame_id == "f1"


def test_a_request_to_stop_closes_and_keeps() -> None:
    clock, camera, shutter = world()
    clock.at(1010.0, shutter.ask_to_close)
    report = shutter.expose(PLAN)
    assert report.outcome is Outcome.CUT_SHORT
    assert report.open_s == pytest.approx(true_open_s(camera), abs=1e-6)
    assert true_open_s(camera) == pytest.approx(10.0, abs=0.2)


def test_a_second_exposure_waits_for_the_first_to_be_collected() -> None:
    _, camera, shutter = world()
    shutter.expose(PLAN)
    shutter.idle(1.0)
    with pytest.raises(HolderRefused, match="f1 waits"):
        shutter.expose(replace(PLAN, frame_id="f2"))
    shutter.collect("f1")
    assert shutter.expose(replace(PLAN, frame_id="f2")).outcome is Outcome.COMPLETE
    assert len(camera.openings) == 2


@pytest.mark.parametrize("fault", ["busy", "refused"])
def test_a_body_that_says_no_has_opened_nothing(fault: str) -> None:
    _, camera, shutter = world(open_faults=[fault])
    report = shutter.expose(PLAN)
    assert report.outcome is Outcome.REFUSED
    assert report.open_s == 0.0
    assert camera.openings == []


@pytest.mark.parametrize("fault", ["lost_after", "hung_after", "opened_then_no"])
def test_an_opening_that_was_answered_badly_is_closed_at_once(fault: str) -> None:
    _, camera, shutter = world(open_faults=[fault])
    report = shutter.expose(PLAN)
    assert report.shutter is ShutterState.CLOSED
    assert true_open_s(camera) < 4.0
    assert report.open_s_range is not None
    assert report.open_s_range[0] <= true_open_s(camera) <= report.open_s_range[1]


def test_an_opening_that_the_body_ignored_is_not_called_a_frame() -> None:
    _, camera, shutter = world(open_faults=["ignored"])
    report = shutter.expose(PLAN)
    assert report.outcome is Outcome.FAILED
    assert report.open_s is None
    assert camera.openings == []


def test_a_lead_pulled_and_back_closes_first_and_tells_the_true_time() -> None:
    clock, camera, shutter = world()
    clock.at(1010.0, camera.drop)
    clock.at(1050.0, camera.plug_in)
    report = shutter.expose(PLAN)
    assert report.outcome is Outcome.LINK_LOST
    assert true_open_s(camera) == pytest.approx(50.0, abs=1.0)
    assert report.open_s == pytest.approx(true_open_s(camera), abs=0.2)
    assert len(camera.openings) == 1


def test_a_body_that_closes_when_the_lead_goes_is_told_so() -> None:
    clock, camera, shutter = world(closes_when_link_goes=True)
    clock.at(1010.0, camera.drop)
    clock.at(1050.0, camera.plug_in)
    report = shutter.expose(PLAN)
    assert report.outcome is Outcome.LINK_LOST
    assert report.open_s == pytest.approx(10.0, abs=0.3)
    assert report.open_s_range is not None
    assert report.open_s_range[0] <= true_open_s(camera) <= report.open_s_range[1]


def test_a_lead_that_stays_away_is_told_as_unknown_and_closed_later() -> None:
    clock, camera, shutter = world()
    clock.at(1010.0, camera.drop)
    clock.at(1030.0 + GIVE_UP_S + 60.0, camera.plug_in)  # should nobody tell: this ends all the same
    report = shutter.expose(PLAN)
    assert report.outcome is Outcome.LINK_LOST
    assert report.open_s is None
    assert report.shutter is ShutterState.UNKNOWN
    assert clock.now_s() == pytest.approx(1030.0 + GIVE_UP_S, abs=1.5)
    assert report.open_s_range is not None
    assert report.open_s_range[0] == pytest.approx(10.0, abs=0.3)
    shutter.collect("f1")
    camera.plug_in()
    shutter.idle(2.0)
    settled = shutter.machine.reports["f1"]
    assert settled.settled
    assert settled.open_s == pytest.approx(true_open_s(camera), abs=0.2)


def test_a_closing_call_that_hangs_is_repeated_by_the_successor() -> None:
    _, camera, shutter = world()
    camera.close_faults = ["hung_before"]
    report = shutter.expose(PLAN)
    assert "died" in [line.word for line in shutter.lines]
    assert true_open_s(camera) == pytest.approx(32.5, abs=0.3)
    assert report.outcome is Outcome.LINK_LOST
    assert report.open_s == pytest.approx(true_open_s(camera), abs=0.05)


def test_a_closing_answered_with_an_error_is_proven_by_the_picture() -> None:
    _, camera, shutter = world()
    camera.close_faults = ["closed_then_no"]
    report = shutter.expose(PLAN)
    assert report.outcome is Outcome.COMPLETE
    assert report.open_s == pytest.approx(true_open_s(camera), abs=0.05)


def test_a_link_that_hangs_while_open_does_not_shorten_the_frame() -> None:
    clock, camera, shutter = world()
    clock.at(1010.0, lambda: setattr(camera, "link_hung", True))
    clock.at(1015.0, lambda: setattr(camera, "link_hung", False))
    report = shutter.expose(PLAN)
    assert true_open_s(camera) == pytest.approx(30.0, abs=0.1)
    assert report.open_s == pytest.approx(true_open_s(camera), abs=0.05)
    assert "died" in [line.word for line in shutter.lines]


def test_three_closings_that_leave_it_open_set_the_latch() -> None:
    _, camera, shutter = world()
    camera.close_faults = ["ignored"] * 3
    report = shutter.expose(PLAN)
    assert report.shutter is ShutterState.CLOSED
    assert report.open_s == pytest.approx(true_open_s(camera), abs=0.05)
    shutter.collect("f1")
    shutter.idle(1.0)
    with pytest.raises(HolderRefused, match="body clear"):
        shutter.expose(replace(PLAN, frame_id="f2"))
    assert len(camera.openings) == 1
    shutter.clear_latch()
    assert shutter.expose(replace(PLAN, frame_id="f2")).outcome is Outcome.COMPLETE


def test_two_closings_that_leave_it_open_do_not_set_the_latch() -> None:
    _, camera, shutter = world()
    camera.close_faults = ["ignored"] * 2
    shutter.expose(PLAN)
    assert not shutter.machine.latched


def test_the_latch_outlives_the_process() -> None:
    clock, camera, shutter = world()
    camera.close_faults = ["ignored"] * 3
    shutter.expose(PLAN)
    successor = SteppedShutter(camera, clock.as_clock(), 1.7e9, slice_s=0.1)
    successor.lines = list(shutter.lines)
    successor.live_again()
    assert successor.machine.latched


def test_a_successor_closes_what_a_killed_process_left_open() -> None:
    clock, camera, shutter = world()

    class Killed(Exception):
        pass

    def kill() -> None:
        raise Killed

    clock.at(1010.0, kill)
    with pytest.raises(Killed):
        shutter.expose(PLAN)
    assert camera.is_open
    shutter.live_again()
    report = shutter.machine.reports["f1"]
    assert true_open_s(camera) == pytest.approx(10.0, abs=0.2)
    assert report.outcome is Outcome.CUT_SHORT
    assert report.open_s == pytest.approx(true_open_s(camera), abs=0.05)
    assert "successor" in report.reason


def test_after_a_boot_the_stamps_of_before_say_nothing() -> None:
    _, camera, shutter = world()
    shutter.expose(PLAN)
    before = [replace(line, boot="another") for line in shutter.lines if line.word in ("opening", "opened")]
    shutter.lines = before
    camera.openings.append((5.0, None))
    shutter.live_again()
    report = shutter.machine.reports["f1"]
    assert report.open_s is None
    assert report.outcome is Outcome.UNKNOWN
    assert not camera.is_open


def test_nothing_is_opened_before_the_first_proof_of_a_closed_shutter() -> None:
    machine = Machine()
    ask = ExposeAsked(PLAN, 0.0)

    def refused() -> bool:
        return isinstance(machine.step(ask, 1.0)[0], Refused)

    assert refused()
    machine.step(Started(), 1.0)
    assert refused()
    assert machine.step(Connected(), 1.0) == [Close()]
    assert refused()
    machine.step(CloseAnswered(Closing.STILL_OPEN, 1.0), 1.0)
    assert refused()
    machine.step(CloseAnswered(Closing.CLOSED, 1.0), 1.0)
    assert not refused()


class NoRoom(SteppedShutter):
    """A shutter whose black box takes every line but one."""

    refused_word = "opening"

    def _note(self, box: Box) -> None:
        if box.word == self.refused_word:
            raise OSError(28, "No space left on device")
        super()._note(box)


@pytest.mark.parametrize("word", ["opening", "closed"])
def test_what_cannot_be_written_is_not_opened_and_what_is_open_is_closed(word: str) -> None:
    clock = SimulatedClock(1000.0)
    camera = PaperCamera(clock)
    shutter = NoRoom(camera, clock.as_clock(), 1.7e9, slice_s=0.1)
    shutter.refused_word = word
    report = shutter.expose(PLAN)
    if word == "opening":
        assert report.outcome is Outcome.REFUSED
        assert camera.openings == []
    else:
        assert report.open_s == pytest.approx(true_open_s(camera), abs=0.01)
    shutter.collect("f1")
    with pytest.raises(HolderRefused, match="black box"):
        shutter.expose(replace(PLAN, frame_id="f2"))
    shutter.refused_word = ""
    shutter.idle(2.0)  # room was made
    assert shutter.expose(replace(PLAN, frame_id="f3")).outcome is Outcome.COMPLETE


def test_a_body_without_a_card_that_says_it_is_exposing_is_not_said_to_be_closed() -> None:
    """Held by somebody's own hand, say."""
    machine = Machine(phase=Phase.READY, unfit=Refused("no_card", "there is no card"))
    assert machine.step(CallFailed("connect", Failure.LOST, "no_card", "there is no card"), 10.0) == [Close()]
    machine.step(CloseAnswered(Closing.STILL_OPEN, 10.0), 15.0)
    assert machine.shutter() is ShutterState.UNKNOWN
    machine.step(CloseAnswered(Closing.CLOSED, 15.0), 15.1)
    assert (machine.phase, machine.shutter()) == (Phase.READY, ShutterState.CLOSED)


def opened_machine() -> Machine:
    machine = Machine()
    for event in (Started(), Connected(), CloseAnswered(Closing.CLOSED, 0.0), ExposeAsked(PLAN, 0.0)):
        machine.step(event, 1.0)
    machine.step(OpenAnswered(1.0, 1.0), 1.0)
    return machine


def test_nothing_is_opened_while_another_frame_is_open() -> None:
    machine = opened_machine()
    (refused,) = machine.step(ExposeAsked(replace(PLAN, frame_id="f2"), 0.0), 2.0)
    assert refused == Refused("busy", "the shutter is in use by another frame")


def test_a_request_to_stop_during_the_opening_call_closes_as_soon_as_it_is_answered() -> None:
    machine = Machine()
    for event in (Started(), Connected(), CloseAnswered(Closing.CLOSED, 0.0), ExposeAsked(PLAN, 0.0), CloseAsked()):
        machine.step(event, 1.0)
    assert machine.step(OpenAnswered(1.0, 1.0), 1.0)[-1] == Close()


def test_nothing_open_is_asked_once_more_before_it_is_believed() -> None:
    machine = opened_machine()
    machine.step(HoldEnded(31.0), 31.0)
    assert machine.step(CloseAnswered(Closing.NOTHING_OPEN, 31.0), 31.0) == [Close()]
    assert machine.frame is not None


def told_after(machine: Machine, *answers: tuple[Closing, float]) -> ShutterReport:
    machine.step(HoldEnded(31.0), 31.0)
    for closing, called_s in answers:
        machine.step(CloseAnswered(closing, called_s), called_s)
    (report,) = machine.reports.values()
    return report


def test_of_two_closings_that_may_have_closed_it_neither_is_told_as_the_one() -> None:
    # The first may have closed, and its picture came late; or it was not heard, and the second one did.
    report = told_after(opened_machine(), (Closing.NOTHING_OPEN, 31.0), (Closing.CLOSED, 33.6))
    assert (report.open_s, report.outcome, report.denied) == (None, Outcome.FAILED, True)
    assert report.open_s_range == pytest.approx((30.0, 32.6))
    near = told_after(opened_machine(), (Closing.NOTHING_OPEN, 31.0), (Closing.CLOSED, 31.4))
    assert near.open_s == pytest.approx(30.2)
    assert near.open_s_sigma_s == pytest.approx(0.2)
    same = told_after(opened_machine(), (Closing.NOTHING_OPEN, 31.0), (Closing.CLOSED, 31.05))
    assert same.open_s == pytest.approx(30.05)
    assert same.open_s_range is None


def test_a_denial_is_forgotten_when_the_body_then_says_that_it_is_open() -> None:
    wrong = (Closing.NOTHING_OPEN, 31.0)
    report = told_after(opened_machine(), wrong, (Closing.STILL_OPEN, 33.0), (Closing.CLOSED_BUSY, 35.0))
    assert report.open_s == pytest.approx(34.0)
    assert (report.open_s_range, report.denied) == (None, False)
    machine = opened_machine()
    machine.step(HoldEnded(31.0), 31.0)
    for closing, called_s in (wrong, (Closing.STILL_OPEN, 33.0)):
        machine.step(CloseAnswered(closing, called_s), called_s)
    # It is asked once more, as if it had never been denied.
    assert machine.step(CloseAnswered(Closing.NOTHING_OPEN, 35.0), 35.0) == [Close()]


def test_a_successor_listens_as_soon_as_its_closing_is_answered_and_waits_for_a_proof_afterwards() -> None:
    left = opened_machine().frame
    machine = Machine()
    machine.step(Started(frame=left), 131.0)
    machine.step(Connected(), 131.0)
    assert not machine.looked
    for _ in range(2):
        machine.step(CloseAnswered(Closing.NOTHING_OPEN, 131.0), 131.0)
    # A picture may take two minutes to prove that it was open; a holder silent for so long is killed.
    assert machine.phase is Phase.PROVING and machine.looked
    assert machine.closes_in_s(131.0) is not None and machine.refusal() is not None


def test_the_latch_is_not_cleared_while_the_shutter_may_be_open() -> None:
    machine = opened_machine()
    machine.step(HoldEnded(31.0), 31.0)
    for _ in range(3):
        machine.step(CloseAnswered(Closing.STILL_OPEN, 31.0), 31.0)
    assert machine.latched
    assert isinstance(machine.step(LatchCleared(), 32.0)[0], Refused)
    assert machine.latched


def test_a_lost_camera_is_looked_for_until_it_answers() -> None:
    machine = opened_machine()
    gone = CallFailed("wait", Failure.LOST, "link_lost", "the link is gone")
    assert machine.step(HoldEnded(5.0, gone), 5.0)[-1] == Connect()
    missing = CallFailed("connect", Failure.LOST, "camera_missing", "nothing answers")
    assert machine.step(missing, 6.0)[-1] == Connect()
    assert machine.step(Connected(), 7.0) == [Close()]


def test_a_hold_that_overran_ends_the_process() -> None:
    machine = opened_machine()
    assert machine.deadline_s() == pytest.approx(32.0)
    assert machine.step(Tick(), 31.5) == []
    assert Die in [type(effect) for effect in machine.step(Tick(), 32.0)]


def test_an_idle_camera_is_released_after_a_minute() -> None:
    machine = Machine()
    for event in (Started(), Connected(), CloseAnswered(Closing.CLOSED, 0.0)):
        machine.step(event, 5.0)
    assert machine.deadline_s() == pytest.approx(65.0)
    machine.touch(10.0)
    assert machine.step(Tick(), 65.0) == []
    assert End() in machine.step(Tick(), 70.0)
