"""The light after metering as one curve, whatever it is known from: second 0 and level 0 stop are the metering."""

import math
from datetime import UTC, datetime
from functools import lru_cache

from duskhold.light.forecast import Forecast
from duskhold.light.opentime import LONGEST_SEARCH_S
from duskhold.light.place import Place
from duskhold.light.skycurve import SkyCurve
from duskhold.light.skyshape import MODEL_RATE_SHARE, MODEL_RATE_SIGMA
from duskhold.plan.decision import Drift, SkyDrift, SteadyDrift, TrendDrift, curve_of

TYPED_RATE_SIGMA = 0.02
"""Uncertainty in stops per minute of a rate that a person states: common practice, no source."""
_NEAR_S, _NEAR_STEP_S, _FAR_STEP_S = 1200.0, 30.0, 120.0


def outlook(drift: Drift, metered_utc: datetime, opens_utc: datetime) -> Forecast:
    """The light to come for a frame that opens then."""
    if isinstance(drift, SteadyDrift):
        return Forecast.steady(0.0, 0.0, drift.rate_stops_per_min)
    if isinstance(drift, SkyDrift):
        return _sky_outlook(drift.place, metered_utc, (opens_utc - metered_utc).total_seconds())
    return curve_of(drift)


def change_sigma_stops(drift: Drift, rate_stops_per_min: float, opens_s: float, closes_s: float) -> tuple[float, float]:
    """Uncertainty in stops of the mean light of an opening against metering: by readings, by its change."""
    if isinstance(drift, TrendDrift):
        return drift.trend.sigmas(opens_s, closes_s)
    share = max(MODEL_RATE_SIGMA, MODEL_RATE_SHARE * abs(rate_stops_per_min))
    sigma = TYPED_RATE_SIGMA if isinstance(drift, SteadyDrift) else share
    return 0.0, sigma * (opens_s + closes_s) / 120.0


@lru_cache(maxsize=8)
def sky_of(place: Place, midnight_utc: datetime) -> SkyCurve:
    """One curve for a day: the frames of an evening share its knots and its integrals."""
    return SkyCurve(place, midnight_utc)


def midnight_before(at_utc: datetime) -> datetime:
    """UTC midnight of the same day."""
    return at_utc.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)


@lru_cache(maxsize=8)
def _sky_outlook(place: Place, metered_utc: datetime, delay_s: float) -> Forecast:
    zero_utc = midnight_before(metered_utc)
    sky, metered_s = sky_of(place, zero_utc), (metered_utc - zero_utc).total_seconds()
    at_s = [delay_s * step / 20.0 for step in range(20)] if delay_s > 0.0 else []
    at_s += [delay_s + _NEAR_STEP_S * step for step in range(round(_NEAR_S / _NEAR_STEP_S))]
    at_s += [delay_s + _NEAR_S + _FAR_STEP_S * step for step in range(round(LONGEST_SEARCH_S / _FAR_STEP_S) + 1)]
    at_metering = math.log2(sky.level(metered_s))
    return Forecast(at_s, [math.log2(sky.level(metered_s + each)) - at_metering for each in at_s], goes_on=False)
