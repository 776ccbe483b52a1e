"""A body's altitude over hours from few ephemeris calls.

The sine of an altitude is close to a sinusoid in time, at any latitude, so a cubic through knots ten minutes apart
stays within 0.001 degree of the ephemeris (0.02 within a degree of the zenith).
"""

import math
from collections.abc import Callable
from datetime import datetime, timedelta

from duskhold.light.place import Place
from duskhold.light.skybodies import Position

_STEP_S = 600.0
_LEAST_COSINE = 1e-3


class AltitudeTrack:
    """Airless altitude of one body seen from a place, in seconds from an instant; knots are kept once asked for."""

    def __init__(self, position: Callable[[Place, datetime], Position], place: Place, zero_utc: datetime) -> None:
        self._position = position
        self._place = place
        self._zero_utc = zero_utc
        self._knots: dict[int, float] = {}
        self._cubics: dict[int, tuple[float, float, float, float]] = {}

    def altitude_deg(self, at_s: float) -> float:
        """Altitude of the centre."""
        c0, c1, c2, c3, u = self._cubic(at_s)
        return math.degrees(math.asin(max(-1.0, min(1.0, c0 + u * (c1 + u * (c2 + u * c3))))))

    def slope_deg_per_min(self, at_s: float) -> float:
        """Derivative of the altitude: that of the cubic in the sine, over the cosine."""
        _, c1, c2, c3, u = self._cubic(at_s)
        per_step = c1 + u * (2.0 * c2 + u * 3.0 * c3)
        cosine = max(_LEAST_COSINE, math.cos(math.radians(self.altitude_deg(at_s))))
        return math.degrees(per_step / cosine) * 60.0 / _STEP_S

    def _cubic(self, at_s: float) -> tuple[float, float, float, float, float]:
        step, rest = divmod(at_s, _STEP_S)
        index = int(step)
        if index not in self._cubics:
            self._cubics[index] = self._fit(index)
        return (*self._cubics[index], rest / _STEP_S)

    def _fit(self, index: int) -> tuple[float, float, float, float]:
        # Newton-free form of the cubic through the knots at -1, 0, 1 and 2.
        before, here, after, beyond = (self._knot(index + i) for i in (-1, 0, 1, 2))
        c3 = (beyond - 3.0 * after + 3.0 * here - before) / 6.0
        c2 = (after + before) / 2.0 - here
        c1 = after - here - c2 - c3
        return here, c1, c2, c3

    def _knot(self, index: int) -> float:
        if index not in self._knots:
            at_utc = self._zero_utc + timedelta(seconds=index * _STEP_S)
            self._knots[index] = math.sin(math.radians(self._position(self._place, at_utc).altitude_deg))
        return self._knots[index]
