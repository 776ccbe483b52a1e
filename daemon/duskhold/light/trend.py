"""Readings and the sky's shape fused into one trend: level, rate and curvature, and the light to come.

Measured light wins over modelled. While both agree the sky gives the shape between and after the readings; when the
measured rate departs from it, the sky is set aside and the measured rate is carried on. From four readings on, the
weather itself is guessed from how they scatter.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

import numpy as np

from duskhold.light.filterbank import BEND, CLOUD, LEVEL, MARK, RATE, FilterBank, Guess, Numbers, lasting, noises
from duskhold.light.forecast import Forecast
from duskhold.light.gate import ODD_STOPS, PRICE_OF_LEAVING_OUT, LeftOut, Point, believe
from duskhold.light.reading import LARGEST_RATE_STOPS_PER_MIN, Reading, in_order
from duskhold.light.sign import signed
from duskhold.light.skyshape import MODEL_RATE_SHARE, MODEL_RATE_SIGMA, LampLitShape, Shape

WINDOW_MIN: Final = 45.0
"""Readings older than this, seen from the newest, say nothing about the light to come."""
WEATHER_FROM_READINGS: Final = 4
_DISAGREE_SIGMAS = 2.0
_BEND_LASTS_MIN = 10.0
_ROUNDS = 4
_RATE_LASTS_MIN = 30.0
_NEAR_KNOTS_MIN = [step / 2.0 for step in range(41)]
_FAR_KNOTS_MIN = [20.0 + 2.0 * step for step in range(1, 81)]
_NODES = ((-math.sqrt(0.6), 5 / 18), (0.0, 8 / 18), (math.sqrt(0.6), 5 / 18))
_CAUSES = "check the clock and the place; else cloud, or ground that hides or shows part of the sky"
_UNCONFIRMED = "; so large a jump may be a lamp or a flash of sun: take another reading before it is believed"
_CLOUDS = tuple((stops, minutes) for stops in (0.1, 0.25, 0.5, 1.0) for minutes in (1.0, 3.0, 8.0))


class Choice(StrEnum):
    """Whose word is taken for how the light goes on."""

    MEASURED = "measured"
    FUSED = "fused"
    MODEL = "model"


class Lack(StrEnum):
    """Why there is no trend."""

    NO_READING = "no_reading"
    STALE = "reading_too_old"
    NO_RATE = "no_rate"
    IMPLAUSIBLE = "readings_implausible"


@dataclass(frozen=True, slots=True)
class NoTrend:
    """The readings do not tell how the light goes on, and why."""

    lack: Lack
    reason: str


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value and its standard uncertainty."""

    value: float
    sigma: float


@dataclass(frozen=True, slots=True)
class Trend:
    """How the light goes, seen at `newest_utc`: level in stops against the mark, rate per minute, curvature.

    `forecast` has its second 0, and level 0 stops, at the mark, where the light was `mark_stops` in the readings' own
    zero. `measured_rate` is that of the readings alone, `model_rate` that of the sky; `disagreement` says what to check
    when they differ. `sky` is the clear sky's shape. `doubted` weighs the same readings by what weather may do, where
    their jump is not believed before another one confirms it.
    """

    choice: Choice
    mark_utc: datetime
    newest_utc: datetime
    used: tuple[Reading, ...]
    left_out: tuple[LeftOut, ...]
    level: Estimate
    rate: Estimate
    bend: Estimate
    measured_rate: Estimate | None
    model_rate: float | None
    disagreement: str | None
    cloud_stops: float
    mark_stops: float
    forecast: Forecast
    bank: FilterBank
    sky: Shape | None = None
    doubted: FilterBank | None = None

    def sigmas(self, opens_s: float, closes_s: float) -> tuple[float, float]:
        """Uncertainty in stops of the mean light of an opening against the mark: by the readings, by its change."""
        read, change = _sigmas(self.bank, opens_s, closes_s)
        doubt = 0.0 if self.doubted is None else math.hypot(*_sigmas(self.doubted, opens_s, closes_s))
        return read, max(change, doubt)


def fuse(
    readings: Sequence[Reading], mark_utc: datetime, opens_utc: datetime, age_max_s: float, shape: Shape | None = None
) -> Trend | NoTrend:
    """The trend for an opening at `opens_utc` of what was metered at `mark_utc`; later readings are not looked at.

    Clipped ones are left out. Where there is no other that is young enough, the sky's shape goes on from the newest of
    them: how bright it is nobody knows, how it changes the shape still tells.
    """
    seen = [each for each in in_order(readings) if each.taken_utc <= opens_utc]
    young = [each for each in seen if (opens_utc - each.taken_utc).total_seconds() <= age_max_s]
    past = [each for each in seen if not each.at_least]
    if shape is not None and young and all(each.at_least for each in young):
        past = young[-1:]
    clipped = [LeftOut(each, "clipped: at least this bright") for each in seen if each.at_least and each not in past]
    if not past:
        return NoTrend(Lack.NO_READING, "no reading before the opening tells a level")
    newest_utc = past[-1].taken_utc
    age_s = (opens_utc - newest_utc).total_seconds()
    if age_s > age_max_s:
        return NoTrend(
            Lack.STALE, f"the newest reading is {age_s:.0f} s old at the opening; {age_max_s:g} s is allowed"
        )
    recent = [each for each in past if (newest_utc - each.taken_utc) <= timedelta(minutes=WINDOW_MIN)]
    # Readings have any zero; the filters know levels to some tens of stops about theirs, so they are given the newest.
    zero = past[-1].level_stops - (shape.stops(newest_utc) if shape else 0.0)
    points = [_point(each, mark_utc, shape, zero) for each in recent]
    kept, odd = _believed(points, shape)
    if len(kept) < 2 and shape is None:
        return NoTrend(Lack.NO_RATE, "one reading tells no rate: take another some minutes later, or give the place")
    found = _fused(kept, (*clipped, *odd), mark_utc, shape, len(points))
    if abs(found.rate.value) > LARGEST_RATE_STOPS_PER_MIN:
        said = f"the readings change by {signed(found.rate.value, 0)} stops a minute, which no light does"
        return NoTrend(Lack.IMPLAUSIBLE, f"{said}: check their times, and whether they are in stops")
    return replace(found, sky=shape, mark_stops=found.mark_stops + zero)


def _believed(points: Sequence[Point], shape: Shape | None) -> tuple[Sequence[Point], tuple[LeftOut, ...]]:
    """The points to use; under torn cloud a reading that looks odd by itself is no odder than its sky."""
    kept, odd = believe(points)
    if not odd or len(points) < WEATHER_FROM_READINGS:
        return kept, odd
    guesses = _guesses(0.5, 0.004, None, len(points)) if shape is None else _weathers(MODEL_RATE_SIGMA)
    lost = PRICE_OF_LEAVING_OUT * len(odd)
    return (points, ()) if _run(guesses, points).evidence() > _run(guesses, kept).evidence() - lost else (kept, odd)


def _fused(
    kept: Sequence[Point], left_out: tuple[LeftOut, ...], mark_utc: datetime, shape: Shape | None, count: int
) -> Trend:
    kept = _straightened(kept, mark_utc, shape)
    line = _run(_guesses(0.5, 0.004, None, len(kept)), _alone(kept, mark_utc, shape))
    measured = _estimate(line, RATE) if len(kept) > 1 else None
    newest_utc = kept[-1].reading.taken_utc
    if shape is None:
        return _trend(Choice.MEASURED, line, None, kept, left_out, mark_utc, measured, None, None)
    model_rate = shape.rate_stops_per_min(newest_utc)
    rate_sigma = max(MODEL_RATE_SIGMA, MODEL_RATE_SHARE * abs(model_rate))
    if count >= WEATHER_FROM_READINGS:
        shape, kept = _lit_by_lamps(shape, kept, mark_utc, rate_sigma)
        bank = _run(_weathers(rate_sigma), kept)
        departing = float(bank.weights()[_DEPARTING].sum())
        said = _said(measured, model_rate) if departing > 0.5 else None
        choice = Choice.MEASURED if said else Choice.FUSED
        return _trend(choice, bank, shape, kept, left_out, mark_utc, measured, model_rate, said)
    departs = _estimate(_run(_guesses(0.5, 0.0, None, len(kept)), kept), RATE)
    if measured and abs(departs.value) > _DISAGREE_SIGMAS * math.hypot(departs.sigma, rate_sigma):
        jump_stops = departs.value * (kept[-1].at_min - kept[0].at_min)
        unsure = _UNCONFIRMED if abs(jump_stops) > ODD_STOPS else ""
        said = f"{_said(measured, model_rate)}{unsure}"
        found = _trend(Choice.MEASURED, line, None, kept, left_out, mark_utc, measured, model_rate, said)
        return replace(found, doubted=_run(_weathers(rate_sigma), kept) if unsure else None)
    bank = _run(_guesses(rate_sigma, 0.0, _RATE_LASTS_MIN, len(kept)), kept)
    choice = Choice.FUSED if measured else Choice.MODEL
    return _trend(choice, bank, shape, kept, left_out, mark_utc, measured, model_rate, None)


def _said(measured: Estimate | None, model_rate: float) -> str | None:
    if measured is None:
        return None
    return f"measured {signed(measured.value, 3)}, clear sky {signed(model_rate, 3)} stop/min: {_CAUSES}"


def _lit_by_lamps(
    shape: Shape, kept: Sequence[Point], mark_utc: datetime, rate_sigma: float
) -> tuple[Shape, Sequence[Point]]:
    """The sky with as much unfading light under it as the readings ask for; the sky alone unless they ask clearly."""
    alone, newest = _alone(kept, mark_utc, shape), shape.stops(kept[-1].reading.taken_utc)
    guesses = _weathers(rate_sigma)
    best, best_log = (shape, kept), _run(guesses, kept).evidence() + _LAMPS_ASKED_BY
    for over_stops in _LAMPS_STOPS:
        lit = LampLitShape(shape, newest + over_stops)
        points = [replace(p, stops=p.stops - lit.stops(_utc(mark_utc, p.at_min))) for p in alone]
        log = _run(guesses, points).evidence()
        if log > best_log:
            best, best_log = (lit, points), log
    return best


_LAMPS_STOPS = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0)
_LAMPS_ASKED_BY = 3.0
_DEPARTING = slice(1, 4)


def _weathers(rate_sigma: float) -> tuple[Guess, ...]:
    """Along the sky; along it but for weather or ground that changes the rate for a while; under wandering cloud."""
    prior = 0.6 / len(_CLOUDS)
    return (
        Guess(0.5, rate_sigma, rate_lasts_min=_RATE_LASTS_MIN),
        Guess(0.07, 0.15, rate_lasts_min=_RATE_LASTS_MIN),
        Guess(0.07, 0.3, rate_lasts_min=6.0),
        Guess(0.06, 0.1, wander=0.2, rate_lasts_min=4.0),
        Guess(0.05, rate_sigma, 0.0, 0.0, 2.0, 90.0, _RATE_LASTS_MIN),
        Guess(0.03, rate_sigma, 0.0, 0.0, 5.0, 90.0, _RATE_LASTS_MIN),
        *(Guess(prior, rate_sigma, 0.0, 0.0, stops, minutes, _RATE_LASTS_MIN) for stops, minutes in _CLOUDS),
    )


def _straightened(kept: Sequence[Point], mark_utc: datetime, shape: Shape | None) -> Sequence[Point]:
    """A long frame's mean light is more than the light at its middle, by log2(sinh x / x), x = ln 2 r T / 2."""
    if all(point.reading.span_s == 0.0 for point in kept):
        return kept
    straight = kept
    for _ in range(_ROUNDS):
        line = _run(_guesses(0.5, 0.004, None, 0), _alone(straight, mark_utc, shape))
        half_rate = _estimate(line, RATE).value * math.log(2.0) / 120.0
        straight = [replace(p, stops=p.stops - _convexity(half_rate * p.reading.span_s)) for p in kept]
    return straight


_FARTHEST_STOPS = 300.0
"""Two readings seconds apart, one of them of a lamp, foretell for the end of the night what no number can say."""


def _convexity(x: float) -> float:
    return math.log2(math.sinh(x) / x) if abs(x) > 1e-6 else 0.0


def _alone(kept: Sequence[Point], mark_utc: datetime, shape: Shape | None) -> Sequence[Point]:
    """The readings as they were, without a sky taken off."""
    if shape is None:
        return kept
    return [replace(p, stops=p.stops + shape.stops(_utc(mark_utc, p.at_min))) for p in kept]


def _guesses(rate_sigma: float, bend_sigma: float, lasts_min: float | None, count: int) -> tuple[Guess, ...]:
    plain = Guess(0.6, rate_sigma, bend_sigma, rate_lasts_min=lasts_min)
    if count < WEATHER_FROM_READINGS:
        return (plain,)
    turning = Guess(0.1, rate_sigma, bend_sigma, wander=0.06, rate_lasts_min=lasts_min)
    prior = 0.6 / len(_CLOUDS)
    cloudy = (Guess(prior, min(rate_sigma, 0.1), 0.0, 0.0, stops, minutes, lasts_min) for stops, minutes in _CLOUDS)
    return (plain, turning, *cloudy)


def _run(guesses: tuple[Guess, ...], points: Sequence[Point]) -> FilterBank:
    """The bank after all points and the mark (minute 0), whichever comes first."""
    bank = FilterBank(guesses, min(0.0, points[0].at_min))
    marked = False
    for point in points:
        if not marked and point.at_min > 0.0:
            bank.advance(0.0)
            bank.mark()
            marked = True
        bank.advance(point.at_min)
        bank.learn(point.stops, point.reading.sigma_stops)
    if not marked:
        bank.advance(0.0)
        bank.mark()
    return bank


def _trend(
    choice: Choice, bank: FilterBank, shape: Shape | None, kept: Sequence[Point], left_out: tuple[LeftOut, ...],
    mark_utc: datetime, measured: Estimate | None, model_rate: float | None, disagreement: str | None,
) -> Trend:  # fmt: skip
    at_utc = _utc(mark_utc, bank.at_min)
    own = _estimate(bank, RATE)
    sky_rate = shape.rate_stops_per_min(at_utc) if shape else 0.0
    clouds = np.array([guess.cloud_stops for guess in bank.guesses])
    return Trend(
        choice=choice,
        mark_utc=mark_utc,
        newest_utc=kept[-1].reading.taken_utc,
        used=tuple(point.reading for point in kept),
        left_out=left_out,
        level=_level(bank, shape, mark_utc),
        rate=Estimate(sky_rate + own.value, own.sigma),
        bend=_bend(bank, shape, at_utc),
        measured_rate=measured,
        model_rate=model_rate,
        disagreement=disagreement,
        cloud_stops=math.sqrt(float(bank.weights() @ clouds**2)),
        mark_stops=_estimate(bank, MARK).value + (shape.stops(mark_utc) if shape else 0.0),
        forecast=_forecast(bank, shape, mark_utc),
        bank=bank,
    )


def _forecast(bank: FilterBank, shape: Shape | None, mark_utc: datetime) -> Forecast:
    knots = _NEAR_KNOTS_MIN + _FAR_KNOTS_MIN
    gains = np.einsum("h,khi,hi->k", bank.weights(), _rows_at(bank, knots), bank.mean) + _unevenness(bank, knots)
    stops = [float(gain) for gain in gains]
    if shape is not None:
        sky = [shape.stops(_utc(mark_utc, bank.at_min + gone_min)) for gone_min in knots]
        at_mark = shape.stops(mark_utc)
        stops = [gain + own - at_mark for gain, own in zip(stops, sky, strict=True)]
    at_s = [(bank.at_min + gone_min) * 60.0 for gone_min in knots]
    # The knots end there, and the last rate goes on: a curve that stood still instead would make "never" finishable.
    known = next((index for index, one in enumerate(stops) if abs(one) > _FARTHEST_STOPS), len(stops))
    count = max(2, known)
    stops = [max(-_FARTHEST_STOPS, min(_FARTHEST_STOPS, one)) for one in stops[:count]]
    return Forecast(at_s[:count], stops, goes_on=shape is None)


def _unevenness(bank: FilterBank, gone_min: Sequence[float]) -> Numbers:
    """Light that varies within an opening sums to more than its median: ln 2 / 2 of the variance that evens out."""
    gone = np.asarray(gone_min)
    found = np.zeros_like(gone)
    for weight, guess in zip(bank.weights(), bank.guesses, strict=True):
        spread = guess.cloud_stops**2 * -np.expm1(-2.0 * gone / guess.cloud_min)
        found += weight * spread * (1.0 - _evened(2.0 * gone / guess.cloud_min))
    return np.asarray(0.5 * math.log(2.0) * found, dtype=np.float64)


def _evened(x: Numbers) -> Numbers:
    """Share of a cloud's variance that is left in a mean over x of its times."""
    safe = np.maximum(x, 1e-6)
    return np.where(x > 1e-6, 2.0 / safe * (1.0 + np.expm1(-safe) / safe), 1.0)


def _rows_at(bank: FilterBank, gone_min: Sequence[float]) -> Numbers:
    """For each time and guess, what the light minus the mark is made of."""
    rows = np.zeros((len(gone_min), len(bank.guesses), 5))
    rows[:, :, LEVEL], rows[:, :, MARK] = 1.0, -1.0
    gone = np.asarray(gone_min)
    bent = np.minimum(gone, _BEND_LASTS_MIN)
    for index, guess in enumerate(bank.guesses):
        rows[:, index, RATE] = [lasting(guess, each)[1] for each in gone_min]
        # A curvature measured over minutes is no law for hours: it ends, and the rate that it made goes on.
        rows[:, index, BEND] = bent**2 / 2.0 + bent * (gone - bent)
        rows[:, index, CLOUD] = np.exp(-gone / guess.cloud_min)
    return rows


def _rows(bank: FilterBank, from_min: float, to_min: float) -> Numbers:
    """The same as a mean over an opening."""
    middle, half = (from_min + to_min) / 2.0, (to_min - from_min) / 2.0
    rows = _rows_at(bank, [middle + half * node for node, _ in _NODES])
    return np.asarray(np.einsum("k,khi->hi", np.array([weight for _, weight in _NODES]), rows), dtype=np.float64)


def _sigmas(bank: FilterBank, opens_s: float, closes_s: float) -> tuple[float, float]:
    base_s = bank.at_min * 60.0
    rows = _rows(bank, (opens_s - base_s) / 60.0, (closes_s - base_s) / 60.0)
    level_rows = rows.copy()
    level_rows[:, [RATE, BEND]] = 0.0
    total, read = (np.einsum("hi,hij,hj->h", each, bank.spread, each) for each in (rows, level_rows))
    means, weights = np.einsum("hi,hi->h", rows, bank.mean), bank.weights()
    unlike = float(weights @ (means - weights @ means) ** 2)
    wander = _wander(bank, (opens_s - base_s) / 60.0, (closes_s - base_s) / 60.0)
    change = float(weights @ (np.maximum(total - read, 0.0) + wander)) + unlike
    return math.sqrt(max(0.0, float(weights @ read))), math.sqrt(change)


def _wander(bank: FilterBank, from_min: float, to_min: float) -> Numbers:
    """Variance of the mean of what each guess's randomness does until then."""
    middle_min, open_min = (from_min + to_min) / 2.0, to_min - from_min
    added = noises(bank.guesses, max(0.0, middle_min))
    found = added[:, LEVEL, LEVEL].copy()
    for index, guess in enumerate(bank.guesses):
        found[index] += added[index, CLOUD, CLOUD] * float(_evened(np.array(open_min / guess.cloud_min)))
    return found


def _estimate(bank: FilterBank, part: int) -> Estimate:
    weights = bank.weights()
    value = float(weights @ bank.mean[:, part])
    variance = float(weights @ (bank.spread[:, part, part] + (bank.mean[:, part] - value) ** 2))
    return Estimate(value, math.sqrt(max(0.0, variance)))


def _level(bank: FilterBank, shape: Shape | None, mark_utc: datetime) -> Estimate:
    row = np.array([1.0, 0.0, 0.0, 1.0, -1.0])
    weights, means = bank.weights(), bank.mean @ row
    value = float(weights @ means)
    variance = float(weights @ (np.einsum("i,hij,j->h", row, bank.spread, row) + (means - value) ** 2))
    sky = shape.stops(_utc(mark_utc, bank.at_min)) - shape.stops(mark_utc) if shape else 0.0
    return Estimate(sky + value, math.sqrt(max(0.0, variance)))


def _bend(bank: FilterBank, shape: Shape | None, at_utc: datetime) -> Estimate:
    own = _estimate(bank, BEND)
    if shape is None:
        return own
    minute = timedelta(minutes=1)
    sky = (shape.rate_stops_per_min(at_utc + minute) - shape.rate_stops_per_min(at_utc - minute)) / 2.0
    return Estimate(own.value + sky, own.sigma)


def _point(reading: Reading, mark_utc: datetime, shape: Shape | None, zero: float) -> Point:
    at_min = (reading.taken_utc - mark_utc).total_seconds() / 60.0
    sky = shape.stops(reading.taken_utc) if shape else 0.0
    return Point(at_min, reading.level_stops - sky - zero, reading)


def _utc(mark_utc: datetime, at_min: float) -> datetime:
    return mark_utc + timedelta(minutes=at_min)
