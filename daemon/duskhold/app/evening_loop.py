"""The one loop of an evening: event, journal, step, effects, alarm; and the bounded queue that everything comes by.

1. An event is in the journal before the evening is stepped with it, and stepped before anything follows from it.
2. Nobody acts inside a callback: alarms, keys, sockets, signals and the camera only put something into the queue.
3. An alarm that does not come is noticed here: the loop looks by itself, and says that it had to.
4. The watchdog is told only of a heartbeat that came through scheduler, queue and loop while the camera's thread lives;
   without that thread the loop ends.
"""

from __future__ import annotations

import math
import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from duskhold.app.alarms import Miss
from duskhold.app.evening_clock import EveningClock
from duskhold.plan.evening_view import View
from duskhold.plan.evening_words import ClockStepped, CloseNow, Effect, Ended, Event, Ring, Tell, Ticked

QUEUE_MAX = 256
LOOK_S = 5.0
OVERDUE_S = 2.0
EARLY_S = 0.02
SPIN_S = 1.0
ROOM_AGAIN_S = 0.5
HEARTBEAT_S = 20.0
LEAVE_WITHIN_S = 20.0  # what a closing came to is waited for; a service manager waits for 90 s as a rule
LONGEST_ARM_S = 600.0  # a long wait is armed piece by piece: nothing is lost by a scheduler that sleeps too long
_DEADLINE, _HEARTBEAT = "deadline", "heartbeat"


class FieldEnded(Exception):
    """A mistake of the program ended the thread at the camera: the process ends too, and the next start goes on."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What an evening answered to a word: what it said, and how it stands."""

    lines: tuple[str, ...]
    view: View


@dataclass(frozen=True, slots=True)
class Happened:
    """An event on its way; `answer` is called by the loop once the evening was stepped with it."""

    event: Event
    answer: Callable[[Heard], None] | None = None


@dataclass(frozen=True, slots=True)
class Rang:
    """An alarm came, armed for `due_s` of CLOCK_BOOTTIME."""

    name: str
    due_s: float


@dataclass(frozen=True, slots=True)
class Call:
    """What is no event of the evening: a question how it stands, trouble beside it, or nothing but a nudge."""

    answer: Callable[[View], None] | None = None
    trouble: str | None = None


Item = Happened | Rang | Miss | Call


class Inbox:
    """The bounded queue."""

    def __init__(self, most: int = QUEUE_MAX) -> None:
        self._queue: queue.Queue[Item] = queue.Queue(most)
        self._over = threading.Event()

    def offer(self, item: Item) -> bool:
        """Put it in unless the queue is full; for whoever can do without, or say so."""
        try:
            self._queue.put_nowait(item)
        except queue.Full:
            return False
        return True

    def post(self, event: Event) -> None:
        """Wait for room: what the camera did must not be lost. Of a loop that has ended nobody waits for any."""
        while not self._over.is_set():
            try:
                self._queue.put(Happened(event), timeout=ROOM_AGAIN_S)
            except queue.Full:
                continue
            return

    def close(self) -> None:
        """The loop has ended."""
        self._over.set()

    @property
    def is_over(self) -> bool:
        """Nobody takes anything any more."""
        return self._over.is_set()

    def take(self, wait_s: float) -> Item | None:
        try:
            return self._queue.get(timeout=wait_s)
        except queue.Empty:
            return None

    @property
    def is_empty(self) -> bool:
        return self._queue.empty()


class Machine(Protocol):
    """What the loop asks of an evening."""

    def step(self, event: Event, now_utc: datetime) -> list[Effect]: ...

    def deadline_utc(self) -> datetime | None: ...

    def view(self, now_utc: datetime) -> View: ...


class Keeper(Protocol):
    """What the loop asks of the journal. All of it raises `JournalError`."""

    def keep(self, event: Event, now_utc: datetime) -> None: ...

    def note(self, word: str, line: str, detail: dict[str, object]) -> None: ...


class Field(Protocol):
    """Where effects are carried out; each call returns at once, and what comes of it is posted."""

    def carry_out(self, effect: Effect) -> None: ...

    def follow(self, view: View, now_utc: datetime) -> None: ...

    @property
    def is_idle(self) -> bool: ...

    @property
    def is_alive(self) -> bool: ...


class Ringer(Protocol):
    """What the loop asks of the alarms."""

    def arm(self, name: str, in_s: float, ring: Callable[[], None]) -> None: ...

    def disarm(self, name: str) -> None: ...


class EveningLoop:
    """`alive` is called for every heartbeat that came the whole way."""

    def __init__(
        self,
        evening: Machine,
        clock: EveningClock,
        keeper: Keeper,
        field: Field,
        alarms: Ringer,
        inbox: Inbox,
        alive: Callable[[], None] = lambda: None,
    ) -> None:
        self._evening, self._clock, self._keeper, self._field = evening, clock, keeper, field
        self._alarms, self._inbox, self._alive = alarms, inbox, alive
        self._due_s: float | None = None
        self._beat_due_s = math.inf
        self._told_to_leave: str | None = None
        self._left: str | None = None
        self._ended: Ended | None = None
        self.worst_late_s = 0.0

    @property
    def ended(self) -> Ended | None:
        """Why the series is over, once it is."""
        return self._ended

    def run(self) -> View:
        """Until the evening has ended and the camera rests. Raises `JournalError`: nothing goes on unrecorded."""
        self._arm_heartbeat()
        self._arm()
        while not self._is_over:
            self.turn(LOOK_S)
        self._alarms.disarm(_DEADLINE)
        self._alarms.disarm(_HEARTBEAT)
        return self.view()

    def leave(self, why: str) -> None:
        """The program ends: the frame that is open is closed and kept, nothing more is asked of the camera, and the
        evening waits in the journal for the next start. Waits for nothing, whatever the queue holds.
        """
        self._told_to_leave = why
        self._inbox.offer(Call())  # a full queue wakes the loop as well

    def turn(self, wait_s: float) -> None:
        """Take one item, or find out that nothing comes. Raises `FieldEnded`."""
        if not self._field.is_alive:
            raise FieldEnded("the thread at the camera ended by a mistake of the program; its own words are above")
        item = self._inbox.take(wait_s)
        self._leave_if_told()
        if self._clock.now_s() > self._beat_due_s + OVERDUE_S:
            self._arm_heartbeat()  # its ring found no room
        match item:
            case Happened(event, answer):
                self._happened(event, answer)
            case Rang(name, due_s):
                self._rang(name, due_s)
            case Miss(name, what):
                self._keeper.note("alarm_missed", f"{name or 'all alarms'}: {what}", {"alarm": name})
                self._arm_heartbeat()
                self._arm()
            case Call() as call:
                self._called(call)
            case None:
                self._look()

    def view(self) -> View:
        """How it stands now."""
        return self._evening.view(self._clock.now_utc())

    @property
    def _is_over(self) -> bool:
        is_told = self._ended is not None or self._left is not None
        return is_told and self._field.is_idle and self._inbox.is_empty

    def _called(self, call: Call) -> None:
        if call.trouble is not None:
            self._keeper.note("trouble", call.trouble, {})
        if call.answer is not None:
            call.answer(self.view())

    def _leave_if_told(self) -> None:
        if self._told_to_leave is not None and self._left is None:
            self._left = self._told_to_leave
            self._keeper.note("left", self._left, {})
            self._field.carry_out(CloseNow(LEAVE_WITHIN_S))

    def _happened(self, event: Event, answer: Callable[[Heard], None] | None = None) -> None:
        now_utc = self._clock.now_utc()
        self._keeper.keep(event, now_utc)
        effects = self._evening.step(event, now_utc)
        if isinstance(event, ClockStepped):
            # The evening moved what it counts by itself; from here on the new time holds.
            self._clock.shift(event.step_s)
            self._arm_heartbeat()
        for effect in effects:
            self._carry_out(effect)
        view = self.view()
        self._field.follow(view, self._clock.now_utc())
        self._arm()
        if answer is not None:
            answer(Heard(_lines(effects), view))

    def _carry_out(self, effect: Effect) -> None:
        match effect:
            case Tell(word, line, detail):
                self._keeper.note(word, line, dict(detail))
            case Ended(reason, line):
                self._keeper.note("ended", line, {"reason": reason})
                self._ended = effect
            case _ if self._left is not None:
                return  # as if the program had ended here: the next start knows that nothing came of it
        self._field.carry_out(effect)

    def _rang(self, name: str, due_s: float) -> None:
        late_s = self._clock.now_s() - due_s
        if name == _HEARTBEAT:
            self._alive()
            self._arm_heartbeat()
            return
        if due_s != self._due_s:
            return  # armed anew since
        self._due_s = None
        deadline_utc = self._evening.deadline_utc()
        if deadline_utc is None or self._clock.until_s(deadline_utc) > EARLY_S:
            self._arm()  # one piece of a long wait, or a clock that was set forwards
            return
        self._tick(late_s, "alarm")

    def _tick(self, late_s: float, word: str) -> None:
        """A deadline has come: how late is the evening's business, and in the journal."""
        self.worst_late_s = max(self.worst_late_s, late_s)
        self._keeper.note(word, f"{late_s:.3f} s late", {"late_s": round(late_s, 3)})
        self._happened(Ticked())

    def _look(self) -> None:
        """Nothing came for a while: is an alarm overdue that nobody rang?"""
        deadline_utc = self._evening.deadline_utc()
        if deadline_utc is None or self._ended is not None or self._due_s is None:
            return
        late_s = self._clock.now_s() - self._due_s
        if late_s <= OVERDUE_S:
            return
        if self._clock.until_s(deadline_utc) > 0.0:
            self._arm()
        else:
            self._tick(late_s, "alarm_overdue")

    def _arm(self) -> None:
        deadline_utc = None if self._ended is not None else self._evening.deadline_utc()
        if deadline_utc is None:
            self._alarms.disarm(_DEADLINE)
            self._due_s = None
            return
        in_s = self._clock.until_s(deadline_utc)
        if in_s <= 0.0:
            in_s = SPIN_S  # it was stepped just now, and stays due: look again, but do not spin
        due_s = self._clock.now_s() + min(in_s, LONGEST_ARM_S)
        self._due_s = due_s
        self._alarms.arm(_DEADLINE, due_s - self._clock.now_s(), lambda: self._ring(_DEADLINE, due_s))

    def _arm_heartbeat(self) -> None:
        due_s = self._beat_due_s = self._clock.now_s() + HEARTBEAT_S
        self._alarms.arm(_HEARTBEAT, HEARTBEAT_S, lambda: self._ring(_HEARTBEAT, due_s))

    def _ring(self, name: str, due_s: float) -> None:
        self._inbox.offer(Rang(name, due_s))  # a full queue is busy: the loop looks by itself


def _lines(effects: Sequence[Effect]) -> tuple[str, ...]:
    """What an evening said: the word is dropped where the line says nothing but that."""
    return tuple(one.line for one in effects if isinstance(one, (Tell, Ring, Ended)))
