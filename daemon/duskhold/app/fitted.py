"""What a base frame and one through the filter say of it: the stops that were seen against those that are stored."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from duskhold.light.density import ASK_BEYOND_STOPS
from duskhold.light.filters import Filter
from duskhold.plan.decision import Drift
from duskhold.plan.outlook import change_sigma_stops, outlook


@dataclass(frozen=True, slots=True)
class Fitted:
    """Stops of what is fitted, as the pair shows them and as stored; `light_sigma_stops` is what the light may hide."""

    label: str
    seen_stops: float
    stored_stops: float
    light_sigma_stops: float

    @property
    def off_stops(self) -> float:
        """How much stronger it is than stored."""
        return self.seen_stops - self.stored_stops

    @property
    def question(self) -> str | None:
        """What a person is to be asked; None when the pair agrees with what is stored within 0.25 stop."""
        if abs(self.off_stops) <= ASK_BEYOND_STOPS:
            return None
        what = f"the filter {self.label}" if self.stored_stops else "the lens bare"
        return f"is this {what}?"

    def body(self) -> dict[str, object]:
        """As the record has it."""
        return {
            "label": self.label,
            "seen_stops": self.seen_stops,
            "stored_stops": self.stored_stops,
            "off_stops": self.off_stops,
            "light_sigma_stops": self.light_sigma_stops,
            "question": self.question,
        }


@dataclass(frozen=True, slots=True)
class Through:
    """A frame through the filter: when it opened, its true time, and its level against the base frame in stops.

    `gain_stops` is what ISO and aperture add to its exposure over the base frame's, such as 6 for a scout frame.
    """

    opened_utc: datetime
    open_s: float
    level_stops: float
    gain_stops: float = 0.0


def look_at_filter(glass: Filter, base_s: float, metered_utc: datetime, through: Through, drift: Drift) -> Fitted:
    """Stops of the filter from a pair, with what the light did in between taken off as `drift` has it."""
    opens_s = max(0.0, (through.opened_utc - metered_utc).total_seconds())
    closes_s = opens_s + through.open_s
    light = outlook(drift, metered_utc, through.opened_utc)
    exposed_stops = math.log2(light.dose(opens_s, closes_s) / base_s) + through.gain_stops
    sigmas = change_sigma_stops(drift, light.rate_stops_per_min(opens_s), opens_s, closes_s)
    return Fitted(glass.label, exposed_stops - through.level_stops, glass.stops, math.hypot(*sigmas))
