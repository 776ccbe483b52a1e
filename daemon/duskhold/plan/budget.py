"""How far off a frame may be, in stops and by cause, and how likely it misses a tolerance.

Standard uncertainties, added as squares. What nobody measured has a starting value: common practice, no source,
except the label of a filter, whose density may be 10 % off (a published specification of gelatin filters).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from duskhold.light.filters import Filter
from duskhold.plan.decision import Drift, ExposureDecision, TrendDrift
from duskhold.plan.outlook import change_sigma_stops

MEASURED_FILTER_SIGMA_STOPS: Final = 0.03
LABEL_SIGMA_SHARE: Final = 0.1 / math.sqrt(3.0)
DIAL_READING_SIGMA_STOPS: Final = (1.0 / 3.0) / math.sqrt(12.0)
"""A base time taken from a dial in third stops is right to half a click."""
LATENCY_SIGMA_S: Final = 0.05
"""Spread of opening and closing over the lead, until the body has been timed."""
TOLERANCE_STOPS: Final = 1.0 / 3.0
"""What is not seen in a raw file: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Budget:
    """Standard uncertainties in stops of the finished frame."""

    reading: float
    rate: float
    filter: float
    latency: float

    @property
    def total(self) -> float:
        """All together."""
        return math.sqrt(self.reading**2 + self.rate**2 + self.filter**2 + self.latency**2)

    def miss_probability(self, tolerance_stops: float, off_stops: float = 0.0) -> float:
        """How likely the frame is further off than the tolerance, when it is meant to be off by `off_stops`."""
        if self.total == 0.0:
            return float(abs(off_stops) > tolerance_stops)
        over, under = ((tolerance_stops + sign * off_stops) / self.total for sign in (-1.0, 1.0))
        return 0.5 * (math.erfc(over / math.sqrt(2.0)) + math.erfc(under / math.sqrt(2.0)))


def budget_of(
    decision: ExposureDecision,
    drift: Drift,
    filters: Sequence[Filter],
    latency_sigma_s: float = LATENCY_SIGMA_S,
    filter_sigma: float | None = None,
) -> Budget | None:
    """The budget of a decision; None when there is no open time.

    `filter_sigma` is how well the filters are known together, in stops, where a bag tells; else their labels do.
    """
    if decision.open_s is None:
        return None
    closes_s = decision.delay_s + decision.open_s
    read, change = change_sigma_stops(drift, decision.rate_stops_per_min, decision.delay_s, closes_s)
    return Budget(
        reading=math.hypot(read, _metering_sigma(drift, decision.reading.metered_utc)),
        rate=change,
        filter=math.hypot(*map(filter_sigma_stops, filters)) if filter_sigma is None else filter_sigma,
        latency=latency_sigma_s / decision.open_s / math.log(2.0),
    )


def filter_sigma_stops(one: Filter) -> float:
    """A measured filter (channels, or stops with a decimal that nobody engraves) is better known than a label."""
    is_measured = one.stops_rgb is not None or ("." in one.label and one.label[0].isdigit())
    return MEASURED_FILTER_SIGMA_STOPS if is_measured else LABEL_SIGMA_SHARE * one.stops


def _metering_sigma(drift: Drift, metered_utc: datetime) -> float:
    """The reading taken of the base frame itself, if there is one; else the dial's."""
    if not isinstance(drift, TrendDrift):
        return DIAL_READING_SIGMA_STOPS
    nearest = min(drift.trend.used, key=lambda each: abs((each.taken_utc - metered_utc).total_seconds()))
    return nearest.sigma_stops
