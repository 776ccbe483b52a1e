"""A frame of `duskhold one` that cannot be finished: what a person is told, and what their word or an option does."""

import argparse
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any, cast

import pytest

from duskhold.app.settings import LimitSettings, Settings
from duskhold.faces import one_short
from duskhold.faces.one import Post, Wish
from duskhold.faces.one_short import short_wanted
from duskhold.faces.solve import Question
from duskhold.light.filters import Filter, stack
from duskhold.plan.bag import BagFilter
from duskhold.plan.decision import Change, SteadyDrift

METERED = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)
TEN, SIX = Filter("10.0", 10.0), Filter("6.0", 6.0)
BAG = (BagFilter("ten", TEN, 0.03), BagFilter("six", SIX, 0.03))


def asked(
    monkeypatch: pytest.MonkeyPatch, said: bool = False, there: bool = True, base_s: float = 0.5, **told: Any
) -> tuple[bool, list[str]]:
    """Half a second through ten stops is 512 s; a minute is the longest allowed."""
    settings = Settings(limits=LimitSettings(longest_s=60.0))
    exposure: dict[str, Any] = {"bag": BAG, "apertures": (8.0, 8.0), "isos": (100.0, 100.0)}
    exposure |= {name: told.pop(name) for name in list(told) if name in exposure}
    question = Question(
        settings=settings, base_s=base_s, filter=stack((TEN,)), change=Change(filter_stops=10.0),
        drift=SteadyDrift(0.0), metered_utc=METERED, opens_utc=METERED, filters=(TEN,), **exposure,
    )  # fmt: skip
    lines: list[str] = []

    def agreed(line: str) -> bool:
        lines.append(line)
        return said

    monkeypatch.setattr(one_short, "person_is_there", lambda: there)
    args = argparse.Namespace(**({"accept_short": False, "json": False} | told))
    post = cast(Post, SimpleNamespace(vigil=SimpleNamespace(agreed=agreed)))
    return short_wanted(cast(Wish, SimpleNamespace(args=args, settings=settings)), post, question), lines


@pytest.mark.parametrize("said", [True, False])
def test_a_person_is_told_the_ways_out_and_asked(monkeypatch: pytest.MonkeyPatch, said: bool) -> None:
    found, (line,) = asked(monkeypatch, said)
    assert found is said
    # log2(512 / 60) is 3.09 stops, four in whole ones
    assert "It would take 8:32.0; 1:00.0 is the longest time allowed." in line
    assert "\nWith a new base frame:\n- f/2 (4.00 stop wider): 32.0 s (not every lens opens so wide)\n" in line
    assert "- ISO 1600: 32.0 s" in line and "- filter six: 32.0 s (a shorter frame" in line
    assert line.endswith("Open it for 1:00.0 all the same, 3.09 stop short?")


def test_where_nothing_else_can_be_done_nothing_else_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    _, (line,) = asked(monkeypatch, bag=(), apertures=(1.4, 1.4), isos=(102400.0, 102400.0))
    assert "new base frame" not in line and line.count("\n") == 1


@pytest.mark.parametrize(("options", "there"), [({"json": True}, True), ({}, False)])
def test_nobody_is_asked_who_cannot_answer(
    monkeypatch: pytest.MonkeyPatch, options: dict[str, bool], there: bool
) -> None:
    assert asked(monkeypatch, True, there, **options) == (False, [])


@pytest.mark.parametrize("base_s", [0.5, 0.05])
def test_the_option_counts_also_for_what_falls_short_only_at_the_opening(
    monkeypatch: pytest.MonkeyPatch, base_s: float
) -> None:
    assert asked(monkeypatch, base_s=base_s, accept_short=True) == (True, [])


def test_what_can_be_finished_is_no_question(monkeypatch: pytest.MonkeyPatch) -> None:
    assert asked(monkeypatch, True, base_s=0.05) == (False, [])
