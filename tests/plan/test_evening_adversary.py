"""The evening machine against an adversary: orders of events that no friendly evening has."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from duskhold.light.crossings import Direction
from duskhold.light.dials import APERTURE, ISO, Dial
from duskhold.light.filters import parse_filter
from duskhold.light.place import Place
from duskhold.light.reading import Reading
from duskhold.plan import evening_words as words
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.evening import Evening
from duskhold.plan.evening_words import Effect, Ended, Event, Fault, Ring, Role, Said, Take, Tell, Word
from duskhold.plan.known_light import KnownLight, Reference
from duskhold.plan.outing import (
    AfterLinkLoss,
    Base,
    Bounds,
    ClockStart,
    Dark,
    Doubt,
    Fallback,
    Kind,
    LeaveBy,
    Outing,
    OutingKit,
    Prompting,
    SunStart,
    Want,
)
from duskhold.plan.series import next_frame
from duskhold.plan.stops import StopReason, busy_s

BEGUN = datetime(2026, 10, 4, 17, 20, tzinfo=UTC)
PLACE = Place(56.5, -5.4)
LEVEL_EV = 8.0
RATE_EV_PER_MIN = -0.15


def _set(dial: Dial, name: str) -> Setting:
    return Setting(name, dial.true_value(name))


def _whole_ms(at: datetime) -> datetime:
    """As every clock of an evening has it, and the journal."""
    return at.replace(microsecond=at.microsecond // 1000 * 1000)


BAG = (BagFilter("ten", parse_filter("10.0"), 0.03), BagFilter("six", parse_filter("6.1"), 0.03),
       BagFilter("three", parse_filter("3.0"), 0.03))  # fmt: skip
KIT = OutingKit(BAG, ("six", "three"), _set(APERTURE, "f/8"), _set(ISO, "100"),
                tuple(_set(APERTURE, one) for one in ("f/4", "f/5.6", "f/8")),
                tuple(_set(ISO, one) for one in ("100", "200", "400")))  # fmt: skip
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
        self.now = _whole_ms(self.now)
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
            self.now = _whole_ms(deadline + timedelta(milliseconds=1))
            self.feed(words.Ticked())
        self.now = _whole_ms(max(self.now, until))

    def level_ev(self) -> float:
        minutes = (self.now - BEGUN).total_seconds() / 60.0
        return LEVEL_EV + RATE_EV_PER_MIN * minutes - self.dimmed_stops

    def finish(self, outcome: str = "complete", off_stops: float = 0.0) -> Take:
        """The frame that is open is told and measured as the true filters show it."""
        take, self.open = self.open, None
        assert take is not None, "no frame is open"
        opened, self.now = self.now, _whole_ms(self.now + timedelta(seconds=take.open_s))
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
            self.now = _whole_ms(deadline + timedelta(milliseconds=1))
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


def _tone(**kept: object) -> Outing:
    return replace(PLAIN, want=replace(PLAIN.want, kind=Kind.TONE), **kept)  # type: ignore[arg-type]


# Faults and people


def test_a_link_that_is_back_resumes_nothing_but_a_lost_link() -> None:
    for fault in (Fault.CLOCK, Fault.SHUTTER, Fault.STORAGE):
        bench = Bench(replace(PLAIN, after_link_loss=AfterLinkLoss.RESUME))
        bench.to_first_long()
        bench.feed(words.FaultSeen(fault, "something that only a person can judge"))
        bench.feed(words.FaultSeen(Fault.LINK, "pulled"))
        bench.feed(words.FaultGone(Fault.LINK))
        bench.answer()
        assert bench.evening.state.held is not None, fault
        assert bench.open is None, fault


def test_a_link_that_is_back_does_not_end_a_persons_hold() -> None:
    for at_once in (True, False):
        bench = Bench(replace(PLAIN, after_link_loss=AfterLinkLoss.RESUME))
        bench.to_first_long()
        bench.wait(9.0)
        assert bench.open is not None
        bench.say(Word.HOLD)
        if at_once:
            bench.finish()
        bench.feed(words.FaultSeen(Fault.LINK, "pulled"))
        if not at_once:
            bench.finish("link_lost")
        bench.feed(words.FaultGone(Fault.LINK))
        bench.answer()
        bench.wait(60.0)
        assert bench.open is None, at_once
        bench.say(Word.RESUME)
        assert bench.take().role is Role.SCOUT


def test_a_lost_link_alone_goes_on_when_agreed() -> None:
    bench = Bench(replace(PLAIN, after_link_loss=AfterLinkLoss.RESUME))
    bench.to_first_long()
    bench.feed(words.FaultSeen(Fault.LINK, "pulled"))
    bench.feed(words.FaultGone(Fault.LINK))
    assert bench.take().role is Role.SCOUT


def test_a_failed_check_does_not_hide_a_fault() -> None:
    bench = Bench(replace(PLAIN, after_link_loss=AfterLinkLoss.RESUME))
    bench.feed(words.FaultSeen(Fault.SHUTTER, "it may be open"))
    bench.asked.clear()
    bench.feed(words.Checked(("focus",)))
    held = bench.evening.state.held
    assert held is not None and held.fault is Fault.SHUTTER
    bench.say(Word.RESUME)
    assert any(isinstance(one, words.RunCheck) for _, one in bench.said[-3:]), "it is checked again"


def test_whoever_resumes_over_an_open_prompt_is_asked_again_before_any_fallback() -> None:
    prompting = Prompting(patience_s=60.0, fallback=Fallback.APERTURE)
    bench = _at_prompt(_tone(prompting=prompting))
    bench.wait(61.0)
    bench.take()  # the scout of the fallback: nobody changed anything
    bench.feed(words.FaultSeen(Fault.POWER, "the computer slept"))
    bench.finish() if bench.open is not None else None
    request = bench.evening.state.request
    assert request is not None
    bench.true_filters = request.after.filters  # did it, and said only resume
    orders = len(bench.orders())
    bench.say(Word.RESUME)
    bench.answer()
    assert len(bench.orders()) == orders, "nothing is taken before somebody answers"
    assert bench.rings()[-1].startswith(request.line())
    bench.wait(61.0)
    assert bench.orders()[-1].role is Role.SCOUT, "the fallback looks first"


def _at_prompt(outing: Outing) -> Bench:
    """An evening whose light has faded to the first change of filters."""
    bench = Bench(outing)
    bench.to_first_long()
    while bench.evening.state.request is None:
        bench.take()
    return bench


def test_nobody_there_is_not_rung_for_again_and_again_and_the_series_ends() -> None:
    for fallback in (Fallback.HOLD, Fallback.APERTURE):
        bench = _at_prompt(_tone(prompting=Prompting(patience_s=60.0, fallback=fallback)))
        rings, began = len(bench.rings()), bench.now
        bench.dimmed_stops = 6.0  # a scout denies that the filters are as before
        while bench.ended() is None and bench.now - began < timedelta(hours=4):
            bench.wait(30.0)
            if bench.open is not None:
                bench.finish()
        assert bench.ended() == "nobody_answered", fallback
        assert bench.now - began < timedelta(hours=2.2)
        assert len(bench.rings()) - rings <= 2, bench.rings()[rings:]


def test_a_prompt_that_is_over_does_not_ring_on() -> None:
    bench = _at_prompt(_tone(prompting=Prompting(patience_s=60.0, fallback=Fallback.STOP)))
    bench.wait(61.0)
    assert bench.ended() == "nobody_answered"
    assert bench.evening.state.alarm is None


def test_scouts_that_never_agree_come_to_an_end() -> None:
    bench = Bench()
    bench.take()
    bench.do_as_asked()
    for number in range(12):
        bench.wait(15.0)
        if bench.open is None:
            break
        bench.finish(off_stops=0.6 if number % 2 else -0.6)
        bench.answer()
    assert number < 6
    assert bench.evening.state.request is not None and not bench.evening.state.request.answered


def test_the_clock_is_asked_for_once() -> None:
    bench = Bench(replace(PLAIN, start=SunStart(-1.0, Direction.DOWN, BEGUN), place=PLACE), confirmed=False)
    assert len(bench.rings()) == 1
    bench.say(Word.HEARD)
    bench.wait(600.0)
    assert len(bench.rings()) == 1
    assert not bench.orders()
    bench.say(Word.DONE)
    assert bench.evening.state.time_confirmed


def test_darks_that_cannot_be_measured_come_to_an_end() -> None:
    bounds = Bounds(frames=1)
    bench = Bench(replace(PLAIN, bounds=bounds, dark=Dark.AFTER, darks_after=2))
    bench.to_first_long()
    bench.say(Word.DONE)
    for _ in range(8):
        bench.wait(1.0)
        if bench.open is None:
            break
        take, bench.open = bench.open, None
        bench.now += timedelta(seconds=take.open_s)
        bench.feed(words.FrameTold("d", take.role, "complete", take.open_s, None, bench.now, True, ""))
        bench.feed(words.NotMeasured("d", "no raw file came home"))
    assert sum(one.role is Role.DARK for one in bench.orders()) == 2
    assert bench.ended() == "frames_done"


def test_the_reason_that_ended_the_series_stays_when_it_is_time_to_pack() -> None:
    bounds = Bounds(frames=1, leave_by=LeaveBy(in_min=20.0, pack_min=5.0))
    prompting = Prompting(patience_s=3600.0)
    bench = Bench(replace(PLAIN, bounds=bounds, dark=Dark.AFTER, prompting=prompting))
    bench.to_first_long()
    assert bench.evening.state.stop is StopReason.FRAMES_DONE
    bench.wait(1200.0)
    assert bench.ended() == "frames_done"
    assert any("time to pack" in line for line in bench.rings()), "and it is said all the same"


def test_nothing_changes_after_the_end() -> None:
    bench = Bench()
    bench.answer()
    bench.finish()
    bench.say(Word.LEAVING)
    assert bench.ended() == "left_by_person"
    for event in (Said(Word.LEAVING), Said(Word.HOLD), Said(Word.RESUME), words.Woke(9.0), words.ClockStepped(7200.0)):
        assert not any(isinstance(one, Ring | Take | Ended | words.CloseNow) for one in bench.feed(event)), event
        assert bench.evening.deadline_utc() is None


# The clock


def test_a_step_of_the_clock_is_no_patience_spent() -> None:
    for step_s in (3 * 3600.0, -3 * 3600.0):
        bench = _at_prompt(_tone(prompting=Prompting(patience_s=300.0, fallback=Fallback.STOP)))
        bench.feed(words.ClockStepped(step_s))
        bench.say(Word.RESUME)
        bench.wait(120.0)
        assert bench.ended() is None, step_s
        bench.wait(400.0)
        assert bench.ended() == "nobody_answered", step_s


def test_minutes_to_leave_go_with_the_clock() -> None:
    bounds = Bounds(leave_by=LeaveBy(in_min=30.0, pack_min=10.0))
    for step_s in (3600.0, -3600.0):
        bench = Bench(replace(PLAIN, bounds=bounds))
        bench.to_first_long()
        before = bench.evening.state.ends.pack_utc
        bench.feed(words.ClockStepped(step_s))
        after = bench.evening.state.ends.pack_utc
        assert before is not None and after == before + timedelta(seconds=step_s)


def test_a_start_that_is_past_is_no_reason_to_look_again_and_again() -> None:
    bench = Bench(confirmed=False)
    bench.feed(words.ClockStepped(-30.0))
    bench.answer()
    bench.wait(600.0)  # with nobody to say that the time is right
    assert len(bench.events) < 10


# Touches that gain nothing


def test_no_change_is_asked_for_that_the_pixels_could_not_prove() -> None:
    bag = (BagFilter("ten", parse_filter("10.0"), 0.03), BagFilter("nine", parse_filter("9.8"), 0.03),
           BagFilter("six", parse_filter("6.0"), 0.03))  # fmt: skip
    bench = _at_prompt(_tone(kit=replace(KIT, bag=bag, filters=("ten",))))
    request = bench.evening.state.request
    assert request is not None and request.after.filters == ("six",)


def test_the_order_of_names_is_no_other_set_up() -> None:
    bench = Bench(_tone(kit=replace(KIT, filters=("three", "six"))))
    bench.to_first_long()
    while bench.evening.state.request is None:
        bench.take()
    request = bench.evening.state.request
    assert set(request.after.filters) != set(request.before.filters)


# What the pixels say


def test_another_plate_is_not_taken_for_the_one_asked_for() -> None:
    bench = Bench()
    bench.take()
    bench.true_filters = ("ten", "three")  # the ten in place of the six
    bench.say(Word.DONE)
    bench.take()
    assert bench.tells("denied")
    assert bench.orders()[-1].role is Role.SCOUT
    bench.true_filters = ("six", "three")
    bench.say(Word.DONE)
    bench.take()
    assert bench.tells("verified")


def test_a_person_who_says_so_twice_is_believed() -> None:
    bench = Bench()
    bench.take()
    bench.do_as_asked()
    bench.take_with(-1.6)
    assert bench.tells("denied")
    bench.say(Word.DONE)
    bench.take_with(-1.6)
    told = bench.tells("verified")
    assert told and "1.6 stop more than the bag says" in told[0].line


def test_a_lamp_between_two_readings_ends_no_program() -> None:
    light = KnownLight(None, 1800.0)
    light.reference = Reference(0.125, LEVEL_EV)
    for second, level_ev in ((0.0, 2.0), (1.0, LEVEL_EV), (1.5, 2.0), (3.0, LEVEL_EV)):
        light.see_light(Reading(BEGUN + timedelta(seconds=second), level_ev, 0.01, "scout"), ())
        metered = light.metered()
        assert metered is not None
        found = next_frame(PLAIN, Evening(PLAIN, BEGUN).state.set_up, metered, BEGUN + timedelta(hours=8))
        assert found is not None


# Counting


def test_the_last_frame_ends_it_at_once() -> None:
    bench = Bench(replace(PLAIN, want=replace(PLAIN.want, kind=Kind.ONE)))
    bench.to_first_long()
    assert bench.ended() == "frames_done"
    pairs = Bench(replace(PLAIN, want=replace(PLAIN.want, kind=Kind.PAIRS), bounds=Bounds(frames=1)))
    pairs.to_first_long()
    assert pairs.ended() == "frames_done"
    assert len(pairs.tells("prompt")) == 1, "no filters are taken off for a frame that never comes"


def test_a_bracket_begins_again_until_the_frames_are_taken() -> None:
    want = replace(PLAIN.want, kind=Kind.BRACKET, steps=(-1.0, 0.0, 1.0))
    bench = Bench(replace(PLAIN, want=want, bounds=Bounds(frames=5), kit=replace(KIT, filters=("six",))))
    bench.to_first_long()
    while bench.ended() is None:
        bench.take()
    steps = [float(str(one.reasoning["step_stops"])) for one in bench.orders() if one.role is Role.LONG]
    assert sorted(steps[:3]) == [-1.0, 0.0, 1.0]
    assert steps[3:] == [1.0, 0.0], "the longest first, now that the fading is known"


def test_a_frame_whose_measurement_a_crash_lost_is_counted() -> None:
    bench = Bench(replace(PLAIN, bounds=Bounds(frames=2)))
    bench.to_first_long()
    bench.wait(9.0)
    take, bench.open = bench.open, None
    assert take is not None and take.role is Role.LONG
    bench.now += timedelta(seconds=take.open_s)
    bench.feed(words.FrameTold("x", take.role, "complete", take.open_s, None, bench.now, True, ""))
    bench.feed(words.Restarted(settled=True))
    bench.say(Word.RESUME)
    bench.answer()
    bench.wait(120.0)
    if bench.open is not None:
        bench.finish()
    assert sum(one.role is Role.LONG for one in bench.orders()) == 2
    assert bench.ended() == "frames_done"


# Anything at any time

_WORDS = st.sampled_from([Said(one) for one in Word])
_HAPPENS = st.one_of(
    _WORDS,
    st.sampled_from([words.FaultSeen(one, f"{one.value} fails") for one in Fault]),
    st.sampled_from([words.FaultGone(one) for one in Fault]),
    st.sampled_from(
        [words.ClockStepped(one) for one in (3600.0, -3600.0, 30.0, -30.0)]
        + [words.SleepAhead(), words.Woke(1200.0), words.Restarted(True), words.Restarted(False)]
        + [words.ClockConfirmed("network"), words.Checked(("focus",)), words.Checked(()), words.Ticked()]
        + [words.MeansTold(None, None), words.MeansTold(14.0, 10**9), words.MeansTold(60.0, 1000)]
        + [words.Measured("none", 3.0, 0.1), words.NotMeasured("none", "late")]
    ),
)
_STEP = st.tuples(
    st.sampled_from(("wait", "short", "frame", "frame", "frame", "do", "happens", "measure")),
    st.floats(0.0, 900.0),
    _HAPPENS,
    st.sampled_from(("complete", "complete", "complete", "cut_short", "link_lost", "refused", "failed", "unknown")),
    st.floats(-1.5, 1.5),
)
_OUTING = st.builds(
    lambda kind, dark, fallback, doubt, loss, leave, frames, first: _random(
        kind, dark, fallback, doubt, loss, leave, frames, first
    ),
    st.sampled_from(Kind), st.sampled_from(Dark), st.sampled_from(Fallback), st.sampled_from(Doubt),
    st.sampled_from(AfterLinkLoss), st.sampled_from((None, 40.0, 90.0)), st.sampled_from((None, 2, 6)), st.booleans(),
)  # fmt: skip


def _random(
    kind: Kind, dark: Dark, fallback: Fallback, doubt: Doubt, loss: AfterLinkLoss, leave_min: float | None,
    frames: int | None, is_first: bool,
) -> Outing:  # fmt: skip
    chosen = is_first and kind not in (Kind.WATCH, Kind.PAIRS)
    want = Want(kind, None if chosen else BASE, 20.0 if chosen else None, 0.7 if kind is Kind.EYE else 1.0,
                (-1.0, 0.0, 1.0) if kind is Kind.BRACKET else (), 8.0, 60.0, 1)  # fmt: skip
    leave = None if leave_min is None else LeaveBy(in_min=leave_min)
    return replace(PLAIN, want=want, dark=dark, place=PLACE, doubt=doubt, after_link_loss=loss,
                   bounds=Bounds(leave_by=leave, frames=frames),
                   prompting=Prompting(120.0, 120.0, 60.0, fallback))  # fmt: skip


class Wild(Bench):
    """The same with anything thrown in, and the rules looked at after every step."""

    def feed(self, event: Event) -> list[Effect]:
        before = self.evening.state.stop
        effects = super().feed(event)
        for one in effects:
            if isinstance(one, Take):
                self._look_at(one)
        state = self.evening.state
        if before is not None and state.stop is not before:
            assert isinstance(event, Said) and event.word is Word.LEAVING, "the first reason is the one that is told"
        if state.taking is None:
            self.open = None
        assert self._is_somebodys_turn(), f"it waits for nothing: {self.evening.view(self.now)}"
        return effects

    def _look_at(self, take: Take) -> None:
        state, outing = self.evening.state, self.outing
        assert state.held is None and state.checked
        assert take.cap_s >= take.open_s
        pack = state.ends.pack_utc
        if pack is not None:
            whole_s = busy_s(outing, take.open_s) if take.role is Role.LONG else take.open_s
            assert self.now + timedelta(seconds=whole_s) <= pack
        if take.role is not Role.LONG:
            return
        if state.light.reference is not None:
            assert not state.light.is_stale(self.now)
        assert outing.bounds.shortest_s <= take.open_s <= outing.bounds.longest_s
        if state.request is not None:
            assert not state.request.answered and state.fallback_tried
            assert take.filters == state.request.before.filters
        if outing.frames_wanted is not None:
            assert state.frames_done < outing.frames_wanted

    def _is_somebodys_turn(self) -> bool:
        state = self.evening.state
        waits_for_answer = state.taking is not None or bool(self.asked) or state.unsettled is not None
        waits_for_person = state.held is not None or state.request is not None or not state.time_confirmed
        return (
            state.ended or state.checking or state.reading_means or waits_for_answer or waits_for_person
            or self.evening.deadline_utc() is not None
        )  # fmt: skip


def _play(bench: Wild, steps: Iterable[tuple[str, float, Event, str, float]]) -> None:
    for kind, seconds, event, outcome, off_stops in steps:
        if kind in ("wait", "short"):
            bench.wait(seconds if kind == "wait" else seconds / 100.0)
        elif kind == "frame" and bench.open is not None:
            bench.finish(outcome, off_stops / 3.0)
        elif kind == "measure" and bench.open is not None:
            bench.finish("complete", 4.0 * off_stops)
        elif kind == "do" and bench.evening.state.request is not None:
            bench.do_as_asked()
        elif kind == "happens":
            bench.feed(event)
        else:
            bench.wait(30.0)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(_OUTING, st.lists(_STEP, max_size=40), st.booleans())
def test_whatever_happens_the_rules_hold(
    outing: Outing, steps: list[tuple[str, float, Event, str, float]], confirmed: bool
) -> None:
    bench = Wild(outing, confirmed)
    _play(bench, steps)
    _same_again(bench)


def _same_again(bench: Bench) -> None:
    """What the journal keeps leads to the very same evening: times in whole milliseconds, events through JSON."""
    twin = Evening(bench.outing, BEGUN)
    said: list[Effect] = []
    for at, event in bench.events:
        kept = words.event_from(json.loads(json.dumps(words.event_message(event))))
        said += twin.step(kept, at)
    assert said == [effect for _, effect in bench.said]
    assert twin.deadline_utc() == bench.evening.deadline_utc()
