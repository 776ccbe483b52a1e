"""What the two threads of the holder share: the machine behind its lock, the way to the camera, the call in flight."""

from __future__ import annotations

import os
import queue
import threading
from collections.abc import Callable, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from duskhold.camera.port import Identity, Picture
from duskhold.shutter.clock import REAL_CLOCK, Clock
from duskhold.shutter.events import Box, Effect, Event
from duskhold.shutter.machine import Machine
from duskhold.shutter.wire import Message

if TYPE_CHECKING:
    from collections.abc import Iterator

LONGEST_QUEUE = 32


@dataclass(frozen=True, slots=True)
class Errand:
    """Something asked of the camera that is not an exposure; `client`, if any, gets the answer."""

    word: str
    client: int | None
    run: Callable[[], Message]
    budget_s: float


@dataclass(frozen=True, slots=True)
class CallInFlight:
    name: str
    began_s: float
    budget_s: float

    def overdue(self, now_s: float, excused_s: float) -> bool:
        """Whether its budget is spent; what lies before `excused_s` is not counted."""
        return now_s > max(self.began_s, excused_s) + self.budget_s


@dataclass(slots=True)
class Desk:
    """Shared state. `step` may be called by either thread; everything else says whose it is."""

    machine: Machine
    clock: Clock = REAL_CLOCK
    address: str | None = None
    identity: Identity | None = None
    notices: list[str] = field(default_factory=list)
    past_unread: str | None = None  # why nobody knows what the black box says of earlier frames
    call: CallInFlight | None = None
    released: bool = False  # the camera thread has let go of the camera
    jobs: queue.Queue[Errand | Sequence[Effect]] = field(default_factory=lambda: queue.Queue(LONGEST_QUEUE))
    answers: queue.Queue[tuple[int, Message]] = field(default_factory=queue.Queue)
    boxes: queue.Queue[Box] = field(default_factory=queue.Queue)  # lines that may wait for the control thread
    seen: list[Picture] = field(default_factory=list)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _wake: tuple[int, int] = field(default_factory=lambda: _pipe())

    def step(self, event: Event) -> list[Effect]:
        """Let the machine take an event at this instant."""
        with self._lock:
            return self.machine.step(event, self.clock.now_s())

    @contextmanager
    def looking(self) -> Iterator[Machine]:
        """The machine, held still."""
        with self._lock:
            yield self.machine

    @contextmanager
    def calling(self, name: str, budget_s: float) -> Iterator[None]:
        """Name the camera call in flight and its budget, for the control thread to watch."""
        self.call = CallInFlight(name, self.clock.now_s(), budget_s)
        try:
            yield
        finally:
            self.call = None

    def answer(self, client: int | None, message: Message) -> None:
        """Camera thread: hand an errand's answer to the control thread."""
        if client is not None:
            self.answers.put((client, message))
        self.wake()

    def wake(self) -> None:
        """Make the control thread look."""
        try:
            os.write(self._wake[1], b".")
        except BlockingIOError:
            return  # it has not looked yet; one reminder is enough

    def close(self) -> None:
        """Nobody looks any more."""
        for descriptor in self._wake:
            os.close(descriptor)

    @property
    def wake_descriptor(self) -> int:
        return self._wake[0]


def _pipe() -> tuple[int, int]:
    read, write = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
    return read, write
