"""What a pair says of the filter, against light that is added up the long way; and when a person is asked."""

import math
import random
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from duskhold.app.fitted import Fitted, Through, look_at_filter
from duskhold.light.filters import NO_FILTER, Filter
from duskhold.light.reading import Reading
from duskhold.light.trend import Trend, fuse
from duskhold.plan.decision import Drift, SteadyDrift, TrendDrift

METERED = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)
STORED = Filter("ten", 10.23)


def level_by_hand(rate: float, delay_s: float, open_s: float, base_s: float, filter_stops: float) -> float:
    """Level of the long frame over that of the base frame, in stops, by the trapezoid rule."""
    at_s = np.linspace(delay_s, delay_s + open_s, 4001)
    dose_s = float(np.trapezoid(np.exp2(rate * at_s / 60.0), at_s))
    return math.log2(dose_s / base_s) - filter_stops


def test_two_hundred_pairs_by_adding_up_the_light() -> None:
    chance = random.Random(9)
    for _ in range(200):
        rate, delay_s, open_s = chance.uniform(-0.4, 0.4), chance.uniform(5, 200), 2.0 ** chance.uniform(0, 9)
        base_s, real_stops, gain = 2.0 ** chance.uniform(-8, 2), chance.uniform(1, 16), chance.choice((0.0, 6.0))
        drift: Drift = SteadyDrift(rate)
        if chance.random() < 0.5:
            minutes = (-6.0, -3.0, 0.0)
            readings = [Reading(METERED + timedelta(minutes=m), rate * m, 0.005, "base") for m in minutes]
            trend = fuse(readings, METERED, METERED + timedelta(seconds=delay_s), 900.0)
            assert isinstance(trend, Trend)
            drift = TrendDrift(trend)
        level = level_by_hand(rate, delay_s, open_s, base_s, real_stops) + gain
        through = Through(METERED + timedelta(seconds=delay_s), open_s, level, gain)
        found = look_at_filter(STORED, base_s, METERED, through, drift)
        assert found.seen_stops == pytest.approx(real_stops, abs=0.03)
        assert (found.question is not None) == (abs(found.off_stops) > 0.25)
        assert found.light_sigma_stops > 0.0


@pytest.mark.parametrize(
    ("seen_stops", "question"),
    # More than a quarter of a stop from the stored value is asked about: common practice, no source
    [(10.47, None), (9.99, None), (10.49, "is this the filter ten?"), (9.97, "is this the filter ten?")],
)
def test_when_a_person_is_asked(seen_stops: float, question: str | None) -> None:
    found = Fitted("ten", seen_stops, STORED.stops, 0.02)
    assert found.question == question
    assert found.body()["off_stops"] == pytest.approx(seen_stops - 10.23)


def test_a_lens_that_should_be_bare() -> None:
    through = Through(METERED + timedelta(seconds=30), 1.0, -3.1)
    found = look_at_filter(NO_FILTER, 1.0, METERED, through, SteadyDrift(0.0))
    assert found.seen_stops == pytest.approx(3.1) and found.question == "is this the lens bare?"
