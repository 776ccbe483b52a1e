"""The light of an evening as its frames tell it, and what is expected of the next one.

Levels are EV at ISO 100 of the chosen area, filters taken off: a meter would say the same. What a set of filters
takes more or less than the bag says is learnt from the scout behind it and kept apart, so that base frames and long
frames speak of one light. The trend of all of them is damped by their uncertainties; on top of that no single long
frame moves the next by more than two thirds of a stop, and one that is 0.7 stop from what was expected waits for a
scout to confirm it (both common practice, no source).
"""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from duskhold.light.reading import Reading
from duskhold.light.skyshape import Shape
from duskhold.light.trend import NoTrend, Trend, fuse
from duskhold.plan.decision import LightReading, SteadyDrift, TrendDrift
from duskhold.plan.role import Role
from duskhold.plan.series import Metered

GATE_STOPS: Final = 0.7
STEP_MAX_STOPS: Final = 2.0 / 3.0
CLIPPED_STOPS: Final = 1.0
"""A clipped frame does not tell by how much: the next is so much shorter, and a scout looks first."""
READINGS_MAX: Final = 12
"""Older ones say next to nothing about the next frame, and each costs time on a small board."""
_AGREES_STOPS = 0.35
_LEVEL_SIGMA_STOPS = 0.01


@dataclass(frozen=True, slots=True)
class Reference:
    """The exposure that is right: `base_s` for the bare lens when the light is at `level_ev`."""

    base_s: float
    level_ev: float


class KnownLight:
    """What is known of the light, frame by frame in order of time. `shape` is the clear sky of the place."""

    def __init__(self, shape: Shape | None, age_max_s: float) -> None:
        self._shape, self._age_max_s = shape, age_max_s
        self._readings: list[Reading] = []
        self._waiting: Reading | None = None
        self._trend: Trend | NoTrend | None = None
        self._held_back_stops = 0.0
        self._base_ev: float | None = None
        self._learnt: dict[frozenset[str], float] = {}
        self.reference: Reference | None = None
        self.first_ev: float | None = None

    @property
    def newest_utc(self) -> datetime | None:
        """When the light was last seen."""
        return self._readings[-1].taken_utc if self._readings else None

    @property
    def is_scouted(self) -> bool:
        """Whether a scout has seen it last: just before the frame that follows."""
        return bool(self._readings) and self._readings[-1].source == Role.SCOUT.value

    def takes_more_stops(self, filters: tuple[str, ...]) -> float:
        """What these filters take more than the bag says, in stops; 0 where it was not learnt."""
        return self._learnt.get(frozenset(filters), 0.0)

    @property
    def trend(self) -> Trend | None:
        """How the light goes, where two readings or a place tell it."""
        return self._trend if isinstance(self._trend, Trend) else None

    @property
    def above_base_stops(self) -> float:
        """How much brighter the reference's tone is than the last base frame came out; 0 where there is none."""
        if self.reference is None or self._base_ev is None:
            return 0.0
        return self.reference.level_ev - self._base_ev

    def is_stale(self, at_utc: datetime) -> bool:
        """Whether the light was seen too long ago to expose by."""
        newest_utc = self.newest_utc
        return newest_utc is None or (at_utc - newest_utc).total_seconds() > self._age_max_s

    def expected_ev(self, from_utc: datetime, span_s: float = 0.0) -> float | None:
        """What a frame from then on, so long, should see; None before the first reading."""
        if not self._readings:
            return None
        if not isinstance(self._trend, Trend):
            return self._readings[-1].level_stops
        after_s = (from_utc - self._trend.mark_utc).total_seconds()
        forecast = self._trend.forecast
        if span_s == 0.0:
            return self._trend.mark_stops + forecast.level_stops(after_s)
        return self._trend.mark_stops + math.log2(forecast.dose(after_s, after_s + span_s) / span_s)

    def metered(self) -> Metered | None:
        """The light to compute the next frame from; None while no reading or no reference is there."""
        if self.reference is None or not self._readings:
            return None
        newest = self._readings[-1]
        trend = self._trend if isinstance(self._trend, Trend) else None
        level_ev = newest.level_stops if trend is None else trend.mark_stops
        stops = self.reference.level_ev - level_ev + self._held_back_stops
        first_ev = level_ev if self.first_ev is None else self.first_ev
        return Metered(
            LightReading(self.reference.base_s * math.exp2(stops), newest.taken_utc),
            SteadyDrift(0.0) if trend is None else TrendDrift(trend),
            level_ev - first_ev,
            dict(self._learnt),
        )

    def see_bare(self, reading: Reading) -> None:
        """A base frame: what it says is so. One that is clipped only says "at least", which the trend knows."""
        self._base_ev = reading.level_stops
        self._take_in(reading)

    def off_stops(self, reading: Reading, filters: tuple[str, ...]) -> float | None:
        """How much brighter a frame behind these filters came out than expected; None with nothing to compare with."""
        expected = self.expected_ev(reading.taken_utc)
        return None if expected is None else reading.level_stops + self.takes_more_stops(filters) - expected

    def see_scout(self, reading: Reading, filters: tuple[str, ...]) -> None:
        """A scout behind filters that were just fitted: what it is off from what was expected is theirs."""
        off = self.off_stops(reading, filters)
        if off is None or not filters:
            self._take_in(_at(reading, reading.level_stops + self.takes_more_stops(filters)))
            return
        self._learnt[frozenset(filters)] = self.takes_more_stops(filters) - off
        self._take_in(_at(reading, reading.level_stops + self.takes_more_stops(filters)))

    def see_light(self, reading: Reading, filters: tuple[str, ...]) -> None:
        """A scout behind filters that have been there all the while: what it is off is the light.

        A long frame that waits for being confirmed is believed when this one agrees, and forgotten when not.
        """
        seen = _at(reading, reading.level_stops + self.takes_more_stops(filters))
        waiting, self._waiting = self._waiting, None
        if waiting is not None and abs(seen.level_stops - self._since(waiting, seen.taken_utc)) < _AGREES_STOPS:
            self._take_in(waiting)
        self._held_back_stops = 0.0
        self._take_in(seen)

    def see_long(self, reading: Reading, filters: tuple[str, ...], opened_utc: datetime) -> bool:
        """A long frame; False when it has to be confirmed by a scout before anything is computed from it."""
        seen = _at(reading, reading.level_stops + self.takes_more_stops(filters))
        expected = self.expected_ev(opened_utc, reading.span_s)
        self._held_back_stops = 0.0
        if reading.at_least:
            self._held_back_stops = -CLIPPED_STOPS
            return False
        if expected is not None and abs(seen.level_stops - expected) > GATE_STOPS:
            self._waiting = seen
            return False
        after_utc = reading.taken_utc + timedelta(seconds=reading.span_s)
        before = self.expected_ev(after_utc)
        self._take_in(seen)
        now = self.expected_ev(after_utc)
        if before is not None and now is not None:
            step = now - before
            # Held back, the next frame is computed for a light that moved less.
            self._held_back_stops = step - max(-STEP_MAX_STOPS, min(STEP_MAX_STOPS, step))
        return True

    def shift(self, seconds: float) -> None:
        """The clock was set: everything seen was so much later (positive) by the new one."""
        moved = timedelta(seconds=seconds)
        self._readings = [_moved(one, moved) for one in self._readings]
        self._waiting = None if self._waiting is None else _moved(self._waiting, moved)
        if self._readings:
            self._fuse()

    def _since(self, earlier: Reading, at_utc: datetime) -> float:
        """What an earlier reading would be now, by the course of the light."""
        now, then = self.expected_ev(at_utc), self.expected_ev(earlier.taken_utc)
        assert now is not None and then is not None, "asked for only with readings"
        return earlier.level_stops + now - then

    def _take_in(self, reading: Reading) -> None:
        self._readings.append(reading)
        self._readings.sort(key=lambda one: one.taken_utc)
        self._fuse()

    def _fuse(self) -> None:
        newest_utc = self._readings[-1].taken_utc
        recent = self._readings[-READINGS_MAX:]
        self._trend = fuse(recent, newest_utc, newest_utc, self._age_max_s, self._shape)


def _at(reading: Reading, level_ev: float) -> Reading:
    return Reading(
        reading.taken_utc,
        level_ev,
        max(reading.sigma_stops, _LEVEL_SIGMA_STOPS),
        reading.source,
        reading.span_s,
        reading.at_least,
    )


def _moved(reading: Reading, moved: timedelta) -> Reading:
    return Reading(
        reading.taken_utc + moved,
        reading.level_stops,
        reading.sigma_stops,
        reading.source,
        reading.span_s,
        reading.at_least,
    )
