"""The clear sky of a place as a shape in stops over UTC, for the trend to lean on."""

import math
from datetime import datetime
from typing import Final

from duskhold.light.skycurve import SkyCurve

MODEL_RATE_SHARE: Final = 0.15
"""A clear sky's rate in one direction of view differs from that on level ground by about this share."""
MODEL_RATE_SIGMA: Final = 0.015


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
