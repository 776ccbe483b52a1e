"""A bench on which an adversary plays with the evening machine: orders of events that no friendly evening has."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from duskhold.light.dials import APERTURE, ISO, Dial
from duskhold.light.filters import parse_filter
from duskhold.light.place import Place
from duskhold.plan import evening_words as words
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.evening import Evening
from duskhold.plan.evening_words import Effect, Ended, Event, Ring, Said, Take, Tell, Word
from duskhold.plan.outing import (
    Base,
    ClockStart,
    Kind,
    Outing,
    OutingKit,
    Want,
)
from duskhold.plan.role import Role

BEGUN = datetime(2026, 10, 4, 17, 20, tzinfo=UTC)
PLACE = Place(56.5, -5.4)
LEVEL_EV = 8.0
RATE_EV_PER_MIN = -0.15


def setting_of(dial: Dial, name: str) -> Setting:
    return Setting(name, dial.true_value(name))


def whole_ms(at: datetime) -> datetime:
    """As every clock of an evening has it, and the journal."""
    return at.replace(microsecond=at.microsecond // 1000 * 1000)


BAG = (BagFilter("ten", parse_filter("10.0"), 0.03), BagFilter("six", parse_filter("6.1"), 0.03),
       BagFilter("three", parse_filter("3.0"), 0.03))  # fmt: skip
KIT = OutingKit(BAG, ("six", "three"), setting_of(APERTURE, "f/8"), setting_of(ISO, "100"),
                tuple(setting_of(APERTURE, one) for one in ("f/4", "f/5.6", "f/8")),
                tuple(setting_of(ISO, one) for one in ("100", "200", "400")))  # fmt: skip
BASE = Base("1/8", 0.125)
PLAIN = Outing("adversary", ClockStart(BEGUN), Want(Kind.AGAIN, BASE, between_s=8.0, base_frames=1), KIT)


class Bench:
    """An evening with its answers given as an obedient world would, unless a test says otherwise."""

    def __init__(self, outing: Outing = PLAIN, confirmed: bool = True) -> None:
        self.outing, self.now = outing, BEGUN
        self.evening = Evening(outing, BEGUN)
        self.events: list[tuple[datetime, Event]] = []
        self.said: list[tuple[datetime, Effect]] = []
        self.open: Take | None = None
        self.asked: list[Event] = []
        self.dimmed_stops = 0.0
        self.true_filters: tuple[str, ...] = () if outing.want.base is not None else outing.kit.filters
        self.count = 0
        self.feed(words.Begun(confirmed))

    @property
    def state(self) -> object:
        return self.evening.state

    def feed(self, event: Event) -> list[Effect]:
        self.now = whole_ms(self.now)
        self.events.append((self.now, event))
        effects = self.evening.step(event, self.now)
        if isinstance(event, words.ClockStepped):
            self.now += timedelta(seconds=event.step_s)  # the event itself still comes with the time of before
        for effect in effects:
            self.said.append((self.now, effect))
            if isinstance(effect, Take):
                assert self.open is None, "a second order before the first was told"
                assert not any(isinstance(one, Ended) for _, one in self.said), "an order after the end"
                self.open = effect
            elif isinstance(effect, words.RunCheck):
                self.asked.append(words.Checked(()))
            elif isinstance(effect, words.ReadMeans):
                self.asked.append(words.MeansTold(80.0, 10**11))
        deadline = self.evening.deadline_utc()
        assert deadline is None or deadline > self.now, f"a deadline in the past: {deadline} after {event}"
        return effects

    def answer(self) -> None:
        while self.asked:
            self.feed(self.asked.pop(0))

    def wait(self, seconds: float) -> None:
        until = self.now + timedelta(seconds=seconds)
        while True:
            self.answer()
            deadline = self.evening.deadline_utc()
            if deadline is None or deadline > until:
                break
            self.now = whole_ms(deadline + timedelta(milliseconds=1))
            self.feed(words.Ticked())
        self.now = whole_ms(max(self.now, until))

    def level_ev(self) -> float:
        minutes = (self.now - BEGUN).total_seconds() / 60.0
        return LEVEL_EV + RATE_EV_PER_MIN * minutes - self.dimmed_stops

    def finish(self, outcome: str = "complete", off_stops: float = 0.0) -> Take:
        """The frame that is open is told and measured as the true filters show it."""
        take, self.open = self.open, None
        assert take is not None, "no frame is open"
        opened, self.now = self.now, whole_ms(self.now + timedelta(seconds=take.open_s))
        self.count += 1
        frame = f"f{self.count}"
        self.feed(words.FrameTold(frame, take.role, outcome, take.open_s, opened, self.now, True, ""))
        glass = self.outing.kit.glass
        wrong = glass(take.filters).stops - glass(self.true_filters).stops
        self.feed(words.Measured(frame, self.level_ev() + wrong + off_stops, 0.02))
        self.answer()
        return take

    def take(self) -> Take:
        """Let time go by until a frame is ordered, and take it."""
        return self.take_with(0.0)

    def take_with(self, off_stops: float, wait_s: float = 600.0) -> Take:
        """The same, and its pixels are so many stops off."""
        until = self.now + timedelta(seconds=wait_s)
        self.answer()
        while self.open is None:
            deadline = self.evening.deadline_utc()
            assert deadline is not None and deadline <= until, f"nothing is ordered: {self.evening.view(self.now)}"
            self.now = whole_ms(deadline + timedelta(milliseconds=1))
            self.feed(words.Ticked())
            self.answer()
        return self.finish(off_stops=off_stops)

    def do_as_asked(self) -> None:
        request = self.evening.state.request
        assert request is not None, "nothing is asked"
        self.true_filters = request.after.filters
        self.say(Word.DONE)

    def say(self, word: Word) -> list[Effect]:
        return self.feed(Said(word))

    def to_first_long(self) -> None:
        """Base, filters, scout, one long frame."""
        assert self.take().role is Role.BASE
        self.do_as_asked()
        assert self.take().role is Role.SCOUT
        assert self.take().role is Role.LONG

    def orders(self) -> list[Take]:
        return [one for _, one in self.said if isinstance(one, Take)]

    def rings(self) -> list[str]:
        return [one.line for _, one in self.said if isinstance(one, Ring)]

    def tells(self, word: str) -> list[Tell]:
        return [one for _, one in self.said if isinstance(one, Tell) and one.word == word]

    def ended(self) -> str | None:
        found = [one.reason for _, one in self.said if isinstance(one, Ended)]
        assert len(found) <= 1, "it ends once"
        return found[0] if found else None


def tone(**kept: object) -> Outing:
    return replace(PLAIN, want=replace(PLAIN.want, kind=Kind.TONE), **kept)  # type: ignore[arg-type]
