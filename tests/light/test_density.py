"""A filter measured bare - filtered - bare: a worked afternoon, and drift that leaves no trace."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.light.density import Exposed, NotMeasurable, differs_stops, measure_density, seen_stops

BEFORE = Exposed((2610, 5210, 3480), 1 / 64, 0.0)
FILTERED = Exposed((2482, 4380, 2790), 16.0, 60.0)
AFTER = Exposed((2530, 5050, 3373), 1 / 64, 120.0)


def test_calibration_afternoon() -> None:
    # Worked by hand: log2[(sqrt(bare1 bare2) x 64) / (plate / 16)] per channel
    found = measure_density(BEFORE, FILTERED, AFTER)
    assert found.stops_rgb == pytest.approx((10.05, 10.23, 10.30), abs=0.005)
    assert found.stops == found.stops_rgb[1]
    assert found.bare_rgb == pytest.approx((2569.7, 5129.4, 3426.1), abs=0.1)
    assert found.drift_stops == pytest.approx(-0.045, abs=0.0005)
    assert (found.cast_red, found.cast_blue) == pytest.approx((0.884, 1.048), abs=0.001)
    assert 0.005 < found.sigma_stops < 0.03


def test_names_on_the_dial_would_be_believed_at_a_price() -> None:
    named = [Exposed(f.levels_rgb, t, f.middle_s) for f, t in ((BEFORE, 1 / 60), (FILTERED, 15.0), (AFTER, 1 / 60))]
    assert measure_density(*named).stops == pytest.approx(10.04, abs=0.005)


def test_a_pair_that_differs_is_asked_about() -> None:
    assert differs_stops(10.23, 10.45) is None
    assert differs_stops(10.23, 9.9) == pytest.approx(-0.33)
    assert seen_stops(BEFORE, FILTERED, -0.0225) == pytest.approx(10.23, abs=0.005)


rates = st.floats(min_value=-0.4, max_value=0.4)


@given(rates, st.tuples(*[st.floats(min_value=0.5, max_value=20.0)] * 3), st.floats(min_value=0.1, max_value=0.9))
def test_drift_leaves_no_trace(rate: float, stops: tuple[float, float, float], share: float) -> None:
    def frame(at_s: float, taken: tuple[float, float, float], open_s: float) -> Exposed:
        light = math.exp2(rate * at_s / 60.0) * open_s
        return Exposed((900 * light * 2 ** -taken[0], 2e3 * light * 2 ** -taken[1], 7 * light * 2 ** -taken[2]),
                       open_s, at_s)  # fmt: skip

    bare = (0.0, 0.0, 0.0)
    found = measure_density(frame(0.0, bare, 0.02), frame(300.0 * share, stops, 9.0), frame(300.0, bare, 0.02))
    assert found.stops_rgb == pytest.approx(stops, abs=1e-9)
    assert found.drift_stops == pytest.approx(rate * 5.0, abs=1e-9)


def test_what_cannot_be_measured() -> None:
    with pytest.raises(NotMeasurable, match="above black"):
        measure_density(BEFORE, Exposed((0, 10, 10), 16.0, 60.0), AFTER)
    with pytest.raises(NotMeasurable, match="order"):
        measure_density(BEFORE, AFTER, FILTERED)
