"""From a metered base exposure to the time to hold the shutter: pure, and decided by nobody else."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING

from duskhold.light.forecast import Forecast
from duskhold.light.opentime import (
    LONGEST_SEARCH_S,
    OpenTime,
    Unfinishable,
    constant_error_stops,
    curve_error_stops,
    solve_constant,
    solve_curve,
)
from duskhold.light.place import Place
from duskhold.light.skycurve import SkyCurve
from duskhold.plan.lean import UPRIGHT, Lean
from duskhold.plan.limits import Limits

if TYPE_CHECKING:
    from duskhold.light.trend import Trend

LONGEST_HELD_ERROR_S = 86400.0
"""Past a day of holding, the error of not correcting is not worked out along the sky."""


@dataclass(frozen=True, slots=True)
class LightReading:
    """A metered base exposure: `base_s` (true time) was right for the light at `metered_utc`, filters off."""

    base_s: float
    metered_utc: datetime


@dataclass(frozen=True, slots=True)
class Change:
    """What differs between the base exposure and the long one, in stops.

    Filters and a smaller aperture cost time (positive costs), a higher ISO saves it (positive saves).
    """

    filter_stops: float = 0.0
    aperture_stops: float = 0.0
    iso_stops: float = 0.0

    @property
    def cost_stops(self) -> float:
        """Stops of time that the change costs in all."""
        return self.filter_stops + self.aperture_stops - self.iso_stops


@dataclass(frozen=True, slots=True)
class SteadyDrift:
    """The light changes by a constant rate; positive = brightening."""

    rate_stops_per_min: float


@dataclass(frozen=True, slots=True)
class SkyDrift:
    """The light follows the clear sky of a place, sun and moon."""

    place: Place


@dataclass(frozen=True, slots=True)
class TrendDrift:
    """The light goes on as readings and the sky's shape have it; the trend's mark is the metering."""

    trend: "Trend"


@dataclass(frozen=True, slots=True)
class CurveDrift:
    """The light goes on as this curve has it; its second 0 is the metering."""

    forecast: Forecast


Drift = SteadyDrift | SkyDrift | TrendDrift | CurveDrift


@dataclass(frozen=True, slots=True)
class ExposureDecision:
    """The answer to one question of exposure. Times in seconds, errors and corrections in stops, positive = more.

    `open_s`, `closes_utc` and `correction_stops` are None when the light does not suffice; then `shortfall_stops`
    is positive and `reason` says why. `most_plain_s` is None when there is no upper limit.
    `uncorrected_error_stops` is what holding `plain_s` would give. `limits_exceeded` names policy limits.
    """

    reading: LightReading
    opens_utc: datetime
    plain_s: float
    delay_s: float
    rate_stops_per_min: float
    open_s: float | None
    closes_utc: datetime | None
    correction_stops: float | None
    finishable: bool
    most_plain_s: float | None
    shortfall_stops: float
    uncorrected_error_stops: float | None
    limits_exceeded: tuple[str, ...]
    reason: str | None

    @property
    def base_s(self) -> float:
        """True time of the base exposure."""
        return self.reading.base_s


def solve(
    reading: LightReading, change: Change, drift: Drift, opens_utc: datetime, limits: Limits, lean: Lean = UPRIGHT
) -> ExposureDecision:
    """Decide how long to hold the shutter that opens at `opens_utc`; the opening is not before the metering.

    Limits never change the time: one that it passes is named in `limits_exceeded`. `lean` does, on purpose.
    """
    delay_s = (opens_utc - reading.metered_utc).total_seconds()
    assert delay_s >= 0.0, "the shutter opens after the metering"
    plain_s = reading.base_s * math.exp2(change.cost_stops)
    found, rate, error_stops = _along(drift, reading.metered_utc, plain_s, delay_s)
    leaning_stops = lean.stops(rate)
    if leaning_stops:
        found = _along(drift, reading.metered_utc, plain_s * math.exp2(leaning_stops), delay_s)[0]
    open_s = found.open_s if isinstance(found, OpenTime) else None
    correction_stops = math.log2(open_s / plain_s) if open_s is not None else None
    return ExposureDecision(
        reading=reading,
        opens_utc=opens_utc,
        plain_s=plain_s,
        delay_s=delay_s,
        rate_stops_per_min=rate,
        open_s=open_s,
        closes_utc=_after(opens_utc, open_s),
        correction_stops=correction_stops,
        finishable=open_s is not None,
        most_plain_s=found.most_plain_s,
        shortfall_stops=found.shortfall_stops if isinstance(found, Unfinishable) else 0.0,
        uncorrected_error_stops=error_stops,
        limits_exceeded=exceeded(open_s, correction_stops, delay_s, limits),
        reason=_reason(found, error_stops),
    )


def light_stops_since(drift: Drift, metered_utc: datetime, at_utc: datetime) -> float:
    """How much brighter the light is at `at_utc` than at the metering, in stops; negative where it has faded."""
    after_s = (at_utc - metered_utc).total_seconds()
    if isinstance(drift, SteadyDrift):
        return drift.rate_stops_per_min * after_s / 60.0
    if not isinstance(drift, SkyDrift):
        # Its level 0 is the metering already; a curve that begins later is not to be carried back to second 0.
        return curve_of(drift).level_stops(after_s)
    sky, metered_s = _sky_since_midnight(drift.place, metered_utc)
    return math.log2(sky.level(metered_s + after_s) / sky.level(metered_s))


def curve_of(drift: TrendDrift | CurveDrift) -> Forecast:
    """The curve that such a drift follows."""
    return drift.forecast if isinstance(drift, CurveDrift) else drift.trend.forecast


def _along(
    drift: Drift, metered_utc: datetime, plain_s: float, delay_s: float
) -> tuple[OpenTime | Unfinishable, float, float | None]:
    if isinstance(drift, (TrendDrift, CurveDrift)):
        return _along_curve(curve_of(drift), plain_s, delay_s)
    if isinstance(drift, SteadyDrift):
        rate = drift.rate_stops_per_min
        error_stops = constant_error_stops(rate, plain_s, delay_s, plain_s)
        return solve_constant(rate, plain_s, delay_s), rate, error_stops
    sky, metered_s = _sky_since_midnight(drift.place, metered_utc)
    opens_s = metered_s + delay_s
    found = solve_curve(sky, plain_s, metered_s, opens_s)
    error = None
    if plain_s <= LONGEST_HELD_ERROR_S:
        error = curve_error_stops(sky, plain_s, metered_s, opens_s, plain_s)
    return found, sky.rate_stops_per_min(opens_s), error


def _along_curve(
    forecast: Forecast, plain_s: float, delay_s: float
) -> tuple[OpenTime | Unfinishable, float, float | None]:
    error = None
    if plain_s <= LONGEST_HELD_ERROR_S:
        error = math.log2(forecast.dose(delay_s, delay_s + plain_s) / plain_s)
    return forecast.solve(plain_s, delay_s), forecast.rate_stops_per_min(delay_s), error


def _sky_since_midnight(place: Place, at_utc: datetime) -> tuple[SkyCurve, float]:
    midnight = at_utc.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return _sky(place, midnight), (at_utc - midnight).total_seconds()


@lru_cache(maxsize=4)
def _sky(place: Place, midnight_utc: datetime) -> SkyCurve:
    # One curve for a day: the frames of an evening share its knots and its integrals.
    return SkyCurve(place, midnight_utc)


_NO_CALENDAR_S = 1e10


def _after(opens_utc: datetime, open_s: float | None) -> datetime | None:
    """None, too, for a time that no calendar holds."""
    return None if open_s is None or open_s > _NO_CALENDAR_S else opens_utc + timedelta(seconds=open_s)


def exceeded(open_s: float | None, correction_stops: float | None, delay_s: float, limits: Limits) -> tuple[str, ...]:
    """Names of the limits that a frame passes; `delay_s` is from the metering to its opening."""
    tests = {
        "longest_s": open_s is not None and open_s > limits.longest_s,
        "shortest_s": open_s is not None and open_s < limits.shortest_s,
        "correction_max_stops": (correction_stops is not None and abs(correction_stops) > limits.correction_max_stops),
        "reading_age_max_s": delay_s > limits.reading_age_max_s,
    }
    return tuple(name for name, is_exceeded in tests.items() if is_exceeded)


def _reason(found: OpenTime | Unfinishable, error_stops: float | None) -> str | None:
    said = []
    if isinstance(found, Unfinishable):
        within = "however long it is held" if found.within_s is None else f"within {LONGEST_SEARCH_S:.0f} s"
        said.append(
            f"the light does not suffice {within}: {found.most_plain_s:.1f} s as metered can be gathered, "
            f"short by {found.shortfall_stops:.2f} stop"
        )
    elif found.most_plain_s is None:
        said.append("the light is not fading: no longest plain time")
    if error_stops is None:
        said.append("a plain time of more than a day: its error is not worked out")
    return "; ".join(said) or None
