"""How well the next frame is exposed: errors in stops on evenings that the program's model did not make.

    .venv/bin/python tests/bench/recovery.py [--evenings 200]

Five base frames three minutes apart with camera noise, the fifth is the metering; a filter known to 0.03 stop, whose
label is off by a third of a stop (standard deviation); the shutter opens 20 to 120 s later for a plain time of 20 to
240 s. Beside this program: the label's stops without drift, half to three quarters of a stop by habit, an oracle that
knows the future, and, where clouds wander, two predictors by least squares that are told the clouds' statistics:
"statistics" knows the clear light above them too, past and future, which no reading tells; "told" has the same
readings, the same almanac and the same doubt of it as the program.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from evenings import AFTER_S, BEFORE_S, CLOUDS, Evening, Numbers, Weather, evening

from duskhold.light.forecast import Forecast
from duskhold.light.opentime import OpenTime
from duskhold.light.reading import Reading
from duskhold.light.skyshape import SkyShape
from duskhold.light.trend import Trend, fuse
from duskhold.plan.decision import Change, LightReading, TrendDrift, solve
from duskhold.plan.limits import Limits
from duskhold.plan.outlook import midnight_before, sky_of

SEED = 20261014
READINGS_S = (-720.0, -540.0, -360.0, -180.0, 0.0)
NOISE_STOPS = 0.015
FILTER_SIGMA, LABEL_SIGMA, LATENCY_SIGMA_S = 0.03, 0.33, 0.02
HABIT = (0.5, 0.75)


@dataclass(frozen=True)
class Task:
    """A frame to expose, what was read before it, and what nobody knows about the filter."""

    evening: Evening
    readings: tuple[float, ...]
    plain_s: float
    delay_s: float
    filter_off: float
    label_off: float
    latency_s: float
    habit_stops: float

    def error(self, held_s: float) -> float:
        """Error in stops of holding so long, the real filter and the real latency included."""
        dose = self.evening.dose(self.delay_s, max(0.1, held_s + self.latency_s))
        return math.log2(dose / self.plain_s) - self.filter_off

    def oracle_s(self) -> float | None:
        """The time that is right; None when there is none within half an hour."""
        low, high = 0.1, 1800.0
        if self.evening.dose(self.delay_s, high) < self.plain_s:
            return None
        for _ in range(40):
            middle = (low + high) / 2.0
            low, high = (middle, high) if self.evening.dose(self.delay_s, middle) < self.plain_s else (low, middle)
        return high


def task(weather: Weather, chance: np.random.Generator) -> Task:
    """A frame that can be finished, and within a correction of 1.5 stops, which is where another filter is advised."""
    while True:
        one = evening(weather, chance)
        readings = tuple(one.at(each) + float(chance.normal(0.0, NOISE_STOPS)) for each in READINGS_S)
        found = Task(
            evening=one,
            readings=readings,
            plain_s=float(np.exp2(chance.uniform(math.log2(20.0), math.log2(240.0)))),
            delay_s=float(chance.uniform(20.0, 120.0)),
            filter_off=float(chance.normal(0.0, FILTER_SIGMA)),
            label_off=float(chance.normal(0.0, LABEL_SIGMA)),
            latency_s=float(chance.normal(0.0, LATENCY_SIGMA_S)),
            habit_stops=float(chance.uniform(*HABIT)),
        )
        right_s = found.oracle_s()
        if right_s is not None and abs(math.log2(right_s / found.plain_s)) < 1.5:
            return found


def by_program(one: Task) -> float | None:
    """What this program holds."""
    metered_utc = one.evening.metered_utc
    opens_utc = metered_utc + timedelta(seconds=one.delay_s)
    readings = [
        Reading(metered_utc + timedelta(seconds=at_s), stops, NOISE_STOPS, "base")
        for at_s, stops in zip(READINGS_S, one.readings, strict=True)
    ]
    trend = fuse(readings, metered_utc, opens_utc, 900.0, shape_of(one))
    assert isinstance(trend, Trend)
    base = LightReading(one.plain_s, metered_utc)
    return solve(base, Change(), TrendDrift(trend), opens_utc, Limits()).open_s


def by_label(one: Task) -> float | None:
    """The label's stops, no drift."""
    return one.plain_s * math.exp2(one.label_off)


def by_habit(one: Task) -> float | None:
    """Half to three quarters of a stop longer at dusk, shorter at dawn."""
    sign = 1.0 if one.readings[0] > one.readings[-1] else -1.0
    return float(one.plain_s * 2.0 ** (sign * one.habit_stops))


def by_oracle(one: Task) -> float | None:
    """The future known; what is left is the filter and the latency."""
    return one.oracle_s()


def by_statistics(one: Task) -> float | None:
    """The clear light known, past and future, and how clouds wander; from the same readings."""
    return _by_least_squares(one, one.evening.bare_stops, 0.0, 0.0)


def by_told(one: Task) -> float | None:
    """How clouds wander, the almanac's shape to 15 % of its change, and no level but that of the readings."""
    shape, metered_utc = shape_of(one), one.evening.metered_utc
    at_s = np.arange(-BEFORE_S, AFTER_S + 1, 60.0)
    sky = [shape.stops(metered_utc + timedelta(seconds=float(each))) for each in at_s]
    return _by_least_squares(one, np.interp(np.arange(-BEFORE_S, AFTER_S + 1.0), at_s, sky), 30.0, 0.15)


def shape_of(one: Task) -> SkyShape:
    """The almanac's clear sky of the place."""
    midnight = midnight_before(one.evening.metered_utc)
    return SkyShape(sky_of(one.evening.place, midnight), midnight)


def _by_least_squares(one: Task, bare: Numbers, level_sigma: float, share_sigma: float) -> float | None:
    sigma, minutes = CLOUDS[one.evening.weather]
    at_s, ahead_s, mark_s = np.array(READINGS_S), np.arange(0.0, 1900.0, 5.0) + one.delay_s, np.zeros(1)

    def clear(when_s: Numbers) -> Numbers:
        return np.asarray(np.interp(when_s + BEFORE_S, np.arange(bare.size), bare) - bare[BEFORE_S], dtype=np.float64)

    def cloud(a: Numbers, b: Numbers) -> Numbers:
        return np.asarray(sigma**2 * np.exp(-np.abs(a[:, None] - b) / (60.0 * minutes)), dtype=np.float64)

    def covariance(a: Numbers, b: Numbers) -> Numbers:
        return cloud(a, b) + level_sigma**2 + share_sigma**2 * np.outer(clear(a), clear(b))

    level = bare[BEFORE_S] if level_sigma == 0.0 else one.readings[-1]
    seen = np.array(one.readings) - level - clear(at_s)
    noise = np.eye(at_s.size) * NOISE_STOPS**2
    known = np.linalg.solve(covariance(at_s, at_s) + noise, seen)
    mean, now = (covariance(at_s, when_s).T @ known for when_s in (ahead_s, mark_s))
    gains = np.linalg.solve(cloud(at_s, at_s) + noise, cloud(at_s, ahead_s))
    spread = sigma**2 - np.einsum("ji,ji->i", gains, cloud(at_s, ahead_s))
    # Light that varies within a frame gives more than its median: half the variance, in natural units, of the part
    # that evens out over the frame.
    x = one.plain_s / (60.0 * minutes)
    evened = 2.0 / x * (1.0 + math.expm1(-x) / x)
    stops = clear(ahead_s) + mean - now + 0.5 * math.log(2.0) * spread * (1.0 - evened)
    found = Forecast([float(each) for each in ahead_s], [float(each) for each in stops], goes_on=True)
    answer = found.solve(one.plain_s, one.delay_s)
    return answer.open_s if isinstance(answer, OpenTime) else None


RULES: dict[str, Callable[[Task], float | None]] = {
    "program": by_program,
    "label": by_label,
    "habit": by_habit,
    "oracle": by_oracle,
}
TOLD: dict[str, Callable[[Task], float | None]] = {"statistics": by_statistics, "told": by_told}
"""Where clouds wander: what could be known of them."""
UNFINISHED_STOPS = 3.0
"""What a rule is charged that says "never" of a frame that could be finished."""


def errors(weather: Weather, evenings: int) -> dict[str, Numbers]:
    """Absolute errors in stops of every rule over the same evenings."""
    chance = np.random.default_rng([SEED, list(Weather).index(weather)])
    tasks = [task(weather, chance) for _ in range(evenings)]
    rules = dict(RULES, **(TOLD if weather in CLOUDS else {}))
    return {name: np.array([_charged(one, rule(one)) for one in tasks]) for name, rule in rules.items()}


def _charged(one: Task, held_s: float | None) -> float:
    return UNFINISHED_STOPS if held_s is None else min(UNFINISHED_STOPS, abs(one.error(held_s)))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--evenings", type=int, default=200)
    evenings = parser.parse_args().evenings
    print(f"absolute error of the next frame in stops, median / 95th percentile, {evenings} evenings each, seed {SEED}")
    names = (*RULES, *TOLD)
    print(f"{'':22}" + "".join(f"{name:>16}" for name in names))
    for weather in Weather:
        found = errors(weather, evenings)
        cells = (
            f"{np.median(found[name]):.3f} / {np.percentile(found[name], 95):.3f}" if name in found else ""
            for name in names
        )
        print(f"{weather.value:22}" + "".join(f"{cell:>16}" for cell in cells), flush=True)


if __name__ == "__main__":
    main()
