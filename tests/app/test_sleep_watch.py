"""A sleep that is announced: the shutter closes first, the delay lock is let go, and taken again on waking."""

from __future__ import annotations

import os
import queue
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from duskhold.app.login_manager import BusLoginManager
from duskhold.app.sleep_watch import CLOSED_WITHIN_S, NoLoginManager, SleepWatch


class Manager:
    """A login manager played by the test; `held` tells whether its delay lock is open."""

    def __init__(self) -> None:
        self.words: queue.Queue[bool | None] = queue.Queue()
        self.readers: list[int] = []
        self.closed = threading.Event()

    def delay(self) -> int:
        reading, writing = os.pipe2(os.O_NONBLOCK)
        self.readers.append(reading)
        return writing

    def next_word(self, wait_s: float) -> bool | None:
        try:
            return self.words.get(timeout=0.05)
        except queue.Empty:
            return None

    def close(self) -> None:
        self.closed.set()

    def held(self) -> int:
        """How many delay locks are held."""
        return sum(1 for each in self.readers if _is_open(each))


def _is_open(reading: int) -> bool:
    try:
        return os.read(reading, 1) != b""
    except BlockingIOError:
        return True  # nothing to read, and the other end is there


@pytest.fixture
def manager() -> Iterator[Manager]:
    made = Manager()
    yield made
    for each in made.readers:
        os.close(each)


def test_the_shutter_closes_before_the_lock_is_let_go_and_the_lock_is_taken_again(manager: Manager) -> None:
    seen: queue.Queue[tuple[float, int]] = queue.Queue()
    watch = SleepWatch(lambda: manager, lambda within_s: seen.put((within_s, manager.held())), pytest.fail)
    watch.start()
    manager.words.put(True)
    within_s, held = seen.get(timeout=5.0)
    assert within_s == CLOSED_WITHIN_S < 5.0  # InhibitDelayMaxSec, logind.conf(5)
    assert held == 1  # while the shutter was closing, sleep waited
    manager.words.put(False)
    manager.words.put(True)
    assert seen.get(timeout=5.0)[1] == 1
    watch.stop()
    assert manager.closed.is_set()
    assert manager.held() == 0


def test_without_a_login_manager_it_says_so_and_goes_on() -> None:
    said: queue.Queue[str] = queue.Queue()

    def nobody() -> Manager:
        raise NoLoginManager("no such file")

    watch = SleepWatch(nobody, lambda within_s: pytest.fail(str(within_s)), said.put)
    watch.start()
    assert "no such file" in said.get(timeout=5.0)
    watch.stop()


def test_a_bus_that_is_not_there_is_no_login_manager(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("jeepney.io.blocking.get_bus", lambda _bus: str(tmp_path / "none"))
    with pytest.raises(NoLoginManager):
        BusLoginManager.connect()


def test_a_bus_that_lets_nobody_in_is_said_and_the_evening_goes_on(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    said: queue.Queue[str] = queue.Queue()
    path = tmp_path / "bus"
    with socket.create_server(str(path), family=socket.AF_UNIX) as bus:

        def reject() -> None:
            link, _ = bus.accept()
            with link:
                link.recv(4096)
                link.sendall(b"REJECTED\r\n")

        for address in (f"unix:path={path}", "tcp:host=127.0.0.1"):
            monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", address)
            if address.startswith("unix"):
                threading.Thread(target=reject).start()
            watch = SleepWatch(BusLoginManager.connect, lambda within_s: pytest.fail(str(within_s)), said.put)
            watch.start()
            assert "no word of a coming sleep" in said.get(timeout=5.0)
            watch.stop()
