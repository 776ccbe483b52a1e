"""Brackets of long frames: the worked evening, each frame integrated the long way, and the order that is proposed."""

import math
import random

import numpy as np
import pytest

from duskhold.light.bracket import Bracket, BracketUnfinishable, Order, best_bracket, plan_bracket
from duskhold.light.forecast import Forecast


def steady(rate: float) -> Forecast:
    return Forecast.steady(0.0, 0.0, rate)


def test_longest_first_at_dusk() -> None:
    # Worked by hand from T = log2(1 + A r ln 2) / r with r = -0.15 stop/min, A the plain time carried to the opening
    light = steady(-0.15)
    short = plan_bracket(light, 60.0, (-1, 0, 1), 30.0, 10.0, Order.SHORTEST_FIRST)
    long = best_bracket(light, 60.0, (-1, 0, 1), 30.0, 10.0)
    assert isinstance(short, Bracket) and isinstance(long, Bracket)
    assert [m.opens_s for m in short.members] == pytest.approx([30, 72.5, 154.9], abs=0.1)
    assert [m.open_s for m in short.members] == pytest.approx([32.5, 72.4, 183.2], abs=0.1)
    assert short.ends_s == pytest.approx(338, abs=0.5)
    assert [m.uncorrected_error_stops for m in short.members] == pytest.approx([-0.11, -0.26, -0.53], abs=0.006)
    assert long.order is Order.LONGEST_FIRST
    assert [m.opens_s for m in long.members] == pytest.approx([30, 182.7, 281.5], abs=0.1)
    assert [m.open_s for m in long.members] == pytest.approx([142.7, 88.8, 51.1], abs=0.1)
    assert long.ends_s == pytest.approx(332.6, abs=0.1)
    assert long.spread == pytest.approx(2.8, abs=0.05) and short.spread == pytest.approx(5.6, abs=0.05)


def test_longest_last_at_dawn() -> None:
    found = best_bracket(steady(0.15), 60.0, (-1, 0, 1), 30.0, 10.0)
    assert isinstance(found, Bracket) and found.order is Order.SHORTEST_FIRST


def test_a_bracket_that_cannot_be_finished_says_which_frame() -> None:
    found = best_bracket(steady(-0.3), 200.0, (0, 2), 30.0, 10.0)
    assert isinstance(found, BracketUnfinishable)
    assert found.short.shortfall_stops > 0.0


def test_steps_hold_when_integrated_the_long_way() -> None:
    chance = random.Random(6)
    for _ in range(200):
        rate, plain_s = chance.uniform(-0.25, 0.3), chance.uniform(2.0, 45.0)
        light = steady(rate)
        found = best_bracket(light, plain_s, (-1, 0, 1), chance.uniform(5, 90), chance.uniform(3, 20))
        if not isinstance(found, Bracket):
            continue
        for member in found.members:
            at_s = np.linspace(member.opens_s, member.opens_s + member.open_s, 20001)
            dose_s = float(np.trapezoid(np.exp2(rate * at_s / 60.0), at_s))
            assert math.log2(dose_s / plain_s) == pytest.approx(member.step_stops, abs=1e-5)
