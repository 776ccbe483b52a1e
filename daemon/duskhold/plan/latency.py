"""Close minus open latency of a held exposure, from the levels of held frames against frames at a dial time.

A dial exposure is as long as its dial says, a true power of two; in steady light the level of a held frame beside it
tells how long that one really was. Light that drifts is removed by taking each held frame between two dial frames
(A-B-A, as in photometry's bracketing; common practice, no source).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

FEWEST_HELD = 3


@dataclass(frozen=True, slots=True)
class HeldFrame:
    """A held frame between two dial frames: levels above black in any one unit, `waited_s` between our two calls."""

    level_before: float
    level: float
    level_after: float
    waited_s: float


@dataclass(frozen=True, slots=True)
class Learnt:
    """`latency_s` as the mean of `frames` held frames; `sigma_s` is the doubt of one later frame's open time."""

    latency_s: float
    sigma_s: float
    frames: int
    drift_stops: float


class NotLearnable(ValueError):
    """The frames cannot tell; the message says why and what to do."""


def learn_latency(frames: Sequence[HeldFrame], dial_s: float, drift_max_stops: float = 0.1) -> Learnt:
    """Latency from held frames and the true time of the dial frames around them. Raises `NotLearnable`.

    A held frame was open for dial_s * level / sqrt(level_before * level_after); the latency is that less `waited_s`.
    """
    if len(frames) < FEWEST_HELD:
        raise NotLearnable(f"{len(frames)} held frames are too few to tell a spread; at least {FEWEST_HELD} are needed")
    if any(min(one.level_before, one.level, one.level_after) <= 0 for one in frames):
        raise NotLearnable("a frame has no light above black: open the aperture, raise the ISO or light the scene")
    drift_stops = max(abs(math.log2(one.level_after / one.level_before)) for one in frames)
    if drift_stops > drift_max_stops:
        raise NotLearnable(f"the light changed by {drift_stops:.2f} stop from frame to frame; find steadier light")
    found = [_latency_s(one, dial_s) for one in frames]
    spread_s = statistics.stdev(found)
    return Learnt(
        latency_s=statistics.fmean(found),
        # One frame has the spread of one, and the mean has its own share of it.
        sigma_s=spread_s * math.sqrt(1 + 1 / len(found)),
        frames=len(found),
        drift_stops=drift_stops,
    )


def interleave(dial_levels: Sequence[float], held: Sequence[tuple[float, float]]) -> list[HeldFrame]:
    """Held frames (level, waited seconds) with the dial frames before and after each: one dial frame more than held."""
    assert len(dial_levels) == len(held) + 1
    around = pairwise(dial_levels)
    return [
        HeldFrame(before, level, after, waited_s)
        for (before, after), (level, waited_s) in zip(around, held, strict=True)
    ]


def _latency_s(one: HeldFrame, dial_s: float) -> float:
    return dial_s * one.level / math.sqrt(one.level_before * one.level_after) - one.waited_s
