"""A device that begins no session is reset once for each loss, and never while its shutter may be open."""

from __future__ import annotations

import pytest
from paper import PaperCamera

from duskhold.camera.port import Identity, LinkHung
from duskhold.camera.usb_reset import Reset
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.desk import Desk
from duskhold.shutter.errands import Errands
from duskhold.shutter.events import Box, Connect
from duskhold.shutter.hands import Hands
from duskhold.shutter.machine import Machine
from duskhold.shutter.report import Exposure, Kind
from duskhold.shutter.stock import Stock
from duskhold.shutter.story import Frame

PLAN = Exposure("f1", Kind.HELD, 30.0, 35.0, 0.0, 0.005, "here")


class Deaf(PaperCamera):
    """Begins no session the first `refusals` times."""

    refusals = 3

    def connect(self) -> Identity:
        if self.refusals:
            self.refusals -= 1
            raise LinkHung("no answer")
        return super().connect()


class Resetting:
    """Hands that meet a deaf body, with the machine in a given state."""

    def __init__(self, frame: Frame | None, latched: bool) -> None:
        self.resets = 0
        self.lines: list[Box] = []
        clock = SimulatedClock(1000.0)
        self.camera = Deaf(clock)
        self.desk = Desk(Machine(frame=frame, latched=latched), clock.as_clock())
        errands = Errands(self.camera, Stock(None), self.desk.seen)
        self.hands = Hands(self.camera, self.desk, errands, self.lines.append, self._die, reset=self._reset)

    def look_once(self) -> None:
        self.hands._perform(Connect())

    def _reset(self) -> Reset:
        self.resets += 1
        return Reset(True, "it was reset")

    @staticmethod
    def _die(reason: str) -> None:
        raise AssertionError(reason)


def frame() -> Frame:
    return Frame(PLAN, 990.0, 1020.0, 0.0)


@pytest.mark.parametrize(
    ("open_frame", "latched", "resets"), [(None, False, 1), (frame(), False, 0), (frame(), True, 1), (None, True, 1)]
)
def test_it_is_reset_once_and_not_while_it_may_be_open(open_frame: Frame | None, latched: bool, resets: int) -> None:
    world = Resetting(open_frame, latched)
    for _ in range(3):
        world.look_once()
    assert world.resets == resets
    assert [line.word for line in world.lines] == ["reset"] * resets
    world.desk.close()


def test_the_next_loss_may_reset_again() -> None:
    world = Resetting(None, False)
    world.look_once()
    world.camera.refusals = 0
    world.look_once()
    world.camera.refusals = 1
    world.look_once()
    assert world.resets == 2
    world.desk.close()
