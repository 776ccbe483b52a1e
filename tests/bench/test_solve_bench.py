"""How fast a solution is found, beside a plain quadrature doing the same; and that both say the same.

    .venv/bin/pytest -s -m "slow or not slow" tests/bench/test_solve_bench.py

Aims: one `solve` from a fused trend under 2 ms, the bag over 6 filters, 10 apertures and 4 ISO values under 20 ms; they
are printed. What is asserted is the ratio to the quadrature in the same run.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from scipy import integrate, optimize

from duskhold.light.dials import APERTURE, ISO
from duskhold.light.filters import Filter
from duskhold.light.forecast import Forecast
from duskhold.light.place import Place
from duskhold.light.reading import Reading
from duskhold.light.skyshape import SkyShape
from duskhold.light.trend import Trend, fuse
from duskhold.plan.bag import BagFilter, Base, Kit, Setting, Wanted, propose, stacks
from duskhold.plan.decision import Change, LightReading, TrendDrift, solve
from duskhold.plan.limits import Limits
from duskhold.plan.outlook import midnight_before, sky_of

SOLVE_AIM_S, BAG_AIM_S = 0.002, 0.020
LEAST_RATIO = 50.0
METERED = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)
OPENS = METERED + timedelta(seconds=70)
APERTURES = ("f/4", "f/4.5", "f/5", "f/5.6", "f/6.3", "f/7.1", "f/8", "f/9", "f/10", "f/11")
KIT = Kit(
    tuple(BagFilter(f"p{stops}", Filter(f"{stops}", stops), 0.03) for stops in (1.0, 2.1, 3.1, 6.2, 8.6, 10.3)),
    tuple(Setting(name, APERTURE.true_value(name)) for name in APERTURES),
    tuple(Setting(name, ISO.true_value(name)) for name in ("100", "200", "400", "800")),
)
BASE = Base(1 / 8, APERTURE.true_value("f/8"), 100.0)


@pytest.fixture(scope="module")
def trend() -> Trend:
    midnight = midnight_before(METERED)
    shape = SkyShape(sky_of(Place(57.32, -5.61), midnight), midnight)
    readings = [Reading(METERED + timedelta(minutes=m), -0.13 * m, 0.02, "base") for m in (-9, -6, -3, 0)]
    found = fuse(readings, METERED, OPENS, 900.0, shape)
    assert isinstance(found, Trend)
    return found


def seconds(act: Callable[[], object], times: int) -> float:
    """The quickest of several runs."""
    spent = []
    for _ in range(times):
        before = time.perf_counter()
        act()
        spent.append(time.perf_counter() - before)
    return min(spent)


def by_quadrature(forecast: Forecast, dose_s: float, opens_s: float) -> float:
    """Open time by an adaptive integral inside a root finder."""

    def missing(open_s: float) -> float:
        gathered, _ = integrate.quad(forecast.level, opens_s, opens_s + open_s, limit=200)
        return float(gathered) - dose_s

    return float(optimize.brentq(missing, 0.001, 7000.0, xtol=1e-3))


@pytest.mark.filterwarnings("ignore::scipy.integrate.IntegrationWarning")
def test_one_solution(trend: Trend) -> None:
    reading = LightReading(1 / 6.3496, METERED)
    found = solve(reading, Change(9.0), TrendDrift(trend), OPENS, Limits())
    ours_s = seconds(lambda: solve(reading, Change(9.0), TrendDrift(trend), OPENS, Limits()), 30)
    plain_s = reading.base_s * 2.0**9
    theirs_s = seconds(lambda: by_quadrature(trend.forecast, plain_s, 70.0), 5)
    assert found.open_s == pytest.approx(by_quadrature(trend.forecast, plain_s, 70.0), abs=0.01)
    _print("one solution", ours_s, theirs_s, SOLVE_AIM_S)
    assert ours_s < theirs_s / LEAST_RATIO


@pytest.mark.filterwarnings("ignore::scipy.integrate.IntegrationWarning")
@pytest.mark.parametrize("every", [12, pytest.param(1, marks=pytest.mark.slow)])
def test_the_whole_bag(trend: Trend, every: int) -> None:
    """Against a plain quadrature of every combination, or of every twelfth, which then is counted twelve times."""
    wanted = Wanted(120.0, 90.0, 150.0)
    ours_s = seconds(lambda: propose(wanted, BASE, KIT, trend.forecast, 70.0), 10)
    found = {
        (one.filters, one.aperture.name, one.iso.name): one.open_s
        for one in propose(wanted, BASE, KIT, trend.forecast, 70.0)
    }
    everything = list(itertools.product(stacks(KIT.bag), KIT.apertures, KIT.isos))
    looked_at, expected = set(), {}
    before = time.perf_counter()
    for (names, glass), aperture, iso in everything[::every]:
        looked_at.add((names, aperture.name, iso.name))
        narrower = (aperture.true_value / BASE.f_number) ** 2
        dose_s = BASE.base_s * 2.0**glass.stops * narrower * 100.0 / iso.true_value
        if dose_s < trend.forecast.dose(70.0, 7000.0):
            open_s = by_quadrature(trend.forecast, dose_s, 70.0)
            if wanted.shortest_s <= open_s <= wanted.longest_s:
                expected[names, aperture.name, iso.name] = open_s
    theirs_s = (time.perf_counter() - before) * len(everything) / len(looked_at)
    assert {key for key in found if key in looked_at} == set(expected)
    assert expected
    assert all(math.isclose(found[key], expected[key], abs_tol=0.05) for key in expected)
    _print("whole bag", ours_s, theirs_s, BAG_AIM_S)
    assert ours_s < theirs_s / LEAST_RATIO


def _print(name: str, ours_s: float, theirs_s: float, aim_s: float) -> None:
    print(
        f"\n{name}: {1000.0 * ours_s:.3f} ms (aim {1000.0 * aim_s:g} ms); plain scipy quadrature "
        f"{1000.0 * theirs_s:.1f} ms, {theirs_s / ours_s:.0f} times as long"
    )
