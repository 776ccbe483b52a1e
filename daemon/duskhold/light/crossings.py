"""When the sun's centre passes an altitude: found by bracketing, at any latitude, with "never" as a value.

The interval is sampled every ten minutes and its turning points are refined, so that between two neighbouring
knots the altitude only rises or only falls: every change of side is seen, also a touch that lasts seconds.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

from duskhold.light.place import Place
from duskhold.light.skybodies import sun_position

_SAMPLE_S = 600.0
_TURN_S = 0.5
_CROSSING_S = 0.0005
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


class Direction(StrEnum):
    """Which way the sun goes through an altitude."""

    DOWN = "down"
    UP = "up"


class Absence(StrEnum):
    """Why an altitude is not crossed in this direction in an interval."""

    STAYS_ABOVE = "stays_above"
    STAYS_BELOW = "stays_below"
    OTHER_DIRECTION_ONLY = "other_direction_only"


@dataclass(frozen=True, slots=True)
class Crossing:
    """The sun's centre passes `altitude_deg` (airless) at `at_utc`."""

    altitude_deg: float
    direction: Direction
    at_utc: datetime


@dataclass(frozen=True, slots=True)
class NoCrossing:
    """It does not, and why; with the lowest and the highest altitude that the sun has in the interval."""

    altitude_deg: float
    direction: Direction
    reason: Absence
    lowest_deg: float
    highest_deg: float


class SunPath:
    """The sun's altitude seen from a place over an interval of UTC; ask it for crossings of any altitude."""

    def __init__(self, place: Place, from_utc: datetime, until_utc: datetime) -> None:
        assert from_utc < until_utc, "an interval ends after it begins"
        self._place = place
        self._from_utc = from_utc
        self._knots = self._with_turns(self._samples((until_utc - from_utc).total_seconds()))

    @property
    def lowest_deg(self) -> float:
        """The lowest altitude in the interval."""
        return min(altitude_deg for _, altitude_deg in self._knots)

    @property
    def highest_deg(self) -> float:
        """The highest altitude in the interval."""
        return max(altitude_deg for _, altitude_deg in self._knots)

    def crossings(self, altitude_deg: float) -> tuple[Crossing, ...]:
        """Every crossing of this altitude in order of time, to the millisecond; empty when there is none."""
        return tuple(self._crossings(altitude_deg))

    def events(self, altitude_deg: float, direction: Direction) -> tuple[Crossing, ...] | NoCrossing:
        """The crossings in one direction, or why there is none."""
        both = self.crossings(altitude_deg)
        wanted = tuple(each for each in both if each.direction is direction)
        return wanted or self._absence(altitude_deg, direction, len(both))

    def _absence(self, altitude_deg: float, direction: Direction, crossed: int) -> NoCrossing:
        if crossed:
            reason = Absence.OTHER_DIRECTION_ONLY
        elif self._knots[0][1] >= altitude_deg:
            reason = Absence.STAYS_ABOVE
        else:
            reason = Absence.STAYS_BELOW
        return NoCrossing(altitude_deg, direction, reason, self.lowest_deg, self.highest_deg)

    def _crossings(self, altitude_deg: float) -> Iterator[Crossing]:
        for (from_s, first), (to_s, last) in zip(self._knots, self._knots[1:], strict=False):
            if (first >= altitude_deg) == (last >= altitude_deg):
                continue
            direction = Direction.UP if last > first else Direction.DOWN
            at_s = self._change_of_side(altitude_deg, from_s, to_s, direction)
            yield Crossing(altitude_deg, direction, self._utc(at_s))

    def _change_of_side(self, altitude_deg: float, from_s: float, to_s: float, direction: Direction) -> float:
        while to_s - from_s > _CROSSING_S:
            middle_s = (from_s + to_s) / 2.0
            is_after = (self._altitude(middle_s) >= altitude_deg) == (direction is Direction.UP)
            from_s, to_s = (from_s, middle_s) if is_after else (middle_s, to_s)
        return to_s

    def _samples(self, length_s: float) -> list[tuple[float, float]]:
        count = max(2, math.ceil(length_s / _SAMPLE_S))
        return [(s, self._altitude(s)) for s in (length_s * i / count for i in range(count + 1))]

    def _with_turns(self, samples: list[tuple[float, float]]) -> list[tuple[float, float]]:
        turns = [
            self._turn(before[0], after[0], 1.0 if here[1] >= before[1] else -1.0)
            for before, here, after in zip(samples, samples[1:], samples[2:], strict=False)
            if (here[1] - before[1]) * (after[1] - here[1]) <= 0.0
        ]
        turns += self._turns_at_the_ends(samples)
        return sorted(samples + turns)

    def _turns_at_the_ends(self, samples: list[tuple[float, float]]) -> list[tuple[float, float]]:
        # A turn within the first or last ten minutes shows no third sample beyond it.
        (first_s, first), (second_s, second) = samples[0], samples[1]
        (last_but_one_s, last_but_one), (last_s, last) = samples[-2], samples[-1]
        away_from_start = 1.0 if second <= first else -1.0
        away_from_end = 1.0 if last_but_one <= last else -1.0
        return [
            self._turn(first_s, second_s, away_from_start),
            self._turn(last_but_one_s, last_s, away_from_end),
        ]

    def _turn(self, from_s: float, to_s: float, sign: float) -> tuple[float, float]:
        """Golden-section search for the highest (sign 1) or lowest (sign -1) altitude between two instants."""
        while to_s - from_s > _TURN_S:
            span = (to_s - from_s) * _GOLDEN
            left_s, right_s = to_s - span, from_s + span
            if sign * self._altitude(left_s) >= sign * self._altitude(right_s):
                to_s = right_s
            else:
                from_s = left_s
        middle_s = (from_s + to_s) / 2.0
        return middle_s, self._altitude(middle_s)

    def _altitude(self, at_s: float) -> float:
        return sun_position(self._place, self._utc(at_s)).altitude_deg

    def _utc(self, at_s: float) -> datetime:
        return self._from_utc + timedelta(seconds=at_s)


def solar_day(place: Place, day: date) -> tuple[datetime, datetime]:
    """The 24 h from local mean-solar midnight (longitude / 15 h before or after midnight UTC), as UTC instants."""
    midnight = datetime.combine(day, time(), UTC) - timedelta(hours=place.longitude_deg / 15.0)
    return midnight, midnight + timedelta(days=1)
