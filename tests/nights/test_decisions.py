"""Twelve hours of decisions from a seed: they repeat exactly, and the body's own log shows no rule broken."""

import hashlib
import math
import os
import subprocess
import sys
import time
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from night import HOURS, Night, Told

from duskhold.camera.faults import Outage
from duskhold.shutter.report import Outcome

SEEDS = (1, 2, 3)
CPU_MAX_S = 2.0
POLL_LIMIT_S = 5.0  # how long a closing call asks a body that stays open
RETURN_S = 1.0  # a link that is back is looked for this often, and closed over
SLACK_S = 0.1  # latencies and their jitter

Opening = tuple[float, float]


@cache
def night(seed: int) -> Night:
    one = Night(seed)
    one.run()
    return one


def openings(one: Night) -> list[Opening]:
    """When the shutter truly opened and closed."""
    opened, closed = one.lines("opened"), one.lines("closed")
    return [(first.now_s, last.now_s) for first, last in zip(opened, closed, strict=True)]


@cache
def frames(seed: int) -> list[tuple[Told, list[Opening]]]:
    """Every frame that was intended, with the openings between its order and the next frame's."""
    one = night(seed)
    ends = [told.intended_s for told in one.told[1:]] + [math.inf]
    all_of_them = openings(one)
    return [
        (told, [each for each in all_of_them if told.intended_s <= each[0] < until_s])
        for told, until_s in zip(one.told, ends, strict=True)
    ]


def trouble_s(seed: int, opening: Opening) -> float:
    """How long a shutter may stay open past its cap: the link was out, or the body did not obey."""
    near = [each for each in outages(seed) if overlap_s(each, opening) > 0.0]
    ignored = [line for line in night(seed).lines("released") if line.detail["result"] == "ignored"]
    heard = [line for line in ignored if opening[0] <= line.now_s <= opening[1]]
    return sum(overlap_s(each, opening) + RETURN_S for each in near) + POLL_LIMIT_S * len(heard)


@cache
def outages(seed: int) -> list[Outage]:
    return night(seed).outages()


def overlap_s(outage: Outage, opening: Opening) -> float:
    return max(0.0, min(outage.until_s, opening[1]) - max(outage.from_s, opening[0]))


def digest(one: Night) -> str:
    return hashlib.sha256("\n".join(one.log()).encode()).hexdigest()


@pytest.mark.parametrize("seed", SEEDS)
def test_never_two_openings_without_a_closing(seed: int) -> None:
    words = [line.word for line in night(seed).body.log if line.word in ("opened", "closed")]
    assert words[0] == "opened" and words[-1] == "closed"
    assert all(before != after for before, after in pairwise(words))
    assert not night(seed).body.shutter_is_open(night(seed).clock.now_s())


@pytest.mark.parametrize("seed", SEEDS)
def test_one_opening_for_an_intent_at_most_and_none_without(seed: int) -> None:
    counts = [len(found) for _, found in frames(seed)]
    assert max(counts) == 1
    assert sum(counts) == len(openings(night(seed)))


@pytest.mark.parametrize("seed", SEEDS)
def test_never_open_beyond_the_cap_but_for_what_hindered_the_closing(seed: int) -> None:
    for told, found in frames(seed):
        for opening in found:
            open_s = opening[1] - opening[0]
            assert open_s <= told.command.cap_s + trouble_s(seed, opening) + SLACK_S, told


@pytest.mark.parametrize("seed", SEEDS)
def test_every_intent_has_a_settled_outcome(seed: int) -> None:
    for told in night(seed).told:
        assert told.refused is None
        assert told.reports[-1].settled, told


@pytest.mark.parametrize("seed", SEEDS)
def test_the_record_has_the_true_open_time(seed: int) -> None:
    for told, found in frames(seed):
        report = told.reports[-1]
        true_s = found[0][1] - found[0][0] if found else 0.0
        if report.outcome is Outcome.COMPLETE:
            assert true_s == pytest.approx(report.open_s, abs=0.02), told
        elif report.open_s is not None:
            assert true_s == pytest.approx(report.open_s, abs=0.2), told
        else:
            assert report.open_s_range is not None, told
            least_s, most_s = report.open_s_range
            assert least_s - SLACK_S <= true_s <= most_s + SLACK_S, told
        if report.outcome is Outcome.REFUSED:
            assert not found, told


@pytest.mark.parametrize("seed", SEEDS)
def test_complete_frames_are_exposed_as_metered(seed: int) -> None:
    """Through dusk, night and dawn, by the light that truly came in.

    A third of a stop is invisible in a raw file and half a stop acceptable (common practice, no source); most frames
    are far better, and the worst are long ones at dawn whose rate changed while they were open.
    """
    complete = [(told, found[0]) for told, found in frames(seed) if told.reports[-1].outcome is Outcome.COMPLETE]
    errors = sorted(abs(night(seed).error_stops(told, *opening)) for told, opening in complete)
    assert len(errors) > 150
    assert errors[len(errors) // 2] < 0.03
    assert errors[len(errors) * 98 // 100] < 1 / 3
    assert errors[-1] < 1 / 2


@pytest.mark.parametrize("seed", SEEDS)
def test_the_night_had_trouble_of_every_kind(seed: int) -> None:
    """A night in which nothing goes wrong would show nothing."""
    one = night(seed)
    outcomes = {told.reports[-1].outcome for told in one.told}
    assert outcomes >= {Outcome.COMPLETE, Outcome.FAILED, Outcome.LINK_LOST, Outcome.REFUSED}
    assert {line.detail["result"] for line in one.lines("released")} == {"closed", "ignored", "nothing_open"}
    assert {line.detail["name"] for line in one.lines("fault")} >= {"press_busy", "open_ignored", "stop_error"}
    assert {each.kind for each in outages(seed)} == {"dropped", "hung"}
    assert {line.word for line in one.shutter.lines} >= {"opening", "closed", "collected", "lost", "died", "released"}


def test_the_same_seed_gives_the_same_night_in_another_process() -> None:
    """Another process has another order of hashes: nothing may depend on it."""
    words = "from night import Night; from test_decisions import digest; n = Night(1); n.run(); print(digest(n))"
    environment = os.environ | {"PYTHONHASHSEED": "77", "PYTHONPATH": str(Path(__file__).parent)}
    said = subprocess.run(
        [sys.executable, "-c", words], env=environment, check=True, capture_output=True, text=True, timeout=60
    )
    assert said.stdout.strip() == digest(night(1))


def test_another_seed_gives_another_night() -> None:
    assert len({digest(night(seed)) for seed in SEEDS}) == len(SEEDS)


def test_a_night_takes_under_two_seconds(capsys: pytest.CaptureFixture[str]) -> None:
    began_s = time.process_time()
    one = Night(11)
    one.run()
    took_s = time.process_time() - began_s
    with capsys.disabled():
        print(f"\n{HOURS:g} h of decisions: {len(one.told)} frames in {took_s:.2f} s of processor time")
    assert took_s < CPU_MAX_S
