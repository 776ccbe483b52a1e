"""Which readings to believe: a car's lamps or a flash of sun must not steer the next frame.

A reading that is further from what the others lead to expect than 0.7 stop (common practice, no source), and than
four times what they usually miss by, waits for the next: if that one agrees with it the light did change, else it
is left out. The last reading has no next and is left out until another confirms it.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import median

from duskhold.light.filterbank import LEVEL, FilterBank, Guess
from duskhold.light.reading import Reading
from duskhold.light.sign import signed

ODD_STOPS = 0.7
PRICE_OF_LEAVING_OUT = 5.0
"""Logarithm of how unlikely an odd reading is by itself: one in fifty, anywhere within some six stops."""
_TIMES_USUAL = 4.0
_NORMAL_FROM_MEDIAN = 1.4826
_DOUBT_SIGMAS = 3.0
_STEP_STOPS = 1.5
_ORDINARY = (Guess(prior=1.0, rate_sigma=0.3, wander=0.05, cloud_stops=0.1, cloud_min=3.0),)


@dataclass(frozen=True, slots=True)
class Point:
    """A reading as the filters take it: minutes, and stops above the sky's shape."""

    at_min: float
    stops: float
    reading: Reading


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A reading that is not used, and why."""

    reading: Reading
    reason: str


def believe(points: Sequence[Point]) -> tuple[tuple[Point, ...], tuple[LeftOut, ...]]:
    """The points to use, in order of time, and those left out."""
    if len(points) < 3:
        return tuple(points), ()
    limit = max(ODD_STOPS, _TIMES_USUAL * _NORMAL_FROM_MEDIAN * _usual_miss(points))
    forward = _odd(points, limit, lambda point: point.at_min)
    # Backwards too: seen from the front, a first reading that is odd makes all the others look so.
    backward = _odd(tuple(reversed(points)), limit, lambda point: -point.at_min)
    odd = max((forward, backward), key=lambda found: _plausibility(points, found))
    kept = tuple(point for point in points if point not in odd)
    # Under torn cloud the others scatter as much as the odd one: then it is no odder than they are.
    usual = _TIMES_USUAL * _scatter(kept) if len(kept) > 2 else 0.0
    odd = {point: off for point, off in odd.items() if abs(off) > usual}
    kept = tuple(point for point in points if point not in odd)
    return kept, tuple(_explained(point, off, point is points[-1]) for point, off in odd.items())


def _odd(points: Sequence[Point], limit: float, clock: Callable[[Point], float]) -> dict[Point, float]:
    bank = FilterBank(_ORDINARY, clock(points[0]))
    odd: dict[Point, float] = {}
    waiting: tuple[Point, float] | None = None
    for point in points:
        bank.advance(clock(point))
        expected, variance = bank.expected()
        off = point.stops - float(expected[0])
        if abs(off) <= max(limit, _DOUBT_SIGMAS * math.sqrt(float(variance[0]))):
            waiting = None
        elif waiting is not None and abs(off - waiting[1]) < limit / 2.0:
            del odd[waiting[0]]
            waiting = None
            bank.spread[:, LEVEL, LEVEL] += _STEP_STOPS**2
        else:
            waiting = (point, off)
            odd[point] = off
            continue
        bank.learn(point.stops, point.reading.sigma_stops)
    return odd


def _plausibility(points: Sequence[Point], odd: dict[Point, float]) -> float:
    kept = [point for point in points if point not in odd]
    if not kept:
        return -math.inf
    bank = FilterBank(_ORDINARY, kept[0].at_min)
    for point in kept:
        bank.advance(point.at_min)
        bank.learn(point.stops, point.reading.sigma_stops)
    return float(bank.log_likelihood[0]) - PRICE_OF_LEAVING_OUT * len(odd)


def _scatter(points: Sequence[Point]) -> float:
    """Root mean square distance from the line of least squares, which two of the points determine."""
    count = len(points)
    middle_min = math.fsum(point.at_min for point in points) / count
    middle = math.fsum(point.stops for point in points) / count
    across = math.fsum((point.at_min - middle_min) ** 2 for point in points)
    slope = math.fsum((point.at_min - middle_min) * (point.stops - middle) for point in points) / across
    squares = ((point.stops - middle - slope * (point.at_min - middle_min)) ** 2 for point in points)
    return math.sqrt(math.fsum(squares) / (count - 2))


def _usual_miss(points: Sequence[Point]) -> float:
    """Median distance from the line of Theil and Sen, which three odd readings of ten do not bend."""
    pairs = combinations(points, 2)
    slope = median((b.stops - a.stops) / (b.at_min - a.at_min) for a, b in pairs)
    level = median(point.stops - slope * point.at_min for point in points)
    return median(abs(point.stops - slope * point.at_min - level) for point in points)


def _explained(point: Point, off: float, is_last: bool) -> LeftOut:
    said = f"{signed(off, 2)} stop from what the others lead to expect"
    return LeftOut(point.reading, f"{said}; not confirmed yet: take a scout frame" if is_last else said)
