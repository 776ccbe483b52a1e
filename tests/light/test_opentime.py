"""Open time under changing light: the published table, its laws, and the integral against the closed form."""

import math
from dataclasses import dataclass

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from duskhold.light.opentime import (
    OpenTime,
    Unfinishable,
    constant_error_stops,
    curve_error_stops,
    solve_constant,
    solve_curve,
)

rates = st.floats(min_value=-3.0, max_value=3.0)
plains = st.floats(min_value=0.01, max_value=4000.0)
delays = st.floats(min_value=0.0, max_value=900.0)


@dataclass(frozen=True)
class Exponential:
    """Light that changes by a constant rate, as a curve."""

    stops_per_min: float

    def level(self, at_s: float) -> float:
        return 7.0 * math.exp2(self.stops_per_min * at_s / 60.0)

    def dose(self, from_s: float, to_s: float) -> float:
        k = math.log(2.0) * self.stops_per_min / 60.0
        length_s = to_s - from_s
        return self.level(from_s) * (math.expm1(k * length_s) / k if abs(k) > 1e-100 else length_s)


def open_s(rate: float, plain_s: float, delay_s: float = 0.0) -> float:
    found = solve_constant(rate, plain_s, delay_s)
    assert isinstance(found, OpenTime)
    return found.open_s


@pytest.mark.parametrize(
    ("rate", "minutes", "limit"),
    # Quadrature to 1e-6; same family as Tyson and Gal 1993, AJ 105, 1206 (flat fields in twilight)
    [
        (+0.3, (0.4757, 0.9085, 1.6724, 2.9108, 4.7112), None),
        (+0.1, (0.4915, 0.9669, 1.8730, 3.5305, 6.3647), None),
        (-0.1, (0.5089, 1.0363, 2.1529, 4.6845, 11.6656), 14.43),
        (-0.2, (0.5182, 1.0765, 2.3422, 5.8328, None), 7.21),
        (-0.3, (0.5279, 1.1211, 2.5856, 8.5718, None), 4.81),
    ],
)
def test_published_table(rate: float, minutes: tuple[float | None, ...], limit: float | None) -> None:
    for plain_min, expected in zip((0.5, 1.0, 2.0, 4.0, 8.0), minutes, strict=True):
        found = solve_constant(rate, plain_min * 60.0, 0.0)
        if limit is None:
            assert found.most_plain_s is None
        else:
            assert found.most_plain_s is not None
            assert found.most_plain_s / 60.0 == pytest.approx(limit, abs=0.005)
        if expected is None:
            assert isinstance(found, Unfinishable)
        else:
            assert isinstance(found, OpenTime)
            assert found.open_s / 60.0 == pytest.approx(expected, abs=6e-5)


@pytest.mark.parametrize(
    ("rate", "minutes"),  # as above, T0 = 2 min, delays 1, 2, 3 min
    [(-0.2, (2.7659, 3.2855, 3.9324)), (-0.3, (3.4503, 4.7861, 7.1964))],
)
def test_published_delays(rate: float, minutes: tuple[float, ...]) -> None:
    found = [open_s(rate, 120.0, 60.0 * delay_min) / 60.0 for delay_min in (1, 2, 3)]
    assert found == pytest.approx(minutes, abs=6e-5)


def test_an_uncorrected_frame_errs_by_less_than_the_lengthening_it_needs() -> None:
    assert constant_error_stops(-0.2, 120.0, 60.0, 120.0) > -math.log2(open_s(-0.2, 120.0, 60.0) / 120.0)


@given(rates, plains, delays)
def test_holding_the_open_time_gives_no_error(rate: float, plain_s: float, delay_s: float) -> None:
    found = solve_constant(rate, plain_s, delay_s)
    if isinstance(found, OpenTime):
        near_limit = found.most_plain_s is not None and plain_s > 0.999 * found.most_plain_s
        error = constant_error_stops(rate, plain_s, delay_s, found.open_s)
        assert error == pytest.approx(0.0, abs=1e-6 if near_limit else 1e-9)
    else:
        assert plain_s >= found.most_plain_s * (1.0 - 1e-9)
        assert found.shortfall_stops >= 0.0
        if rate < -0.01:
            held_for_ever = constant_error_stops(rate, plain_s, delay_s, 1e6)
            assert held_for_ever == pytest.approx(-found.shortfall_stops, abs=1e-6)


@given(rates, plains, delays, st.floats(min_value=1.01, max_value=4.0))
def test_more_plain_time_takes_longer(rate: float, plain_s: float, delay_s: float, more: float) -> None:
    shorter, longer = (solve_constant(rate, p, delay_s) for p in (plain_s, plain_s * more))
    if isinstance(longer, OpenTime):
        assert isinstance(shorter, OpenTime)
        assert longer.open_s > shorter.open_s


@given(rates, st.floats(min_value=0.05, max_value=2.0), plains, delays)
def test_brightening_shortens(rate: float, brighter_by: float, plain_s: float, delay_s: float) -> None:
    dark, bright = (solve_constant(r, plain_s, delay_s) for r in (rate, rate + brighter_by))
    if isinstance(dark, OpenTime):
        assert isinstance(bright, OpenTime)
        assert bright.open_s < dark.open_s


@given(rates, plains, delays, st.floats(min_value=1.0, max_value=300.0))
def test_a_later_opening_takes_longer_in_fading_light_only(
    rate: float, plain_s: float, delay_s: float, later_s: float
) -> None:
    assume(abs(rate) > 0.001)
    now, later = (solve_constant(rate, plain_s, d) for d in (delay_s, delay_s + later_s))
    if isinstance(now, OpenTime) and isinstance(later, OpenTime):
        assert (later.open_s > now.open_s) == (rate < 0.0)


@given(rates, plains, delays, st.floats(min_value=0.05, max_value=0.95))
def test_two_frames_back_to_back_add_up(rate: float, plain_s: float, delay_s: float, share: float) -> None:
    whole = solve_constant(rate, plain_s, delay_s)
    assume(isinstance(whole, OpenTime))
    assert isinstance(whole, OpenTime)
    first_s = open_s(rate, plain_s * share, delay_s)
    rest = solve_constant(rate, plain_s * (1.0 - share), delay_s + first_s)
    if whole.most_plain_s is None or plain_s < 0.999 * whole.most_plain_s:
        assert isinstance(rest, OpenTime)
        assert first_s + rest.open_s == pytest.approx(whole.open_s, rel=1e-8)


@given(plains, delays, st.floats(min_value=-1e-9, max_value=1e-9))
def test_rate_to_zero(plain_s: float, delay_s: float, rate: float) -> None:
    assert open_s(rate, plain_s, delay_s) == pytest.approx(plain_s, rel=1e-6)


@pytest.mark.parametrize("rate", [0.0, -0.0, 5e-324, -5e-324, 1e-300, -1e-300, 1e-17, -1e-17])
def test_hardly_any_rate_is_no_rate(rate: float) -> None:
    assert open_s(rate, 120.0, 60.0) == pytest.approx(120.0, rel=1e-12)
    assert constant_error_stops(rate, 120.0, 60.0, 120.0) == pytest.approx(0.0, abs=1e-12)


@given(rates, plains, st.floats(min_value=0.0, max_value=1e-7))
def test_delay_to_zero(rate: float, plain_s: float, delay_s: float) -> None:
    at_once = solve_constant(rate, plain_s, 0.0)
    if isinstance(at_once, OpenTime) and plain_s < 0.99 * (at_once.most_plain_s or math.inf):
        assert open_s(rate, plain_s, delay_s) == pytest.approx(at_once.open_s, rel=1e-6)


@given(st.floats(min_value=-3.0, max_value=-0.01), delays)
def test_plain_time_to_the_limit(rate: float, delay_s: float) -> None:
    most_plain_s = solve_constant(rate, 0.01, delay_s).most_plain_s
    assert most_plain_s is not None
    under = [solve_constant(rate, most_plain_s * (1.0 - 10.0**-n), delay_s) for n in (2, 4, 6, 8)]
    assert all(isinstance(found, OpenTime) for found in under)
    halving_s = 60.0 / -rate
    for n, found in zip((2, 4, 6, 8), under, strict=True):
        assert isinstance(found, OpenTime)
        # What is left of the light halves with each halving time: 10^-n of it is left after n log2 10 of them.
        assert found.open_s == pytest.approx(n * math.log2(10.0) * halving_s, rel=1e-6)
    beyond = solve_constant(rate, most_plain_s * 2.0, delay_s)
    assert isinstance(beyond, Unfinishable)
    assert beyond.shortfall_stops == pytest.approx(1.0)
    assert beyond.within_s is None


@pytest.mark.parametrize("rate", [10.0, -10.0])
def test_nothing_overflows(rate: float) -> None:
    found = solve_constant(rate, 3e7, 86400.0)
    numbers = [found.most_plain_s or 0.0]
    numbers.append(found.open_s if isinstance(found, OpenTime) else found.shortfall_stops)
    numbers.append(constant_error_stops(rate, 3e7, 86400.0, 3e7))
    assert all(math.isfinite(number) for number in numbers)


@given(st.floats(min_value=-0.5, max_value=0.5), st.floats(min_value=0.1, max_value=900.0), delays)
def test_the_integral_agrees_with_the_closed_form(rate: float, plain_s: float, delay_s: float) -> None:
    light = Exponential(rate)
    closed, curve = solve_constant(rate, plain_s, delay_s), solve_curve(light, plain_s, 0.0, delay_s)
    if isinstance(curve, OpenTime):
        assert isinstance(closed, OpenTime)
        assert curve.open_s == pytest.approx(closed.open_s, rel=1e-6, abs=1e-6)
        error = curve_error_stops(light, plain_s, 0.0, delay_s, plain_s)
        assert error == pytest.approx(constant_error_stops(rate, plain_s, delay_s, plain_s), abs=1e-9)
    else:
        assert isinstance(closed, Unfinishable) or closed.open_s > 7200.0 * (1.0 - 1e-6)
        assert curve.within_s == 7200.0


def test_the_curve_has_its_own_clock() -> None:
    light = Exponential(-0.2)
    early, late = solve_curve(light, 120.0, 0.0, 60.0), solve_curve(light, 120.0, 5000.0, 5060.0)
    assert isinstance(early, OpenTime) and isinstance(late, OpenTime)
    assert late.open_s == pytest.approx(early.open_s, abs=1e-6)


def test_what_a_curve_cannot_give_in_time_is_a_value() -> None:
    found = solve_curve(Exponential(0.0), 7300.0, 0.0, 10.0)
    assert isinstance(found, Unfinishable)
    assert found.most_plain_s == pytest.approx(7200.0)
    assert found.shortfall_stops == pytest.approx(math.log2(7300.0 / 7200.0))
    barely = solve_curve(Exponential(0.0), 7200.0, 0.0, 10.0)
    assert isinstance(barely, OpenTime)
    assert barely.open_s == pytest.approx(7200.0)
