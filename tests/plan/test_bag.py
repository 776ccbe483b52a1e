"""The filter bag's solver against trying everything by hand, and its order."""

import math
import random

import numpy as np
import pytest

from duskhold.light.dials import APERTURE, ISO
from duskhold.light.filters import Filter
from duskhold.light.forecast import Forecast
from duskhold.light.opentime import OpenTime
from duskhold.plan.bag import BagFilter, Base, Kit, Setting, Wanted, plan_b, propose, stacks


def plate(name: str, stops: float) -> BagFilter:
    return BagFilter(name, Filter(f"{stops}", stops), 0.03)


def apertures(*names: str) -> tuple[Setting, ...]:
    return tuple(Setting(name, APERTURE.true_value(name)) for name in names)


def isos(*names: str) -> tuple[Setting, ...]:
    return tuple(Setting(name, ISO.true_value(name)) for name in names)


BAG = (plate("3", 3.1), plate("6", 6.2), plate("10", 10.3))
SHARP = apertures("f/8", "f/9", "f/10", "f/11", "f/13")
BASE = Base(1 / 32, APERTURE.true_value("f/11"), 100.0)
STEADY = Forecast.steady(0.0, 0.0, 0.0)
STREAKS = Wanted(258.0, 193.5, 322.5)


def test_cloud_streaks_of_a_chosen_length() -> None:
    # Worked by hand: log2(258 x 32) = 13.01 stops; 10.3 + 3.1 at f/11 is 337.8 s, at f/10 268.1 s, at f/9 212.8 s
    found = propose(STREAKS, BASE, Kit(BAG, SHARP, isos("100", "200")), STEADY, 0.0)
    assert [(one.filters, one.aperture.name, one.iso.name) for one in found[:2]] == [
        (("3", "10"), "f/10", "100"),
        (("3", "10"), "f/9", "100"),
    ]
    assert [one.open_s for one in found[:2]] == pytest.approx([268.1, 212.8], abs=0.1)
    assert all(one.fits for one in found)
    at_11 = propose(STREAKS, BASE, Kit(BAG, apertures("f/11"), isos("100")), STEADY, 0.0)
    assert len(at_11) == 1 and not at_11[0].fits
    assert at_11[0].open_s == pytest.approx(337.8, abs=0.1)


def test_a_raised_iso_comes_after_everything_at_base() -> None:
    found = propose(STREAKS, BASE, Kit(BAG, SHARP, isos("100", "200", "400")), STEADY, 0.0)
    values = [one.iso.true_value for one in found]
    assert values == sorted(values) and values[0] < values[-1]


def test_at_most_two_and_no_polariser() -> None:
    polariser = BagFilter("round", Filter("1.6", 1.6), 0.1, polariser="constant")
    sets = stacks((*BAG, polariser))
    assert len(sets) == 1 + 3 + 3
    assert max(len(names) for names, _ in sets) == 2
    assert all("round" not in names for names, _ in sets)


def test_plan_b_is_for_later_light() -> None:
    fading = Forecast.steady(0.0, 0.0, -0.2)
    later = plan_b(Wanted(60.0, 30.0, 90.0), BASE, Kit(BAG, SHARP, isos("100")), fading, 60.0)
    assert [minutes for minutes, _ in later] == [10.0, 20.0]
    assert all(one is not None for _, one in later)
    stops = [one.filter_stops for _, one in later if one is not None]
    assert stops[0] > stops[1]  # four stops of light lost in twenty minutes


def test_two_hundred_bags_against_trying_everything() -> None:
    """Each open time by a running sum of the light, each set of filters by nested loops."""
    chance = random.Random(8)
    for _ in range(200):
        rate = chance.uniform(-0.2, 0.2)
        bag = tuple(plate(f"p{i}", round(chance.uniform(1, 12), 1)) for i in range(chance.randint(1, 4)))
        base = Base(2.0 ** chance.uniform(-7, 0), chance.choice(SHARP).true_value, 100.0)
        wanted_s, delay_s = chance.uniform(10, 300), chance.uniform(0, 120)
        wanted = Wanted(wanted_s, wanted_s * 0.75, wanted_s * 1.25)
        speeds = isos("100", "200")
        found = propose(wanted, base, Kit(bag, SHARP, speeds), Forecast.steady(0.0, 0.0, rate), delay_s)
        at_s = np.linspace(0.0, 2.0 * wanted_s, 40001)
        light = np.exp2(rate * (delay_s + at_s) / 60.0)
        gathered = np.concatenate([[0.0], np.cumsum((light[1:] + light[:-1]) / 2.0) * (at_s[1] - at_s[0])])
        expected = set()
        for i in range(-1, len(bag)):
            for j in range(-1, i if i > 0 else 0):
                stops = (bag[i].glass.stops if i >= 0 else 0.0) + (bag[j].glass.stops if j >= 0 else 0.0)
                for aperture in SHARP:
                    for iso in speeds:
                        dose = (
                            base.base_s * 2**stops * (aperture.true_value / base.f_number) ** 2 / (iso.true_value / 100)
                        )
                        if gathered[-1] > dose:
                            open_s = float(np.interp(dose, gathered, at_s))
                            if 0.75 * wanted_s <= open_s <= 1.25 * wanted_s:
                                expected.add((round(stops, 6), aperture.name, iso.name))
        got = {(round(one.filter_stops, 6), one.aperture.name, one.iso.name) for one in found if one.fits}
        assert got == expected
        assert all(math.isfinite(one.open_s) for one in found)


def test_the_nearest_when_nothing_fits_is_the_nearest_of_all() -> None:
    """Against solving every combination; in light that fails so fast that most cannot be finished."""
    chance = random.Random(4)
    tried = 0
    for _ in range(60):
        light = Forecast.steady(0.0, 0.0, chance.uniform(-0.5, 0.2))
        kit = Kit(BAG, apertures("f/8", "f/11"), isos("100"))
        wanted_s = chance.uniform(5.0, 400.0)
        wanted = Wanted(wanted_s, wanted_s * 0.98, wanted_s * 1.02)
        found = propose(wanted, BASE, kit, light, 30.0)
        offs = []
        for _, glass in stacks(BAG):
            for aperture in kit.apertures:
                solved = light.solve(BASE.base_s * 2**glass.stops * (aperture.true_value / BASE.f_number) ** 2, 30.0)
                if isinstance(solved, OpenTime):
                    offs.append(abs(math.log2(solved.open_s / wanted_s)))
        if found and not found[0].fits:
            assert abs(found[0].off_stops) == pytest.approx(min(offs))
            tried += 1
    assert tried > 20
