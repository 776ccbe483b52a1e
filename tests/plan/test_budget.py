"""The error budget against a thousand drawn evenings, and the side on which to err."""

import math
import random
from datetime import UTC, datetime, timedelta

import pytest

from duskhold.light.filters import parse_filter
from duskhold.light.opentime import OpenTime, constant_error_stops
from duskhold.light.place import Place
from duskhold.light.reading import Reading
from duskhold.light.skyshape import SkyShape
from duskhold.light.trend import Trend, fuse
from duskhold.plan.budget import Budget, budget_of, filter_sigma_stops
from duskhold.plan.decision import Change, LightReading, SkyDrift, SteadyDrift, TrendDrift, light_stops_since, solve
from duskhold.plan.lean import Lean
from duskhold.plan.limits import Limits
from duskhold.plan.outlook import TYPED_RATE_SIGMA, midnight_before, outlook, sky_of

METERED = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)
OPENS = METERED + timedelta(seconds=70)
READING = LightReading(0.15749, METERED)


def test_against_drawn_evenings() -> None:
    decision = solve(READING, Change(10.2), SteadyDrift(-0.1), OPENS, Limits())
    assert decision.open_s is not None
    budget = budget_of(decision, SteadyDrift(-0.1), [parse_filter("10.2")], latency_sigma_s=0.4)
    assert budget is not None
    chance, errors = random.Random(5), []
    for _ in range(4000):
        rate = chance.gauss(-0.1, TYPED_RATE_SIGMA)
        plain_s = decision.plain_s * 2 ** (chance.gauss(0, budget.filter) + chance.gauss(0, budget.reading))
        held_s = decision.open_s + chance.gauss(0, 0.4)
        errors.append(constant_error_stops(rate, plain_s, decision.delay_s, held_s))
    drawn = math.sqrt(sum(error**2 for error in errors) / len(errors))
    assert budget.total == pytest.approx(drawn, rel=0.06)
    missed = sum(abs(error) > 0.2 for error in errors) / len(errors)
    assert budget.miss_probability(0.2) == pytest.approx(missed, abs=0.02)


def test_probability_of_missing() -> None:
    one = Budget(0.1, 0.0, 0.0, 0.0)
    assert one.miss_probability(0.1) == pytest.approx(0.3173, abs=1e-4)  # normal distribution, one sigma
    assert one.miss_probability(0.1, off_stops=0.1) == pytest.approx(0.5 + 0.0228, abs=1e-3)
    assert Budget(0.0, 0.0, 0.0, 0.0).miss_probability(0.1) == 0.0


def test_a_label_is_trusted_less_than_a_measurement() -> None:
    assert filter_sigma_stops(parse_filter("10.05/10.23/10.30")) == filter_sigma_stops(parse_filter("10.2")) == 0.03
    # 10 % of the density as half the width of a rectangle: 3.0 x 0.1 / sqrt(3) of density
    assert filter_sigma_stops(parse_filter("d3.0")) == pytest.approx(0.575, abs=0.001)


def test_dusk_errs_long_and_dawn_short() -> None:
    lean = Lean(dusk_longer_stops=0.1, dawn_shorter_stops=0.2)
    for rate, stops in ((-0.18, 0.1), (0.18, -0.2), (0.0, 0.0)):
        straight = solve(READING, Change(9.0), SteadyDrift(rate), OPENS, Limits())
        leaning = solve(READING, Change(9.0), SteadyDrift(rate), OPENS, Limits(), lean)
        assert leaning.open_s is not None and straight.open_s is not None
        error = constant_error_stops(rate, straight.plain_s, 70.0, leaning.open_s)
        assert error == pytest.approx(stops, abs=1e-9)
        assert leaning.plain_s == straight.plain_s


def test_a_trend_decides_like_its_rate() -> None:
    readings = [Reading(METERED - timedelta(minutes=6), 0.0, 0.02, "base"), Reading(METERED, -1.08, 0.02, "base")]
    trend = fuse(readings, METERED, OPENS, 900.0)
    assert isinstance(trend, Trend)
    found = solve(READING, Change(10.2), TrendDrift(trend), OPENS, Limits())
    steady = solve(READING, Change(10.2), SteadyDrift(-0.18), OPENS, Limits())
    assert found.open_s == pytest.approx(steady.open_s, abs=0.5)
    assert found.uncorrected_error_stops == pytest.approx(steady.uncorrected_error_stops, abs=0.002)
    assert found.most_plain_s == pytest.approx(steady.most_plain_s, rel=0.005)
    budget = budget_of(found, TrendDrift(trend), [parse_filter("10.2")])
    assert budget is not None and budget.reading == pytest.approx(0.02) and 0.05 < budget.rate < 0.1


def test_nothing_is_budgeted_for_what_never_ends() -> None:
    never = solve(LightReading(300.0, METERED), Change(), SteadyDrift(-0.35), METERED, Limits())
    assert budget_of(never, SteadyDrift(-0.35), []) is None


@pytest.mark.parametrize("latitude_deg", [-45.0, 0.0, 57.0, 68.0])
def test_the_outlook_along_the_sky_is_the_sky(latitude_deg: float) -> None:
    drift = SkyDrift(Place(latitude_deg, 0.0))
    exact = solve(LightReading(0.2, METERED), Change(8.0), drift, OPENS, Limits())
    curve = outlook(drift, METERED, OPENS).solve(exact.plain_s, 70.0)
    assert exact.open_s is not None
    assert (curve.open_s if isinstance(curve, OpenTime) else math.nan) == pytest.approx(exact.open_s, rel=2e-3)


def test_light_since_a_metering_that_is_older_than_the_newest_reading() -> None:
    """Later readings, such as long frames, bend the light between metering and opening: level 0 stays the metering."""
    shape = shape_of(Place(20.0, 0.0), METERED)  # sun at 9 degrees, its light falling ever faster
    minutes = (-3.0, 0.0, 9.0, 18.0, 27.0)
    at = [METERED + timedelta(minutes=m) for m in minutes]
    trend = fuse([Reading(t, shape.stops(t), 0.01, "base") for t in at], METERED, at[-1], 900.0, shape)
    assert isinstance(trend, Trend)
    for after_min in (27.0, 30.0, 40.0):
        moment = METERED + timedelta(minutes=after_min)
        truth = shape.stops(moment) - shape.stops(METERED)
        assert light_stops_since(TrendDrift(trend), METERED, moment) == pytest.approx(truth, abs=0.03)


def shape_of(place: Place, at_utc: datetime) -> SkyShape:
    return SkyShape(sky_of(place, midnight_before(at_utc)), midnight_before(at_utc))
