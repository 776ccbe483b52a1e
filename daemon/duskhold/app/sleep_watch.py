"""The computer is about to sleep: the login manager says so, waits a moment for us, and the shutter closes first.

By D-Bus on the system bus: org.freedesktop.login1.Manager, its delay lock by Inhibit, its signal PrepareForSleep.
The lock lasts some seconds only (InhibitDelayMaxSec), so it is let go as soon as the shutter is closed.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Protocol

CLOSED_WITHIN_S = 4.0  # InhibitDelayMaxSec is 5 s where nobody changed it
LOOK_EVERY_S = 1.0


class NoLoginManager(Exception):
    """Nobody here says when the computer will sleep; the message says why."""


class LoginManager(Protocol):
    """What is asked of it. Both raise `NoLoginManager`."""

    def delay(self) -> int:
        """A descriptor; sleep waits until it is closed."""

    def next_word(self, wait_s: float) -> bool | None:
        """True: about to sleep. False: awake again. None: nothing was said."""

    def close(self) -> None: ...


class SleepWatch:
    """`ahead` is called before a sleep and returns once the shutter is closed, or after `CLOSED_WITHIN_S`."""

    def __init__(
        self, connect: Callable[[], LoginManager], ahead: Callable[[float], None], trouble: Callable[[str], None]
    ) -> None:
        self._connect, self._ahead, self._trouble = connect, ahead, trouble
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="sleep watch", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._over.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        try:
            manager = self._connect()
        except NoLoginManager as error:
            self._trouble(f"no word of a coming sleep: {error}")
            return
        try:
            self._listen(manager)
        except NoLoginManager as error:
            self._trouble(f"no more word of a coming sleep: {error}")
        finally:
            manager.close()

    def _listen(self, manager: LoginManager) -> None:
        lock: int | None = manager.delay()
        try:
            while not self._over.is_set():
                word = manager.next_word(LOOK_EVERY_S)
                if word is True:
                    self._ahead(CLOSED_WITHIN_S)
                    _let_go(lock)
                    lock = None
                elif word is False and lock is None:
                    lock = manager.delay()
        finally:
            _let_go(lock)


def _let_go(lock: int | None) -> None:
    if lock is not None:
        with suppress(OSError):
            os.close(lock)
