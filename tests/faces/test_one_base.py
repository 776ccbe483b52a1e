"""Base frames of `duskhold one` that are clipped: another is asked for, or nothing is held."""

import argparse
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from duskhold.app import base_frames
from duskhold.faces import one_base
from duskhold.faces.answer import Wrong
from duskhold.faces.one import Post, Wish
from duskhold.faces.one_base import base_frames as take
from duskhold.frames.measure import Area
from duskhold.frames.reading import AreaLevel

CLIPPED = AreaLevel((0.9, 0.9, 0.9), 0.032, 0.01)
WHOLE = AreaLevel((0.2, 0.2, 0.2), 0.0, 0.01)


class Bench:
    """A dial, a person's answers, and the levels that base frames have one after the other."""

    def __init__(self, levels: list[AreaLevel], answers: list[str]) -> None:
        self.dial, self.levels, self.answers, self.asked = "1/4", levels, answers, [""]
        self.taken_at: list[str] = []
        self.chosen: object = None

    def take(self, *_: object) -> str:
        self.taken_at.append(self.dial)
        return self.dial

    def see(self, bases: list[str], chosen: object) -> tuple[tuple[object, ...], object]:
        self.chosen = chosen
        return tuple(SimpleNamespace(level=self.levels.pop(0)) for _ in bases), np.ones((1, 1), np.float32)

    def turn(self, _: object, time: str) -> str:
        self.dial = time
        return time

    def enter(self, line: str) -> str:
        self.asked.append(line)
        return self.answers.pop(0)


def bench_of(monkeypatch: pytest.MonkeyPatch, levels: list[AreaLevel], answers: list[str], there: str) -> Bench:
    bench = Bench(levels, answers)
    monkeypatch.setattr(base_frames, "dial_of", lambda _: bench.dial)
    monkeypatch.setattr(base_frames, "set_dial", bench.turn)
    monkeypatch.setattr(base_frames, "take_at_dial", bench.take)
    monkeypatch.setattr(base_frames, "see", bench.see)
    monkeypatch.setattr(one_base, "person_is_there", lambda: there == "somebody")
    return bench


def taken(bench: Bench, **options: object) -> Any:
    args = argparse.Namespace(**({"base": None, "bases": 1, "go_on": False, "json": False, "area": None} | options))
    vigil = SimpleNamespace(countdown=SimpleNamespace(say=lambda _: None), enter=bench.enter)
    return take(
        cast(Wish, SimpleNamespace(args=args)), cast(Post, SimpleNamespace(station=None, watch=None, vigil=vigil))
    )


def test_another_is_taken_at_the_time_that_a_person_types(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = bench_of(monkeypatch, [CLIPPED, CLIPPED, WHOLE], ["1/8", ""], "somebody")
    found = taken(bench)
    assert bench.taken_at == ["1/4", "1/8", "1/8"]
    assert found.dial == "1/8" and found.seen[0].level is WHOLE
    assert "3.2 %" in bench.asked[1] and "from 1/4" in bench.asked[1]


def test_a_person_may_take_it_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    assert taken(bench_of(monkeypatch, [CLIPPED], ["g"], "somebody")).seen[0].level is CLIPPED
    assert taken(bench_of(monkeypatch, [CLIPPED], [], "nobody"), go_on=True).seen[0].level is CLIPPED


def test_the_chosen_area_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = bench_of(monkeypatch, [WHOLE], [], "nobody")
    taken(bench, area="0,0,1,0.5")
    assert bench.chosen == Area(0.0, 0.0, 1.0, 0.5)


@pytest.mark.parametrize("options", [{}, {"json": True}])
def test_where_nobody_answers_nothing_goes_on(monkeypatch: pytest.MonkeyPatch, options: dict[str, bool]) -> None:
    bench = bench_of(monkeypatch, [CLIPPED], [], "somebody" if options else "nobody")
    with pytest.raises(Wrong) as wrong:
        taken(bench, **options)
    assert (wrong.value.code, wrong.value.exit_status, wrong.value.field) == ("base_clipped", 3, "--base")
    assert bench.taken_at == ["1/4"]
