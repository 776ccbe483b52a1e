"""The dusk at Port Ellary played from end to end: its tone, its changes of filters, and nobody who answers.

Figures and tolerances are the trade's worked story: the published illuminance polynomial (Explanatory Supplement to the
Astronomical Almanac, 3rd edition, table 12.8). Simulated time, raw files of 192 x 128; what happened is read from the
body's own log and from the numbers in the files.
"""

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from evening_stage import IN_TIME, Opening, Played, left_told, near, played

from duskhold.app.evening_world import Habits
from duskhold.light.crossings import Direction
from duskhold.light.filters import parse_filter
from duskhold.light.place import Place
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.outing import (
    Bounds,
    Fallback,
    Kind,
    Outing,
    OutingKit,
    Prompting,
    SunStart,
    Want,
)
from duskhold.plan.role import Role

F5, F8, F11 = Setting("f/5.6", 2**2.5), Setting("f/8", 8.0), Setting("f/11", 2**3.5)
ISO_100, ISO_400 = Setting("100", 100.0), Setting("400", 400.0)
SIX, THREE = (BagFilter(name, parse_filter(label), 0.03) for name, label in (("six", "6.1"), ("three", "3.0")))


def port_ellary(kind: Kind = Kind.TONE, make_up_share: float = 1.0, fallback: Fallback = Fallback.HOLD) -> Outing:
    return Outing(
        "dusk",
        SunStart(-2.0, Direction.DOWN, datetime(2026, 3, 20, 12, tzinfo=UTC)),
        Want(kind, first_s=30.0, between_s=15.0, make_up_share=make_up_share),
        OutingKit((SIX, THREE), ("six",), F11, ISO_100, (F11, F8, F5), (ISO_100, ISO_400)),
        place=Place(50.20, -4.10),
        bounds=Bounds(longest_s=240.0, shortest_s=1.0, sun_altitude_deg=-8.0),
        prompting=Prompting(fallback=fallback),
    )


@pytest.fixture(scope="module")
def dusk() -> Iterator[Played]:
    with played(port_ellary()) as found:
        yield found


def test_a_dusk_keeps_its_tone_through_two_changes_of_filters(dusk: Played) -> None:
    longs = dusk.of(Role.LONG)
    assert near(longs[0].opened_utc, "18:36:34", 20.0)
    assert abs(len(longs) - 25) <= 1
    assert max(abs(error) for error in dusk.level_errors_stops()) <= 0.15
    assert dusk.lines("ended")[0].line.startswith("the next frame would take 2")
    assert near(dusk.lines("ended")[0].at_utc, "19:13:17", 60.0)


def test_each_change_is_told_ahead_asked_and_proven(dusk: Played) -> None:
    prompts, ahead = dusk.lines("prompt"), dusk.lines("change_ahead")
    assert [one.line for one in prompts] == ["take off the six, fit the three", "take off the three"]
    for prompt, told, at in zip(prompts, ahead, ("18:50:43", "19:01:37"), strict=True):
        assert near(prompt.at_utc, at, 60.0)
        assert told.line.endswith(prompt.line)
        assert prompt.at_utc - told.at_utc >= timedelta(minutes=3)
    for prompt, proven in zip(prompts, dusk.lines("verified"), strict=True):
        between = [one for one in dusk.openings if prompt.at_utc < one.opened_utc < proven.at_utc]
        assert [one.role for one in between] == [Role.SCOUT]
    kept = [note.word for note in dusk.notes]
    for word in ("change_ahead", "prompt", "person", "verified"):
        assert kept.count(f"evening_{word}") == 2, f"{word} is in the record"
    assert [event["word"] for event in dusk.happened if event["event"] == "Said"] == ["done", "done"]


def test_what_is_left_of_a_dusk_falls_frame_by_frame(dusk: Played) -> None:
    told, taken = left_told(dusk), len(dusk.of(Role.LONG))
    assert abs(told[0] - 25) <= 1
    assert dusk.lines("left")[0].at_utc < dusk.of(Role.LONG)[0].opened_utc
    assert len(told) > taken
    for one in dusk.lines("left", "replanned"):
        done = sum(each.opened_utc < one.at_utc for each in dusk.of(Role.LONG))
        # A rate of two or three frames says little about the next forty minutes.
        assert abs(int(one.line.split()[0]) - (taken - done)) <= (4 if 0 < done < 5 else 1)


def test_seventy_per_cent_of_the_fade_made_up_leaves_bare_glass_at_thirty_six_seconds() -> None:
    with played(port_ellary(Kind.EYE, 0.7)) as found:
        longs, errors = found.of(Role.LONG), found.level_errors_stops()
        light = found.evening.body.stage.light
    # At 19:14:20, -8 degrees, bare glass would ask for 36.0 s; a frame that long ends past the sun's limit.
    end = found.lines("ended")[0]
    assert near(end.at_utc, "19:14:20", 45.0) and end.line.startswith(("35 s", "36 s", "37 s"))
    assert not longs[-1].order.filters and longs[-1].open_s == pytest.approx(36.0, rel=0.15)
    first = found.second(longs[0].opened_utc)
    for one, error in zip(longs, errors, strict=True):
        at_s = found.second(one.opened_utc)
        faded = math.log2(light.dose(at_s, at_s + one.open_s) / one.open_s) - math.log2(
            light.dose(first, first + longs[0].open_s) / longs[0].open_s
        )
        assert error == pytest.approx(0.3 * faded, abs=0.15)


def test_a_scout_without_the_rise_fires_nothing() -> None:
    with played(port_ellary(), habits=replace(IN_TIME, careless=1.0)) as found:
        asked = found.lines("prompt")[0]
        assert [one.role for one in found.openings if one.opened_utc > asked.at_utc].count(Role.LONG) == 0
        denied = found.lines("denied")
        assert denied and all("the six still on" in one.line for one in denied)
        assert "the three not on" in denied[0].line


def after_the_prompt(found: Played) -> list[Opening]:
    asked = found.lines("prompt")[0]
    return [one for one in found.openings if one.opened_utc > asked.at_utc]


AWAY = Habits(absent=1.0, resumes=0.0)


def test_nobody_answers_and_it_holds() -> None:
    with played(port_ellary(), habits=AWAY) as found:
        assert after_the_prompt(found) == []
        assert near(found.lines("ended")[0].at_utc, "19:14:20", 20.0)


def test_nobody_answers_and_it_ends() -> None:
    with played(port_ellary(fallback=Fallback.STOP), habits=AWAY) as found:
        assert after_the_prompt(found) == []
        assert "nobody answered" in found.lines("ended")[0].line
        waited = found.lines("ended")[0].at_utc - found.lines("prompt")[0].at_utc
        assert waited.total_seconds() == pytest.approx(180.0, abs=1.0)


@pytest.mark.parametrize("fallback", [Fallback.APERTURE, Fallback.ISO])
def test_nobody_answers_and_it_goes_on_with_the_filters_that_are_on(fallback: Fallback) -> None:
    with played(port_ellary(fallback=fallback), habits=AWAY) as found:
        rest, asked = after_the_prompt(found), found.lines("prompt")[0]
        assert rest[0].role is Role.SCOUT, "the pixels first say that the filters are as they were"
        assert (rest[0].opened_utc - asked.at_utc).total_seconds() == pytest.approx(180.0, abs=3.0)
        longs = [one for one in rest if one.role is Role.LONG]
        assert longs and all(one.order.filters == ("six",) for one in rest)
        if fallback is Fallback.APERTURE:
            assert {(one.aperture, one.iso) for one in longs} <= {("f/8", "100"), ("f/5.6", "100")}
        else:
            assert {(one.aperture, one.iso) for one in longs} == {("f/11", "400")}
        assert max(abs(error) for error in found.level_errors_stops()) <= 0.15
