"""The watch over the camera thread: a lost call ends the process, a machine that stood still does not.

`watch` and `tick` are stepped by hand; their clock is real, and the calls in flight are made old.
"""

from __future__ import annotations

import errno
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from paper import PaperCamera

from duskhold.camera.port import Closing
from duskhold.shutter.blackbox import BlackBox
from duskhold.shutter.clock import SimulatedClock, mono_now_s
from duskhold.shutter.control import Control
from duskhold.shutter.desk import CallInFlight, Desk, Errand
from duskhold.shutter.errands import Errands
from duskhold.shutter.events import CloseAnswered, Connected, ExposeAsked, OpenAnswered, Started
from duskhold.shutter.machine import IDLE_S, OVERRUN_S, Machine
from duskhold.shutter.phase import Phase
from duskhold.shutter.report import Exposure, Kind
from duskhold.shutter.stock import Stock
from duskhold.shutter.wire import Inbox, pack, receive, request


class Died(Exception):
    pass


@dataclass
class Seat:
    desk: Desk
    control: Control
    box: BlackBox

    @property
    def is_released(self) -> bool:
        return self.desk.machine.phase is Phase.RELEASED

    def hang_up(self) -> None:
        """Whoever was connected has gone; nobody listens any more."""
        self.control.look()
        assert self.control._listener is not None
        self.control._listener.close()

    def words(self) -> list[str]:
        return [line.word for line in self.box.lines()]


@pytest.fixture
def seat(tmp_path: Path) -> Iterator[Seat]:
    """A control thread with nobody at the camera."""
    desk = Desk(Machine())
    box = BlackBox(tmp_path / "box")
    errands = Errands(PaperCamera(SimulatedClock()), Stock(None), desk.seen)

    def die(reason: str) -> None:
        raise Died(reason)

    yield Seat(desk, Control(desk, box, errands, tmp_path / "holder", die), box)
    desk.close()
    box.close()


def test_a_call_over_its_budget_ends_the_process(seat: Seat) -> None:
    seat.desk.call = CallInFlight("close", mono_now_s() - 8.1, 8.0)
    with pytest.raises(Died, match="'close' did not come back within 8 s"):
        seat.control.watch()
    assert "overdue" in seat.words()


def test_a_call_within_its_budget_goes_on(seat: Seat) -> None:
    seat.desk.call = CallInFlight("close", mono_now_s() - 7.5, 8.0)
    seat.control.watch()
    assert seat.words() == []


def test_the_time_in_which_the_whole_process_stood_still_is_not_counted(
    seat: Seat, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [mono_now_s()]
    monkeypatch.setattr("duskhold.shutter.control.mono_now_s", lambda: now[0])
    seat.control.watch()
    seat.desk.call = CallInFlight("wait", now[0], 6.0)
    now[0] += 11.0
    seat.control.watch()
    for _ in range(59):
        now[0] += 0.1
        seat.control.watch()
    with pytest.raises(Died):
        for _ in range(3):
            now[0] += 0.1
            seat.control.watch()


def test_a_camera_is_not_let_go_while_somebody_waits_for_its_answer(seat: Seat, tmp_path: Path) -> None:
    """Such as for a large picture over a slow lead, which takes minutes."""
    for event in (Started(), Connected(), CloseAnswered(Closing.CLOSED, 0.0)):
        seat.desk.step(event)
    with socket.socket(socket.AF_UNIX) as client:
        seat.control.look()
        client.connect(str(tmp_path / "holder"))
        client.sendall(pack(request("settings")))
        for _ in range(2):  # the connection, and what comes over it
            seat.control.look()
        errand = seat.desk.jobs.get_nowait()
        assert isinstance(errand, Errand)
        with seat.desk.looking() as machine:
            machine.touch(mono_now_s() - IDLE_S - 1.0)
        seat.control.look()
        assert not seat.is_released
        seat.desk.answer(errand.client, {})
        seat.control.look()
        with seat.desk.looking() as machine:
            machine.touch(mono_now_s() - IDLE_S - 1.0)
        seat.control.look()
        assert seat.is_released
    seat.hang_up()


def test_a_connection_that_cannot_be_taken_ends_nothing(
    seat: Seat, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_listener: socket.socket) -> None:
        raise OSError(errno.ENFILE, "Too many open files in system")

    seat.desk.machine.looked = True
    seat.control.look()
    with socket.socket(socket.AF_UNIX) as client:
        client.connect(str(tmp_path / "holder"))
        with monkeypatch.context() as patched:
            pauses: list[float] = []
            patched.setattr(socket.socket, "accept", full)
            patched.setattr("duskhold.shutter.control.time.sleep", pauses.append)
            seat.control.look()
        assert pauses, "it asks again and again without a pause"
        client.sendall(pack(request("state")))
        for _ in range(2):
            seat.control.look()
        assert receive(client, Inbox())["phase"] == "starting"
    seat.hang_up()


def test_a_hold_that_lost_its_thread_ends_the_process(seat: Seat) -> None:
    began_s = mono_now_s() - 10.0
    plan = Exposure("f1", Kind.HELD, 5.0, 6.0, 0.0, 0.0, "here")
    for event in (Started(), Connected(), CloseAnswered(Closing.CLOSED, 0.0), ExposeAsked(plan, 0.0)):
        seat.desk.step(event)
    seat.desk.step(OpenAnswered(began_s, began_s))
    assert mono_now_s() > began_s + 5.0 + OVERRUN_S
    with pytest.raises(Died, match="overran"):
        seat.control.tick()
    assert "overrun" in seat.words()
