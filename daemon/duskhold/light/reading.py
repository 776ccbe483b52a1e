"""A light reading: how bright an area of the scene was at a moment, and how sure that is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

LARGEST_RATE_STOPS_PER_MIN: Final = 10.0
"""No light that a frame is exposed by changes faster: what does is a lamp, or a mistake of time or unit."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Scene light in stops (log2, any fixed zero; positive = brighter), as a mean over `span_s` around `taken_utc`.

    `sigma_stops` is its standard uncertainty. With `at_least` the frame was clipped and the light may have been
    brighter. `source` says what gave it, such as "base" or "long".
    """

    taken_utc: datetime
    level_stops: float
    sigma_stops: float
    source: str
    span_s: float = 0.0
    at_least: bool = False

    def __post_init__(self) -> None:
        assert self.taken_utc.utcoffset() is not None, "a moment without an offset is not a moment"
        assert math.isfinite(self.level_stops) and self.sigma_stops > 0.0, "a reading is a number with an uncertainty"
        assert self.span_s >= 0.0, "a span is no less than nothing"


def scene_level_stops(
    share_of_mid_tone: float, f_number: float, open_s: float, iso: float, glass_stops: float
) -> float:
    """Level of an area whose mean is this multiple of a mid-tone: its EV at ISO 100, as a meter would say.

    `open_s` is the true time; `glass_stops` what filters took. log2(N^2 / t x 100 / S) plus the two.
    """
    exposure = 2.0 * math.log2(f_number) - math.log2(open_s) + math.log2(100.0 / iso)
    return exposure + math.log2(share_of_mid_tone) + glass_stops


def in_order(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """By time; of several at one instant, the surest."""
    by_time: dict[datetime, Reading] = {}
    for reading in sorted(readings, key=lambda each: (each.taken_utc, -each.sigma_stops)):
        by_time[reading.taken_utc] = reading
    return tuple(by_time.values())
