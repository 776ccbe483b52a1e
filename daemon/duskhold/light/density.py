"""What a filter really takes, from frames bare - filtered - bare: stops per channel, cast, and how sure that is.

The light of the two bare frames is carried to the moment of the filtered one along a straight line in stops, which
at mid-time is their geometric mean; so a steady drift leaves no trace. True times, never the names on the dial.
"""

import math
from dataclasses import dataclass
from typing import Final

ASK_BEYOND_STOPS: Final = 0.25
"""A pair further from the stored value than this is asked about: common practice, no source."""
COUNT_SIGMA_STOPS: Final = 0.01
"""What a level repeats to when nothing better is known."""


@dataclass(frozen=True, slots=True)
class Exposed:
    """Mean levels above black in red, green, blue of a frame held `open_s` (true time), centred on `middle_s`.

    `sigma_stops` is the uncertainty of each level. `gain` is what else multiplies the exposure, such as an ISO of
    200 against 100 or a wider aperture: 2.
    """

    levels_rgb: tuple[float, float, float]
    open_s: float
    middle_s: float
    gain: float = 1.0
    sigma_stops: float = COUNT_SIGMA_STOPS


@dataclass(frozen=True, slots=True)
class Measured:
    """A filter as measured. Multipliers undo its cast relative to green. `drift_stops` is what the light did."""

    stops_rgb: tuple[float, float, float]
    sigma_stops: float
    cast_red: float
    cast_blue: float
    drift_stops: float
    bare_rgb: tuple[float, float, float]

    @property
    def stops(self) -> float:
        """The whole filter, by its green channel."""
        return self.stops_rgb[1]


class NotMeasurable(ValueError):
    """These frames give no density; the message says why."""


def measure_density(before: Exposed, filtered: Exposed, after: Exposed) -> Measured:
    """Stops of a filter from three frames in this order. Errors: NotMeasurable."""
    frames = (before, filtered, after)
    if any(level <= 0.0 for frame in frames for level in frame.levels_rgb):
        raise NotMeasurable("a channel has nothing above black; expose longer")
    if not before.middle_s < filtered.middle_s < after.middle_s:
        raise NotMeasurable("the frames are not in the order bare, filtered, bare")
    share = (filtered.middle_s - before.middle_s) / (after.middle_s - before.middle_s)
    first, middle, last = (_rates(frame) for frame in frames)
    bare = tuple(a + (b - a) * share for a, b in zip(first, last, strict=True))
    red, green, blue = (a - b for a, b in zip(bare, middle, strict=True))
    return Measured(
        stops_rgb=(red, green, blue),
        sigma_stops=_sigma(frames, share),
        cast_red=math.exp2(red - green),
        cast_blue=math.exp2(blue - green),
        drift_stops=last[1] - first[1],
        bare_rgb=_levels(bare, before.open_s * before.gain),
    )


def differs_stops(stored_stops: float, seen_stops: float) -> float | None:
    """How far a pair seen in the field is from the stored value, when that is worth asking about; else None."""
    off = seen_stops - stored_stops
    return off if abs(off) > ASK_BEYOND_STOPS else None


def seen_stops(base: Exposed, scout: Exposed, drift_stops: float = 0.0) -> float:
    """Stops between a base frame and one through the filter, green; `drift_stops` is what the light did between."""
    return _rates(base)[1] + drift_stops - _rates(scout)[1]


def _rates(frame: Exposed) -> tuple[float, float, float]:
    exposure = math.log2(frame.open_s * frame.gain)
    red, green, blue = (math.log2(level) - exposure for level in frame.levels_rgb)
    return red, green, blue


def _levels(rates: tuple[float, ...], exposure_s: float) -> tuple[float, float, float]:
    red, green, blue = (math.exp2(rate) * exposure_s for rate in rates)
    return red, green, blue


def _sigma(frames: tuple[Exposed, Exposed, Exposed], share: float) -> float:
    before, filtered, after = (frame.sigma_stops for frame in frames)
    return math.sqrt((before * (1.0 - share)) ** 2 + filtered**2 + (after * share) ** 2)
