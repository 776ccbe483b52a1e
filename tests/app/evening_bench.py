"""A tiny machine, field, pen and alarms for the evening's loop, on a clock that a test moves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from duskhold.app.evening_clock import EveningClock
from duskhold.app.evening_loop import EveningLoop, Inbox
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.evening_words import Effect, Event

BEGUN_UTC = datetime(2027, 3, 9, 17, 20, tzinfo=UTC)
VIEW = View(
    phase=Phase.BETWEEN, line="nothing", role=None, until_utc=None, open_s=None, next_open_s=None, why="", filters=(),
    frames_done=0, frames_left=None, ends_utc=None, verdict="", alarm=None, pack_utc=None,
    light_ends_utc=None, stop=None,
)  # fmt: skip


@dataclass
class Machine:
    """Answers every event with what `script` says, and has one deadline."""

    order: list[str]
    script: Callable[[Event], Sequence[Effect]] = lambda _event: ()
    deadline: datetime | None = None
    seen: list[tuple[Event, datetime]] = field(default_factory=list)

    def step(self, event: Event, now_utc: datetime) -> list[Effect]:
        self.order.append(f"step {type(event).__name__}")
        self.seen.append((event, now_utc))
        return list(self.script(event))

    def deadline_utc(self) -> datetime | None:
        return self.deadline

    def view(self, now_utc: datetime) -> View:
        return VIEW


@dataclass
class Pen:
    """What the journal would have."""

    order: list[str]
    notes: list[tuple[str, str, dict[str, object]]] = field(default_factory=list)

    def keep(self, event: Event, now_utc: datetime) -> None:
        self.order.append(f"keep {type(event).__name__}")

    def note(self, word: str, line: str, detail: dict[str, object]) -> None:
        self.order.append(f"note {word}")
        self.notes.append((word, line, detail))

    def words(self) -> list[str]:
        return [word for word, _, _ in self.notes]


@dataclass
class Field:
    """What was asked for."""

    order: list[str]
    asked: list[Effect] = field(default_factory=list)
    is_idle: bool = True
    is_alive: bool = True

    def carry_out(self, effect: Effect) -> None:
        self.order.append(f"do {type(effect).__name__}")
        self.asked.append(effect)

    def follow(self, view: View, now_utc: datetime) -> None:
        self.order.append("follow")


@dataclass
class Ringer:
    """Alarms that a test rings by hand."""

    armed: dict[str, tuple[float, Callable[[], None]]] = field(default_factory=dict)
    times: list[str] = field(default_factory=list)

    def arm(self, name: str, in_s: float, ring: Callable[[], None]) -> None:
        self.armed[name] = (in_s, ring)
        self.times.append(name)

    def disarm(self, name: str) -> None:
        self.armed.pop(name, None)

    def ring(self, name: str) -> None:
        """As the scheduler does: once."""
        self.armed.pop(name)[1]()


class LoopBench:
    """A loop with everything around it; `now_s` is moved by the test."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.order: list[str] = []
        self.machine, self.pen, self.field, self.ringer = (
            Machine(self.order),
            Pen(self.order),
            Field(self.order),
            Ringer(),
        )
        self.inbox = Inbox(4)
        self.beats = 0
        self.clock = EveningClock(BEGUN_UTC, lambda: self.now_s)
        self.loop = EveningLoop(
            self.machine, self.clock, self.pen, self.field, self.ringer, self.inbox, self._beat
        )  # fmt: skip

    def due_in(self, seconds: float) -> None:
        """The machine's deadline from now."""
        self.machine.deadline = self.clock.now_utc() + timedelta(seconds=seconds)

    def turn(self) -> None:
        self.loop.turn(0.0)

    def _beat(self) -> None:
        self.beats += 1
