"""An evening machine on a desk: the test is the camera, the light and the person, and moves the clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from duskhold.light.filters import parse_filter
from duskhold.plan import evening_words as words
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.evening import Evening
from duskhold.plan.evening_words import Act, Effect, Event, FrameTold, Measured, Ring, Said, Take, Tell, Word
from duskhold.plan.outing import Base, Bounds, ClockStart, Kind, LeaveBy, Outing, OutingKit, Prompting, Want
from duskhold.plan.role import Role

BEGUN = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)
SIX, THREE = (BagFilter(name, parse_filter(label), 0.03) for name, label in (("six", "6.0"), ("three", "3.0")))
F8, F5, ISO_100, ISO_400 = Setting("f/8", 8.0), Setting("f/5.6", 2**2.5), Setting("100", 100.0), Setting("400", 400.0)
BARE = OutingKit((), (), F8, ISO_100)
GLASS = OutingKit((SIX, THREE), ("six",), F8, ISO_100, (F8, F5), (ISO_100, ISO_400))
LEVEL_EV = 8.0

AGAIN = Outing("again", ClockStart(BEGUN), Want(Kind.AGAIN, first_s=60.0), BARE, bounds=Bounds(frames=9))
"""The same frame again and again, nothing on the lens."""
FITTED = Outing("fitted", ClockStart(BEGUN), Want(Kind.AGAIN, base=Base("1", 1.0), base_frames=1), GLASS)
"""A base frame, then a filter to be fitted: 64 s behind it."""
TONE = Outing(
    "tone", ClockStart(BEGUN), Want(Kind.TONE, first_s=60.0), GLASS, bounds=Bounds(longest_s=100.0),
    prompting=Prompting(announce_s=60.0, patience_s=120.0),
)  # fmt: skip
"""A filter comes off once the light asks for more than 100 s."""


def leaving_in(minutes: float, outing: Outing = AGAIN) -> Outing:
    """With two minutes to pack."""
    return replace(outing, bounds=replace(outing.bounds, leave_by=LeaveBy(in_min=minutes, pack_min=2.0)))


class Desk:
    """`said` is everything that was asked for and told; `events` what happened, with its time."""

    def __init__(self, outing: Outing = AGAIN, confirmed: bool = True, begun_utc: datetime = BEGUN) -> None:
        self.now, self.level_ev = begun_utc, LEVEL_EV
        self.bad: tuple[str, ...] = ()
        self.battery_percent, self.disk_bytes = 90.0, 10**12
        self.evening = Evening(outing, begun_utc)
        self.said: list[Effect] = []
        self.events: list[tuple[datetime, Event]] = []
        self.open: Take | None = None
        self._opened_utc, self._count = begun_utc, 0
        self.feed(words.Begun(confirmed))

    def feed(self, event: Event) -> list[Effect]:
        """What it leads to; checks and readings of battery and disk are answered at once."""
        self.events.append((self.now, event))
        found = self.evening.step(event, self.now)
        self.said += found
        for effect in list(found):
            match effect:
                case Take():
                    assert self.open is None, "two frames at a time"
                    self.open, self._opened_utc = effect, self.now
                case words.RunCheck():
                    found += self.feed(words.Checked(self.bad))
                case words.ReadMeans():
                    found += self.feed(words.MeansTold(self.battery_percent, self.disk_bytes))
        return found

    def say(self, word: Word) -> list[Effect]:
        return self.feed(Said(word))

    def wait(self, seconds: float) -> list[Effect]:
        """Time goes by; the machine's deadlines ring."""
        until, found = self.now + timedelta(seconds=seconds), list[Effect]()
        while (due := self.evening.deadline_utc()) is not None and due <= until:
            self.now = max(self.now, _whole(due))
            found += self.feed(words.Ticked())
            assert self.evening.deadline_utc() != due or self.evening.state.ended, f"it rings for ever at {due}"
        self.now = max(self.now, until)
        return found

    def step_clock(self, seconds: float) -> list[Effect]:
        """Somebody sets the clock."""
        found = self.feed(words.ClockStepped(seconds))
        self.now += timedelta(seconds=seconds)
        self._opened_utc += timedelta(seconds=seconds)
        return found

    def close(
        self, open_s: float | None = None, outcome: str = "complete", settled: bool = True, act: Act = Act.KEEP,
        off_stops: float = 0.0, text: str = "", measured: bool = True,
    ) -> list[Effect]:  # fmt: skip
        """The open frame is over after so long (as ordered), and measured `off_stops` brighter than the light is."""
        take, opened_utc = self.open, self._opened_utc
        assert take is not None, "nothing is open"
        held_s = round(take.open_s if open_s is None else open_s, 3)
        found = self.wait(max(0.0, held_s - (self.now - opened_utc).total_seconds())) if held_s else []
        self.open = None
        frame_id = self.newest()
        opened = opened_utc if held_s else None
        closed = opened_utc + timedelta(seconds=held_s) if held_s else None
        told = None if outcome == "unknown" else held_s
        self._count += 1
        found += self.feed(FrameTold(frame_id, take.role, outcome, told, opened, closed, settled, text))
        if measured and held_s and outcome in ("complete", "cut_short"):
            found += self.feed(Measured(frame_id, self.level_ev + off_stops, 0.01, False, act, (), text))
        return found

    def newest(self) -> str:
        """The name of the frame that is open, or was last."""
        return f"frame-{self._count}"

    def until_open(self, role: Role, most: int = 40) -> Take:
        """Whatever comes before it is taken as it should be."""
        for _ in range(most):
            if self.open is not None and self.open.role is role:
                return self.open
            if self.open is not None:
                self.close()
            else:
                self.wait(5.0)
        raise AssertionError(f"no {role.value} frame comes: {self.lines()[-4:]}")

    def until_asked(self, fade_stops: float = 0.3) -> None:
        """The light fades frame by frame until filters have to be changed."""
        for _ in range(12):
            if self.evening.state.request is not None:
                return
            if self.open is not None:
                self.close()
                self.level_ev -= fade_stops
            else:
                self.wait(5.0)
        raise AssertionError("nothing is asked for")

    def lines(self, *of: str) -> list[str]:
        """What was told, of these words or all."""
        return [one.line for one in self.said if isinstance(one, Tell) and (not of or one.word in of)]

    def rung(self) -> list[str]:
        return [one.line for one in self.said if isinstance(one, Ring)]

    def takes(self) -> list[Role]:
        return [one.role for one in self.said if isinstance(one, Take)]

    def over(self) -> str | None:
        """Why nothing more is taken; the program may still wait for the time to pack, or for an alarm to be heard."""
        state = self.evening.state
        return state.stop.value if state.stop is not None and (state.ended or state.resting) else None

    def ended(self) -> str | None:
        """Why, once the program is through."""
        return next((one.reason for one in self.said if isinstance(one, words.Ended)), None)


def _whole(at_utc: datetime) -> datetime:
    """An evening's clock runs in whole milliseconds, as the journal keeps it; never before the instant."""
    return at_utc + timedelta(microseconds=-at_utc.microsecond % 1000)


def takes(effects: Sequence[Effect]) -> list[Take]:
    return [one for one in effects if isinstance(one, Take)]


def closes(effects: Sequence[Effect]) -> bool:
    return any(isinstance(one, words.CloseNow) for one in effects)
