"""The scout frame: through the filter, a few seconds at a high ISO, before the long frame is risked.

Six stops of ISO turn minutes into seconds. It has about the base frame's level, so that the two can be compared.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from duskhold.light.dials import SHUTTER, Mark

WANTED_S = 4.0
WORTH_IT_S = 15.0
"""A long frame of less is as quickly taken again. Common practice, no source."""
LONGEST_S = 32.0
ISO_STOPS_MAX = 6
ISO_MAX = 6400.0
"""More noise than this hides what is looked for. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Scout:
    """The dial's mark and the ISO."""

    mark: Mark
    iso: float


def is_worth_it(plain_s: float) -> bool:
    """Whether the long frame costs enough more than a scout; a short one is its own scout."""
    return plain_s >= WORTH_IT_S


def isos_for(base_s: float, base_iso: float, glass_stops: float) -> tuple[float, ...]:
    """In full stops, the best first: the lowest with a short frame, then lower ones for a body that has not got it."""
    plain_s = base_s * math.exp2(glass_stops)
    allowed = [stops for stops in range(ISO_STOPS_MAX + 1) if base_iso * 2**stops <= ISO_MAX * 1.01] or [0]
    wanted = next((stops for stops in allowed if plain_s / 2**stops <= WANTED_S * 1.01), allowed[-1])
    return tuple(base_iso * 2**stops for stops in range(wanted, -1, -1))


def plan_scout(base_s: float, base_iso: float, glass_stops: float, iso: float) -> Scout:
    """The dial's time at this ISO; full stops only, which are the same on a dial of thirds and on one of halves."""
    wanted_s = min(base_s * math.exp2(glass_stops) * base_iso / iso, LONGEST_S)
    mark = SHUTTER.nearest(2.0 ** round(math.log2(wanted_s)))
    return Scout(mark, iso)
