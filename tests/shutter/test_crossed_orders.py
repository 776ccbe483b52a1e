"""An order that crosses a fault: taken by one thread of the holder while the other is in a call that fails."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pytest
from paper import PaperCamera, true_open_s

from duskhold.camera.port import CameraBusy, CameraEvent
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.desk import Desk, Errand
from duskhold.shutter.errands import Errands
from duskhold.shutter.events import Box, Close, CloseAsked, Connected, Effect, ExposeAsked, Open, Refused, Started
from duskhold.shutter.hands import Hands
from duskhold.shutter.machine import Machine
from duskhold.shutter.phase import Phase
from duskhold.shutter.report import Exposure, Kind, Outcome
from duskhold.shutter.stock import Stock
from duskhold.shutter.wire import Message

PLAN = Exposure("f1", Kind.HELD, 30.0, 35.0, 0.0, 0.005, "here")


class Holder:
    """The camera's side of a holder whose shutter is proven closed; an order is taken as the other thread takes it."""

    def __init__(self) -> None:
        self.clock = SimulatedClock(1000.0)
        self.camera = PaperCamera(self.clock)
        self.desk = Desk(Machine(), self.clock.as_clock())
        self.lines: list[Box] = []
        self.taken: list[Effect] = []
        errands = Errands(self.camera, Stock(None), self.desk.seen)
        self.hands = Hands(self.camera, self.desk, errands, self.lines.append, pytest.fail)
        self.hands.carry_out(self.desk.step(Started()))
        assert self.desk.machine.phase is Phase.READY

    def take_order(self) -> None:
        self.taken = self.desk.step(ExposeAsked(PLAN, 1.7e9))

    def assert_nothing_was_opened(self) -> None:
        report = self.desk.machine.reports["f1"]
        assert (report.outcome, report.open_s, report.settled) == (Outcome.REFUSED, 0.0, True)
        assert self.camera.openings == []
        assert "opening" not in [line.word for line in self.lines]
        assert self.desk.machine.frame is None


@pytest.fixture
def holder() -> Iterator[Holder]:
    made = Holder()
    yield made
    made.desk.close()


def test_an_order_is_in_the_box_before_the_camera_hears_of_it(holder: Holder) -> None:
    holder.take_order()
    box, opening = holder.taken
    assert isinstance(box, Box) and (box.word, box.frame_id, opening) == ("opening", "f1", Open())


def test_nothing_opens_when_the_link_is_back_that_was_lost_while_the_order_came(holder: Holder) -> None:
    def listing() -> Message:
        holder.take_order()
        holder.camera.drop()
        holder.clock.at(holder.clock.now_s() + 3.0, holder.camera.plug_in)
        holder.camera.pictures()
        return {}

    holder.hands.run(Errand("list", None, listing, 30.0))
    holder.hands.carry_out(holder.taken)
    holder.assert_nothing_was_opened()


def test_nothing_opens_after_a_body_was_too_busy_to_be_listened_to(
    holder: Holder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def busy(_slice_s: float) -> Sequence[CameraEvent]:
        holder.take_order()
        raise CameraBusy("busy")

    monkeypatch.setattr(holder.camera, "wait", busy)
    holder.hands.carry_out(holder.hands.listen(Phase.READY))
    holder.hands.carry_out(holder.taken)
    holder.assert_nothing_was_opened()


def test_a_body_that_answers_again_takes_no_order_before_it_is_closed() -> None:
    machine = Machine(phase=Phase.READY, unfit=Refused("no_card", "there is no card"))
    assert machine.step(Connected(), 10.0) == [Close()]
    assert machine.step(ExposeAsked(PLAN, 0.0), 10.1) == [machine.refusal()]
    assert machine.frame is None


def test_a_request_to_stop_is_heard_while_a_slow_link_is_asked_nothing_any_more(
    holder: Holder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(_slice_s: float) -> Sequence[CameraEvent]:
        holder.clock.sleep_until(holder.clock.now_s() + 3.0)
        return []

    def stop() -> None:
        holder.desk.step(CloseAsked())

    monkeypatch.setattr(holder.camera, "wait", slow)
    holder.clock.at(holder.clock.now_s() + 28.0, stop)
    holder.take_order()
    holder.hands.carry_out(holder.taken)
    assert true_open_s(holder.camera) == pytest.approx(28.0, abs=0.2)
    assert holder.desk.machine.reports["f1"].outcome is Outcome.CUT_SHORT
