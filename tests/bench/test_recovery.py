"""The recovery benchmark on few evenings: its truth is what it says, and the program keeps ahead of the rules of thumb.

The figures over many evenings are printed by `recovery.py`; here the bounds have room for what few evenings scatter.
"""

import math

import numpy as np
import pytest
from evenings import Weather, brown_lx, evening
from recovery import TOLD, errors, task

EVENINGS = 24


def test_the_fit_to_brown_1952() -> None:
    # Values by the coefficients of the US Naval Observatory 1996 fit; second row: AMS Glossary of Meteorology, sunset
    altitudes = np.array([0.0, -0.8333, -3.0, -6.0, -9.0, -12.0])
    assert brown_lx(altitudes) == pytest.approx([756.8, 451.6, 81.04, 3.472, 0.1214, 0.00843], rel=1e-3)
    assert 410.0 < brown_lx(np.array([-0.8333]))[0] < 585.0


def test_the_oracle_is_right() -> None:
    chance = np.random.default_rng(5)
    for weather in (Weather.CLEAR, Weather.BROKEN):
        one = task(weather, chance)
        right_s = one.oracle_s()
        assert right_s is not None
        dose = one.evening.dose(one.delay_s, right_s)
        assert math.log2(dose / one.plain_s) == pytest.approx(0.0, abs=1e-3)


def test_clouds_have_their_statistics() -> None:
    chance = np.random.default_rng(6)
    found = [evening(Weather.BROKEN, chance) for _ in range(12)]
    spread = np.std([one.stops - one.bare_stops for one in found])
    assert spread == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("weather", list(Weather))
def test_never_worse_than_the_rules_of_thumb(weather: Weather) -> None:
    found = errors(weather, EVENINGS)
    for rule in ("label", "habit"):
        assert np.median(found["program"]) < np.median(found[rule])
        assert np.percentile(found["program"], 95) < np.percentile(found[rule], 95)
    if weather in (Weather.CLEAR, Weather.MOON, Weather.CITY):
        assert np.percentile(found["program"], 95) <= (0.10 if weather is Weather.CLEAR else 0.12)
    if "statistics" in found:
        program, known, told = (math.sqrt(float(np.mean(found[name] ** 2))) for name in ("program", *TOLD))
        assert program < 1.5 * known and program < 1.2 * told
