"""The light to come as a curve of knots, straight in stops between them: its integral and its inverse in closed form.

Between knots the light is an exponential, so a constant rate is exact with two knots, and a curve of the sky with
knots half a minute apart is exact to 1e-4 stop. Beyond the last knot the rate of the last piece goes on.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence

from duskhold.light.opentime import LONGEST_SEARCH_S, OpenTime, Unfinishable

_LN2 = math.log(2.0)
_HARDLY = 1e-9

# What a number of this kind can hold, and no light is.
_FARTHEST_STOPS = 1000.0
_LEAST_PER_S = 1e-100
_LEAST_DOSE, _MOST_DOSE = 1e-300, 1e300


class Forecast:
    """Light over seconds of its own clock, from the first knot on, given as log2 levels at rising instants.

    It is a `Light` of `duskhold.light.opentime`. `goes_on` is True when the last rate holds for ever, so that
    "never" is certain; else the curve is only known as far as its last knot.
    """

    def __init__(self, at_s: Sequence[float], level_stops: Sequence[float], *, goes_on: bool) -> None:
        assert len(at_s) == len(level_stops) >= 2, "a curve has two knots or more"
        self._at_s, self._stops = tuple(at_s), tuple(level_stops)
        self.goes_on = goes_on
        self._per_s = [
            (b - a) * _LN2 / (t - s)
            for s, t, a, b in zip(self._at_s, self._at_s[1:], self._stops, self._stops[1:], strict=False)
        ]
        self._levels = [math.exp2(stops) for stops in self._stops]
        self._sums = self._running_sums()

    @classmethod
    def steady(cls, from_s: float, level_stops: float, rate_stops_per_min: float) -> "Forecast":
        """A constant rate for ever."""
        return cls((from_s, from_s + 60.0), (level_stops, level_stops + rate_stops_per_min), goes_on=True)

    @property
    def starts_s(self) -> float:
        """The first knot."""
        return self._at_s[0]

    def level_stops(self, at_s: float) -> float:
        """log2 of the level."""
        piece = self._piece(at_s)
        return self._stops[piece] + self._per_s[piece] / _LN2 * (at_s - self._at_s[piece])

    def level(self, at_s: float) -> float:
        """The level; before the first knot, as its first piece goes."""
        return math.exp2(max(-_FARTHEST_STOPS, min(_FARTHEST_STOPS, self.level_stops(at_s))))

    def rate_stops_per_min(self, at_s: float) -> float:
        """How fast the light changes; positive brightens."""
        return self._per_s[self._piece(at_s)] * 60.0 / _LN2

    def dose(self, from_s: float, to_s: float) -> float:
        """Integral of the level between two instants."""
        piece = self._piece(from_s)
        if piece == self._piece(to_s):
            found = self.level(from_s) * _growth(self._per_s[piece], to_s - from_s)
        else:
            found = self._until(to_s) - self._until(from_s)
        return max(_LEAST_DOSE, min(_MOST_DOSE, found))

    def end_of(self, dose: float, opens_s: float) -> float | None:
        """When a dose that begins to gather at `opens_s` is complete; None when it never is."""
        piece = self._piece(opens_s)
        a, level = self._per_s[piece], self.level(opens_s)
        if piece < len(self._per_s) - 1 and dose > self.dose(opens_s, self._at_s[piece + 1]):
            wanted = self._until(opens_s) + dose
            piece = min(len(self._per_s) - 1, bisect_right(self._sums, wanted) - 1)
            dose = wanted - self._sums[piece]
            a, level, opens_s = self._per_s[piece], self._levels[piece], self._at_s[piece]
        x = dose / level
        if abs(a * x) < _HARDLY:
            return opens_s + x * (1.0 - a * x / 2.0)
        return opens_s + math.log1p(a * x) / a if a * x > -1.0 else None

    def solve(self, dose: float, opens_s: float) -> OpenTime | Unfinishable:
        """Open time that gathers `dose` (seconds of level 1), and the largest dose that can be gathered."""
        most = self._most(opens_s)
        end_s = self.end_of(dose, opens_s)
        within_s = None if self.goes_on else LONGEST_SEARCH_S
        if end_s is None or (within_s is not None and end_s > opens_s + within_s):
            assert most is not None, "only what is bounded falls short"
            return Unfinishable(most, max(0.0, math.log2(dose / most)), within_s)
        return OpenTime(max(_HARDLY, end_s - opens_s), most)  # brighter than a clock of doubles can tell apart

    def _most(self, opens_s: float) -> float | None:
        if not self.goes_on:
            return self.dose(opens_s, opens_s + LONGEST_SEARCH_S)
        a = self._per_s[-1]
        if a > -_LEAST_PER_S:
            return None
        last_s = max(opens_s, self._at_s[-2])
        return self.dose(opens_s, last_s) + self.level(last_s) / -a

    def _until(self, at_s: float) -> float:
        piece = self._piece(at_s)
        return self._sums[piece] + self._levels[piece] * _growth(self._per_s[piece], at_s - self._at_s[piece])

    def _piece(self, at_s: float) -> int:
        return max(0, min(len(self._per_s) - 1, bisect_right(self._at_s, at_s) - 1))

    def _running_sums(self) -> list[float]:
        sums = [0.0]
        for piece, a in enumerate(self._per_s):
            length_s = self._at_s[piece + 1] - self._at_s[piece]
            sums.append(sums[-1] + self._levels[piece] * _growth(a, length_s))
        return sums


def _growth(per_s: float, length_s: float) -> float:
    """(e^(a t) - 1) / a."""
    x = per_s * length_s
    if abs(x) < _HARDLY:
        return length_s * (1.0 + x / 2.0)
    return math.expm1(min(x, _FARTHEST_STOPS * _LN2)) / per_s
