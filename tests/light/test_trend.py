"""The trend: what it believes, what it sets aside and why, and how far off it may be."""

import math
import random
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from duskhold.light.opentime import OpenTime, Unfinishable
from duskhold.light.place import Place
from duskhold.light.reading import Reading, in_order, scene_level_stops
from duskhold.light.skycurve import SkyCurve
from duskhold.light.skyshape import LampLitShape, Shape, SkyShape
from duskhold.light.trend import Choice, Lack, NoTrend, Trend, fuse

MARK = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)
MIDNIGHT = MARK.replace(hour=0, minute=0)
SKY = SkyShape(SkyCurve(Place(57.32, -5.61), MIDNIGHT), MIDNIGHT)


def at(minute: float) -> datetime:
    return MARK + timedelta(minutes=minute)


def reading(minute: float, stops: float, sigma: float = 0.02, span_s: float = 0.0) -> Reading:
    return Reading(at(minute), stops, sigma, "base", span_s)


def trend_of(readings: list[Reading], shape: Shape | None = None, opens_min: float = 1.0) -> Trend:
    found = fuse(readings, MARK, at(opens_min), 900.0, shape)
    assert isinstance(found, Trend)
    return found


def along_sky(minute: float, departs: float = 0.0) -> float:
    return SKY.stops(at(minute)) + departs * minute


def test_two_readings_draw_a_line() -> None:
    found = trend_of([reading(-6, 0.0), reading(0, -1.08)])
    assert found.choice is Choice.MEASURED
    assert found.rate.value == pytest.approx(-0.18, abs=2e-4)
    # Two levels good to 0.02 over 6 min: sqrt(2) x 0.02 / 6 = 0.0047, and half the span of an unknown curvature 0.004
    assert found.rate.sigma == pytest.approx(math.hypot(0.0047, 0.012), rel=0.02)
    assert found.forecast.level_stops(60.0) == pytest.approx(-0.18, abs=3e-4)


def test_measured_wins_when_the_sky_disagrees() -> None:
    found = trend_of([reading(-6, 0.0), reading(0, -1.08)], SKY)
    assert found.choice is Choice.MEASURED
    assert found.model_rate == pytest.approx(-0.12, abs=0.005)
    assert found.rate.value == pytest.approx(-0.18, abs=2e-4)
    assert found.disagreement is not None
    assert all(word in found.disagreement for word in ("clock", "place", "cloud", "ground"))


def test_the_sky_bends_the_line_when_both_agree() -> None:
    readings = [reading(m, along_sky(m, -0.005)) for m in (-6, -3, 0)]
    found = trend_of(readings, SKY)
    assert found.choice is Choice.FUSED and found.disagreement is None
    assert found.bend.value < -0.001
    for minute in (1.0, 3.0, 6.0):
        truth = along_sky(minute, -0.005) - along_sky(0.0)
        assert found.forecast.level_stops(60.0 * minute) == pytest.approx(truth, abs=0.01)


def test_one_reading_goes_by_the_sky_alone() -> None:
    found = trend_of([reading(0, 3.0)], SKY)
    assert found.choice is Choice.MODEL and found.measured_rate is None
    assert found.rate.value == pytest.approx(SKY.rate_stops_per_min(MARK))


def test_lamps_of_a_car_do_not_steer() -> None:
    steady = [reading(m, -0.2 * m) for m in (-10, -8, -6, -4, -2, 0)]
    for index in range(6):
        lit = [reading(m, -0.2 * m + (1.5 if i == index else 0.0)) for i, m in enumerate((-10, -8, -6, -4, -2, 0))]
        found = trend_of(lit)
        assert [out.reading.taken_utc for out in found.left_out] == [steady[index].taken_utc]
        assert found.rate.value == pytest.approx(-0.2, abs=0.02)
    assert "scout" in found.left_out[0].reason


def test_a_change_that_stays_is_believed() -> None:
    levels = [0.0, -0.2, -0.4, -2.1, -2.3, -2.5]
    found = trend_of([reading(2.0 * i - 10, stops) for i, stops in enumerate(levels)])
    assert found.left_out == ()


def test_a_long_frame_counts_as_its_mean() -> None:
    def mean_stops(rate: float, from_min: float, to_min: float) -> float:
        minutes = np.linspace(from_min, to_min, 10001)
        return math.log2(float(np.trapezoid(np.exp2(rate * minutes), minutes)) / (to_min - from_min))

    long = reading(-3.0, mean_stops(-0.3, -5.0, -1.0), 0.001, span_s=240.0)
    found = trend_of([reading(-8, 2.4, 0.001), long, reading(0, 0.0, 0.001)])
    assert found.rate.value == pytest.approx(-0.3, abs=0.002)
    assert found.bend.value == pytest.approx(0.0, abs=0.001)


def test_what_gives_no_trend() -> None:
    stale = fuse([reading(-30, 0.0), reading(-20, 0.0)], at(-20), at(0), 900.0)
    assert isinstance(stale, NoTrend) and stale.lack is Lack.STALE and "1200 s" in stale.reason
    one = fuse([reading(0, 0.0)], MARK, at(1), 900.0)
    assert isinstance(one, NoTrend) and one.lack is Lack.NO_RATE
    later = fuse([reading(5, 0.0)], MARK, at(1), 900.0, SKY)
    assert isinstance(later, NoTrend) and later.lack is Lack.NO_READING


def test_a_clipped_reading_is_only_a_bound() -> None:
    clipped = Reading(at(-3), 0.2, 0.02, "base", at_least=True)
    found = trend_of([reading(-6, 0.0), clipped, reading(0, 0.0)])
    assert len(found.used) == 2 and "at least" in found.left_out[0].reason


def test_where_all_are_clipped_the_sky_still_tells_how_the_light_goes() -> None:
    clipped = [Reading(at(m), along_sky(0) + 1.0, 0.02, "base", at_least=True) for m in (-2, 0)]
    found = trend_of([reading(-20, along_sky(-20)), *clipped], SKY)  # the other is too old to expose by
    assert found.choice is Choice.MODEL and found.used == (clipped[1],)
    assert found.mark_stops == pytest.approx(along_sky(0) + 1.0)
    assert found.forecast.level_stops(240.0) == pytest.approx(along_sky(4) - along_sky(0), abs=1e-3)
    alone = fuse(clipped, MARK, at(1), 900.0)
    assert isinstance(alone, NoTrend) and alone.lack is Lack.NO_READING
    old = fuse(clipped, MARK, at(20), 900.0, SKY)
    assert isinstance(old, NoTrend)


@pytest.mark.parametrize("noise", [0.02, 0.05])
def test_sigmas_are_honest(noise: float) -> None:
    """Over many evenings the errors are as large as the trend says they are: chi square per evening about 1."""
    chance = random.Random(7)
    squares = []
    for _ in range(200):
        departs = chance.gauss(0.0, 0.015)
        readings = [reading(m, along_sky(m, departs) + chance.gauss(0, noise), noise) for m in (-6, -3, 0)]
        found = trend_of(readings, SKY)
        assert isinstance(found.forecast.solve(90.0, 60.0), OpenTime)
        at_min = np.linspace(1.0, 3.0, 101)
        error = np.mean([found.forecast.level_stops(60.0 * m) - along_sky(m, departs) for m in at_min]) + along_sky(0.0)
        squares.append(error**2 / sum(sigma**2 for sigma in found.sigmas(60.0, 180.0)))
    assert 0.3 < float(np.mean(squares)) < 1.5


def test_a_jump_that_is_not_believed_yet_is_no_sure_rate() -> None:
    """Clouds of half a stop that change within 2.5 min: of two readings they make a rate, and nobody knows if it lasts.

    The trend says that another reading is needed; what it says of its doubt has to be as large as the errors.
    """
    chance = random.Random(11)
    kept = math.exp(-1.0 / 25.0)
    squares = []
    for _ in range(300):
        clouds = [chance.gauss(0.0, 0.5)]
        for _ in range(60):
            clouds.append(kept * clouds[-1] + chance.gauss(0.0, 0.5 * math.sqrt(1.0 - kept**2)))
        readings = [reading(m, along_sky(m) + clouds[round(10 * m) + 30] + chance.gauss(0, 0.02)) for m in (-3, 0)]
        found = trend_of(readings, SKY)
        if "another reading" in (found.disagreement or ""):
            at_min = np.linspace(1.0, 3.0, 21)
            truth = [along_sky(m) + clouds[round(10 * m) + 30] for m in at_min]
            told = [found.forecast.level_stops(60.0 * m) + found.mark_stops for m in at_min]
            error = float(np.mean(np.subtract(told, truth)))
            squares.append(error**2 / sum(sigma**2 for sigma in found.sigmas(60.0, 180.0)))
    assert len(squares) > 40
    assert 0.4 < float(np.mean(squares)) < 3.0


def test_cloud_is_guessed_from_scatter() -> None:
    chance = random.Random(3)
    calm = trend_of([reading(m, along_sky(m) + chance.gauss(0, 0.02)) for m in range(-14, 1, 2)], SKY)
    torn = trend_of([reading(m, along_sky(m) + chance.gauss(0, 0.5)) for m in range(-14, 1, 2)], SKY)
    assert calm.cloud_stops < 0.2 < torn.cloud_stops
    assert torn.sigmas(60.0, 180.0)[1] > 3.0 * calm.sigmas(60.0, 180.0)[1]


def test_readings_in_order_and_their_level() -> None:
    rough, sure = reading(0, 1.0, 0.1), reading(0, 1.1, 0.01)
    assert in_order([rough, reading(-2, 0.0), sure]) == (reading(-2, 0.0), sure)
    # A mid-tone at f/8, 1/4 s, ISO 100 is EV 8 at ISO 100 (ISO 2720); through ten stops it is EV 18
    assert scene_level_stops(1.0, 8.0, 0.25, 100.0, 0.0) == pytest.approx(8.0)
    assert scene_level_stops(1.0, 8.0, 0.25, 100.0, 10.0) == pytest.approx(18.0)
    assert scene_level_stops(0.5, 8.0, 0.25, 200.0, 0.0) == pytest.approx(6.0)


def test_lamps_under_the_sky_are_found() -> None:
    """A town as bright as the sky at the newest reading: the light falls half as fast then, and less and less."""
    lit = LampLitShape(SKY, SKY.stops(MARK))
    chance = random.Random(2)
    readings = [reading(m, lit.stops(at(m)) + chance.gauss(0, 0.005), 0.005) for m in range(-16, 1, 2)]
    found = trend_of(readings, SKY)
    for minute in (2.0, 6.0):
        truth = lit.stops(at(minute)) - lit.stops(MARK)
        assert found.forecast.level_stops(60.0 * minute) == pytest.approx(truth, abs=0.03)
    assert lit.rate_stops_per_min(MARK) == pytest.approx(SKY.rate_stops_per_min(MARK) / 2.0)


def test_a_drop_that_came_to_stay_is_not_expected_back() -> None:
    levels = [0.0, 0.01, -0.02, -1.4, -3.0]
    readings = [reading(3.0 * i - 12, along_sky(3.0 * i - 12) + drop) for i, drop in enumerate(levels)]
    found = trend_of(readings, SKY)
    assert found.forecast.level_stops(120.0) < along_sky(2.0) - along_sky(0.0) + 0.3


def test_the_light_at_the_mark_is_told_in_the_readings_own_zero() -> None:
    readings = [Reading(MARK + timedelta(minutes=m), 7.0 - 0.2 * m, 0.01, "base") for m in (-6.0, -3.0, 0.0)]
    trend = fuse(readings, MARK, MARK + timedelta(minutes=1), 900.0)
    assert isinstance(trend, Trend)
    assert trend.mark_stops == pytest.approx(7.0, abs=0.01)


@pytest.mark.parametrize("zero", [-170.0, 0.0, 170.0])
@pytest.mark.parametrize("shape", [None, SKY])
def test_readings_may_have_any_zero(zero: float, shape: Shape | None) -> None:
    levels = {-6: 0.01, -4: -0.02, -2: 2.0, 0: 0.0}  # the third is a lamp
    plain, lifted = (
        trend_of([reading(m, along_sky(m) - along_sky(0) + off + up) for m, off in levels.items()], shape)
        for up in (0.0, zero)
    )
    assert len(plain.left_out) == len(lifted.left_out) == 1
    assert lifted.rate.value == pytest.approx(plain.rate.value, abs=1e-6)
    assert lifted.forecast.level_stops(300.0) == pytest.approx(plain.forecast.level_stops(300.0), abs=1e-6)
    assert lifted.mark_stops == pytest.approx(plain.mark_stops + zero, abs=1e-6)


def test_what_no_light_does_is_no_trend() -> None:
    # As told in lux by mistake: 150 and 12 six minutes apart would be 23 stops a minute
    lux = fuse([reading(-6, 150.0), reading(0, 12.0)], MARK, at(1), 900.0)
    assert isinstance(lux, NoTrend) and lux.lack is Lack.IMPLAUSIBLE and "−23 stops a minute" in lux.reason
    storm = trend_of([reading(-1, 5.0), reading(0, 0.0)])
    assert storm.rate.value == pytest.approx(-5.0, abs=0.1)


def test_under_torn_cloud_no_reading_is_odd() -> None:
    """Clouds of half a stop that change within minutes: a jump past 0.7 stop is one of them, and tells the light."""
    levels = [-0.31, 0.42, -0.55, 0.12, 0.62, -0.45]
    readings = [reading(3.0 * i - 15, along_sky(3.0 * i - 15) + cloud) for i, cloud in enumerate(levels)]
    found = trend_of(readings, SKY)
    assert found.left_out == () and found.cloud_stops > 0.3
    calm = [reading(3.0 * i - 15, along_sky(3.0 * i - 15) + cloud) for i, cloud in enumerate((0, 0, 0, 0, 0, -0.9))]
    assert len(trend_of(calm, SKY).left_out) == 1


def test_a_large_jump_of_two_readings_asks_for_a_third() -> None:
    lamp = trend_of([reading(-4, along_sky(-4)), reading(0, along_sky(0) + 0.9)], SKY)
    assert lamp.disagreement is not None and "another reading" in lamp.disagreement
    dusk = trend_of([reading(-6, 0.0), reading(0, -1.08)], SKY)
    assert dusk.disagreement is not None and "another reading" not in dusk.disagreement


def test_light_that_falls_fast_for_ever_is_never_enough() -> None:
    # 3 stop/min gathers at most 60 / (3 ln 2) = 28.9 s of the light at the opening (closed form).
    readings = [Reading(MARK - timedelta(seconds=6), 7.3, 0.005, "base"), Reading(MARK, 7.0, 0.005, "base")]
    trend = fuse(readings, MARK, MARK + timedelta(seconds=5), 900.0)
    assert isinstance(trend, Trend)
    found = trend.forecast.solve(64.0, 5.0)
    assert isinstance(found, Unfinishable)
    assert found.most_plain_s == pytest.approx(60.0 / (3.0 * math.log(2.0)) * 2.0 ** (-3.0 * 5.0 / 60.0), rel=0.05)
