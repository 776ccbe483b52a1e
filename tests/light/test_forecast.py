"""The light to come as a curve of knots: against quadrature, and a constant rate against the closed form."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.light.forecast import Forecast
from duskhold.light.opentime import OpenTime, Unfinishable, solve_constant

KNOTS = Forecast((0.0, 60.0, 200.0, 201.0), (0.0, -0.4, 0.3, 0.3), goes_on=True)


@given(st.floats(-50, 400), st.floats(0.1, 300))
def test_dose_is_the_integral(from_s: float, length_s: float) -> None:
    knots = [from_s, *(s for s in (60.0, 200.0, 201.0) if from_s < s < from_s + length_s), from_s + length_s]
    whole = 0.0
    for a, b in pairwise(knots):
        at_s = np.linspace(a, b, 2001)
        whole += float(np.trapezoid([KNOTS.level(s) for s in at_s], at_s))
    assert KNOTS.dose(from_s, from_s + length_s) == pytest.approx(whole, rel=1e-5)


@given(st.floats(0, 300), st.floats(0.01, 500))
def test_end_is_where_the_dose_is(opens_s: float, dose: float) -> None:
    end_s = KNOTS.end_of(dose, opens_s)
    assert end_s is not None
    assert KNOTS.dose(opens_s, end_s) == pytest.approx(dose, rel=1e-9)


@given(st.floats(-3, 3), st.floats(0.01, 4000), st.floats(0, 900))
def test_a_steady_rate_is_the_closed_form(rate: float, plain_s: float, delay_s: float) -> None:
    closed = solve_constant(rate, plain_s, delay_s)
    found = Forecast.steady(0.0, 0.0, rate).solve(plain_s, delay_s)
    if closed.most_plain_s is not None and abs(plain_s / closed.most_plain_s - 1.0) < 1e-6:
        return
    assert type(found) is type(closed)
    if closed.most_plain_s is not None and abs(rate) > 1e-6:
        assert found.most_plain_s == pytest.approx(closed.most_plain_s, rel=1e-6)
    if isinstance(found, OpenTime) and isinstance(closed, OpenTime):
        assert found.open_s == pytest.approx(closed.open_s, rel=1e-5, abs=1e-6)
    if isinstance(found, Unfinishable) and isinstance(closed, Unfinishable):
        assert found.shortfall_stops == pytest.approx(closed.shortfall_stops, abs=1e-5)
        assert found.within_s is None


def test_a_curve_that_ends_says_within() -> None:
    short = Forecast((0.0, 7300.0), (0.0, -1.0), goes_on=False).solve(9000.0, 10.0)
    assert isinstance(short, Unfinishable)
    assert short.within_s == 7200.0 and short.shortfall_stops > 0.0
    assert KNOTS.rate_stops_per_min(30.0) == pytest.approx(-0.4)
    assert KNOTS.starts_s == 0.0 and math.isclose(KNOTS.level_stops(60.0), -0.4)


def test_light_that_falls_past_all_numbers_is_unfinishable_and_no_error() -> None:
    falling = Forecast((0.0, 60.0, 3600.0), (0.0, -40.0, -2400.0), goes_on=True)
    found = falling.solve(1000.0, 0.0)
    assert isinstance(found, Unfinishable)
    assert found.most_plain_s == pytest.approx(60.0 / (40.0 * math.log(2.0)))


@pytest.mark.parametrize("rate", [-10.0, 10.0])
def test_what_no_number_holds_is_the_largest_or_the_least(rate: float) -> None:
    """Nine hours at ten stops a minute are 5400 stops; a hair of fading lasts for ever."""
    found = Forecast.steady(0.0, 0.0, rate).dose(0.0, 32768.0)
    assert math.isfinite(math.log2(found)) and (found > 1e299) == (rate > 0.0)
    far = Forecast.steady(0.0, 0.0, rate).dose(40_000.0, 40_001.0)
    assert math.isfinite(math.log2(far))
    hardly = Forecast((0.0, 60.0), (0.0, -1e-300), goes_on=True).solve(100.0, 0.0)
    assert isinstance(hardly, OpenTime) and hardly.most_plain_s is None
