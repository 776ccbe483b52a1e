"""What is in front of the simulated lens: light over time, fitted filters, and what one opening gathers."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Protocol

Channels = tuple[float, float, float]
CLEAR: Channels = (0.0, 0.0, 0.0)

_REFERENCE_F_NUMBER = 8.0
_REFERENCE_ISO = 100.0
_GAUSS = (  # nodes and weights of the five-point Gauss-Legendre rule on -1..1
    (0.0, 128 / 225),
    (math.sqrt(5 - 2 * math.sqrt(10 / 7)) / 3, (322 + 13 * math.sqrt(70)) / 900),
    (math.sqrt(5 + 2 * math.sqrt(10 / 7)) / 3, (322 - 13 * math.sqrt(70)) / 900),
)


class Light(Protocol):
    """Scene light over body time, 1.0 where the stage's reference exposure holds."""

    def level(self, now_s: float) -> float:
        """The light at an instant."""

    def dose(self, from_s: float, to_s: float) -> float:
        """The integral of the level, in seconds."""


@dataclass(frozen=True, slots=True)
class ConstantLight:
    brightness: float = 1.0

    def level(self, now_s: float) -> float:
        return self.brightness

    def dose(self, from_s: float, to_s: float) -> float:
        return self.brightness * (to_s - from_s)


@dataclass(frozen=True, slots=True)
class FadingLight:
    """Light that changes by a constant rate in stops per minute (negative fades), 1.0 at `reference_s`."""

    rate_stops_per_min: float
    reference_s: float = 0.0

    def level(self, now_s: float) -> float:
        return math.exp2(self.rate_stops_per_min * (now_s - self.reference_s) / 60)

    def dose(self, from_s: float, to_s: float) -> float:
        return _exponential_dose(self.level(from_s), self.rate_stops_per_min / 60, to_s - from_s)


@dataclass(frozen=True, slots=True)
class TableLight:
    """Light from (body time, level) points, straight in stops between them and constant outside."""

    points: tuple[tuple[float, float], ...]

    def level(self, now_s: float) -> float:
        times = [at_s for at_s, _ in self.points]
        after = bisect_right(times, now_s)
        if after == 0 or after == len(times):
            return self.points[0 if after == 0 else -1][1]
        (before_s, before), (after_s, behind) = self.points[after - 1], self.points[after]
        return before * math.pow(behind / before, (now_s - before_s) / (after_s - before_s))

    def dose(self, from_s: float, to_s: float) -> float:
        joints = [from_s, *(at_s for at_s, _ in self.points if from_s < at_s < to_s), to_s]
        return sum(self._piece(start, end) for start, end in pairwise(joints))

    def _piece(self, from_s: float, to_s: float) -> float:
        if to_s <= from_s:
            return 0.0
        first, last = self.level(from_s), self.level(to_s)
        return _exponential_dose(first, math.log2(last / first) / (to_s - from_s), to_s - from_s)


@dataclass(frozen=True, slots=True)
class SkyLight:
    """Light of the sky: a curve in lux over body time, against the lux at which the reference exposure holds."""

    curve: Light
    reference_lx: float

    def level(self, now_s: float) -> float:
        return self.curve.level(now_s) / self.reference_lx

    def dose(self, from_s: float, to_s: float) -> float:
        return self.curve.dose(from_s, to_s) / self.reference_lx


@dataclass(frozen=True, slots=True)
class PassingCloud:
    """Another light behind a cloud that takes `depth_stops` at `middle_s` and thins out over `spread_s`."""

    behind: Light
    middle_s: float
    spread_s: float
    depth_stops: float

    def level(self, now_s: float) -> float:
        shade = math.exp(-0.5 * ((now_s - self.middle_s) / self.spread_s) ** 2)
        return self.behind.level(now_s) * math.exp2(-self.depth_stops * shade)

    def dose(self, from_s: float, to_s: float) -> float:
        return _integral(self.level, from_s, to_s, min(30.0, self.spread_s / 2))


class Stage:
    """The place: its light, what is fitted to the lens, how warm it is.

    `reference_s` is the time that puts a mid-tone at its metered place at f/8 and ISO 100 with nothing fitted
    and light of level 1.0. Body time 0 is `epoch_utc`. Fitted filters are stops for red, green and blue.
    """

    def __init__(
        self,
        light: Light | None = None,
        reference_s: float = 0.25,
        epoch_utc: datetime = datetime(2026, 3, 20, 18, 0, tzinfo=UTC),
        temperature_c: float = 10.0,
    ) -> None:
        assert epoch_utc.tzinfo is not None, "epoch_utc needs its zone"
        self.light: Light = light or ConstantLight()
        self.reference_s = reference_s
        self.epoch_utc = epoch_utc
        self.temperature_c = temperature_c
        self._fitted: list[tuple[float, Channels]] = [(-math.inf, CLEAR)]

    def utc(self, now_s: float) -> datetime:
        return self.epoch_utc + timedelta(seconds=now_s)

    def fit(self, stops_rgb: Channels, now_s: float = -math.inf) -> None:
        """A person fits filters (`CLEAR`: none) at a body time or, without one, from the beginning."""
        assert now_s >= self._fitted[-1][0], "filters are fitted in order of time"
        if now_s == self._fitted[-1][0]:
            self._fitted.pop()
        self._fitted.append((now_s, stops_rgb))

    def fitted(self, now_s: float) -> Channels:
        return self._fitted[bisect_right([at_s for at_s, _ in self._fitted], now_s) - 1][1]

    def dose_rgb(self, from_s: float, to_s: float) -> Channels:
        """What passes the filters between two instants, per channel, in seconds of reference light."""
        joints = [from_s, *(at_s for at_s, _ in self._fitted if from_s < at_s < to_s), to_s]
        total = [0.0, 0.0, 0.0]
        for start, end in pairwise(joints):
            dose = self.light.dose(start, end)
            for channel, stops in enumerate(self.fitted(start)):
                total[channel] += dose * math.exp2(-stops)
        return (total[0], total[1], total[2])

    def exposure_rgb(self, from_s: float, to_s: float, f_number: float) -> Channels:
        """The same through an aperture, where 1.0 puts a mid-tone at its metered place at ISO 100."""
        scale = (_REFERENCE_F_NUMBER / f_number) ** 2 / self.reference_s
        red, green, blue = self.dose_rgb(from_s, to_s)
        return (red * scale, green * scale, blue * scale)

    def plain_s(self, f_number: float, iso: float, now_s: float) -> float:
        """The time that a meter would give now for a mid-tone, through what is fitted, as green sees it."""
        light = self.light.level(now_s) * math.exp2(-self.fitted(now_s)[1])
        return self.reference_s * (f_number / _REFERENCE_F_NUMBER) ** 2 * (_REFERENCE_ISO / iso) / light


def _exponential_dose(first: float, rate_stops_per_s: float, length_s: float) -> float:
    exponent = math.log(2) * rate_stops_per_s * length_s
    return first * length_s * (math.expm1(exponent) / exponent if exponent else 1.0)


def _integral(level: Callable[[float], float], from_s: float, to_s: float, panel_s: float) -> float:
    panels = max(1, math.ceil((to_s - from_s) / panel_s))
    half = (to_s - from_s) / panels / 2
    middles: Sequence[float] = [from_s + half * (2 * each + 1) for each in range(panels)]
    total = 0.0
    for middle in middles:
        for node, weight in _GAUSS:
            total += weight * (level(middle + half * node) + (level(middle - half * node) if node else 0.0))
    return total * half
