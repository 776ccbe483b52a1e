"""Anything at any time: random events into the evening machine, and the rules that hold whatever comes."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta

from adversary_bench import BASE, BEGUN, PLACE, PLAIN, Bench
from hypothesis import given, settings
from hypothesis import strategies as st

from duskhold.plan import evening_words as words
from duskhold.plan.evening import Evening
from duskhold.plan.evening_words import Effect, Event, Fault, Said, Take, Word
from duskhold.plan.outing import (
    AfterLinkLoss,
    Bounds,
    Dark,
    Doubt,
    Fallback,
    Kind,
    LeaveBy,
    Outing,
    Prompting,
    Want,
)
from duskhold.plan.role import Role
from duskhold.plan.stops import busy_s

# Faults and people


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
