"""The clear sky of a place as a shape in stops over UTC, for the trend to lean on."""

import math
from datetime import datetime
from typing import Final, Protocol

from duskhold.light.skycurve import SkyCurve

MODEL_RATE_SHARE: Final = 0.15
"""A clear sky's rate in one direction of view differs from that on level ground by about this share."""
MODEL_RATE_SIGMA: Final = 0.015


class Shape(Protocol):
    """The light over time as a model has it."""

    def stops(self, at_utc: datetime) -> float:
        """log2 of its level."""

    def rate_stops_per_min(self, at_utc: datetime) -> float:
        """Its rate; positive brightens."""


class SkyShape:
    """A curve of light with its own clock, seen over UTC."""

    def __init__(self, curve: SkyCurve, zero_utc: datetime) -> None:
        self._curve, self._zero_utc = curve, zero_utc

    def stops(self, at_utc: datetime) -> float:
        """log2 of the illuminance in lux."""
        return math.log2(self._curve.level((at_utc - self._zero_utc).total_seconds()))

    def rate_stops_per_min(self, at_utc: datetime) -> float:
        """Its rate by the analytic slope; positive brightens."""
        return self._curve.rate_stops_per_min((at_utc - self._zero_utc).total_seconds())


class LampLitShape:
    """A shape with light under it that does not fade, such as a town's: `lamps_stops` is log2 of its level."""

    def __init__(self, sky: Shape, lamps_stops: float) -> None:
        self._sky, self._lamps = sky, math.exp2(lamps_stops)

    def stops(self, at_utc: datetime) -> float:
        """log2 of both together."""
        return math.log2(math.exp2(self._sky.stops(at_utc)) + self._lamps)

    def rate_stops_per_min(self, at_utc: datetime) -> float:
        """The sky's rate times the sky's share of the light."""
        sky = math.exp2(self._sky.stops(at_utc))
        return self._sky.rate_stops_per_min(at_utc) * sky / (sky + self._lamps)
