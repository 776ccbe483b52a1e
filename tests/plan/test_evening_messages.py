"""Events of an evening as the journal keeps them, and an evening gone over again from them."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from evening_desk import BEGUN, FITTED, TONE, Desk, leaving_in
from hypothesis import given
from hypothesis import strategies as st

from duskhold.app.evening_record import EveningRecord
from duskhold.journal.entry import Stamp
from duskhold.journal.journal import Journal
from duskhold.plan import evening_words as words
from duskhold.plan.evening import Evening
from duskhold.plan.evening_words import Act, Event, Fault, FaultSeen, Word, event_from, event_message
from duskhold.plan.outing import Dark, Fallback, Outing
from duskhold.plan.role import Role

NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
MOMENTS = st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1)).map(  # noqa: DTZ001
    lambda at: at.replace(microsecond=at.microsecond // 1000 * 1000, tzinfo=UTC)
)
TEXT = st.text(max_size=20)
EVENTS: st.SearchStrategy[Event] = st.one_of(
    st.builds(words.Begun, st.booleans()),
    st.builds(words.Ticked),
    st.builds(
        words.FrameTold, TEXT, st.sampled_from(Role), TEXT, st.none() | NUMBERS, st.none() | MOMENTS,
        st.none() | MOMENTS, st.booleans(), TEXT, st.integers(0, 9),
    ),
    st.builds(
        words.Measured, TEXT, NUMBERS, NUMBERS, st.booleans(), st.sampled_from(Act), st.lists(TEXT).map(tuple), TEXT
    ),
    st.builds(words.NotMeasured, TEXT, TEXT),
    st.builds(words.Said, st.sampled_from(Word)),
    st.builds(words.FaultSeen, st.sampled_from(Fault), TEXT),
    st.builds(words.FaultGone, st.sampled_from(Fault)),
    st.builds(words.Checked, st.lists(TEXT).map(tuple)),
    st.builds(words.MeansTold, st.none() | NUMBERS, st.none() | st.integers(0)),
    st.builds(words.ClockConfirmed, TEXT),
    st.builds(words.ClockStepped, NUMBERS),
    st.builds(words.SleepAhead),
    st.builds(words.Woke, NUMBERS),
    st.builds(words.Restarted, st.booleans()),
)  # fmt: skip


@given(EVENTS)
def test_an_event_comes_back_from_its_message_as_it_was(event: Event) -> None:
    found = event_from(json.loads(json.dumps(event_message(event), allow_nan=False)))
    assert found == event and type(found) is type(event)


@pytest.mark.parametrize("message", [{}, {"event": "Sneezed"}, {"event": "Said", "word": "jump"}, {"event": "Woke"}])
def test_what_is_no_event_is_refused(message: dict[str, object]) -> None:
    with pytest.raises((ValueError, KeyError, TypeError)):
        event_from(message)


def to_the_end(desk: Desk) -> None:
    while desk.ended() is None:
        if desk.open is not None:
            desk.close()
            desk.level_ev -= 0.2
        else:
            desk.wait(20.0)


def plain() -> Desk:
    desk = Desk(leaving_in(15.0))
    to_the_end(desk)
    return desk


def with_trouble() -> Desk:
    desk = Desk(FITTED)
    desk.until_open(Role.BASE)
    desk.close()
    desk.say(Word.DONE)
    desk.close(off_stops=6.0)
    desk.say(Word.DONE)
    desk.close()
    desk.wait(20.0)
    desk.feed(FaultSeen(Fault.LINK, "the lead is gone"))
    desk.close(31.0, "link_lost", settled=False)
    desk.step_clock(90.0)
    return desk


def with_fallback() -> Desk:
    desk = Desk(replace(TONE, prompting=replace(TONE.prompting, fallback=Fallback.APERTURE), dark=Dark.AFTER))
    desk.until_asked()
    desk.wait(130.0)
    desk.close()
    desk.until_open(Role.LONG)
    desk.say(Word.CLOSE)
    desk.close(10.0, "cut_short", act=Act.RETAKE)
    return desk


@pytest.mark.parametrize(
    ("outing", "play"),
    [(leaving_in(15.0), plain), (FITTED, with_trouble), (None, with_fallback)],
    ids=["plain", "trouble", "fallback"],
)
def test_an_evening_gone_over_from_the_journal_stands_as_it_stood(
    outing: Outing | None, play: Callable[[], Desk], tmp_path: Path
) -> None:
    desk = play()
    stamp = Stamp(BEGUN, 0.0, "boot")
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        record = EveningRecord.begin(journal, "evening", "camera", "outing", stamp)
        for now_utc, event in desk.events:
            record.keep(event, now_utc, stamp)
        again = record.go_over(outing or desk.evening.state.outing)
    assert again is not None
    assert again.view(desk.now) == desk.evening.view(desk.now)
    assert again.deadline_utc() == desk.evening.deadline_utc()
    for name in desk.evening.state.__slots__:
        if name not in ("light", "outing"):
            assert getattr(again.state, name) == getattr(desk.evening.state, name), name
    # And from here on both do the same.
    for event in (words.Restarted(settled=True), words.Said(Word.RESUME), words.Checked(()), words.Ticked()):
        assert again.step(event, desk.now) == desk.evening.step(event, desk.now)


def test_the_same_events_lead_to_the_same_effects() -> None:
    first = with_trouble()
    again = Evening(FITTED, BEGUN)
    said = [one for now_utc, event in first.events for one in again.step(event, now_utc)]
    assert sorted(map(repr, said)) == sorted(map(repr, first.said))
