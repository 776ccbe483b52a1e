"""Several long frames in a row while the light changes: each corrected for its own moment, and in which order.

At dusk the longest goes first and at dawn last, so that the times, and with them water and cloud, differ least.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from duskhold.light.opentime import Light, OpenTime, Unfinishable, curve_error_stops, solve_curve


class Order(StrEnum):
    """In which order a bracket is taken."""

    SHORTEST_FIRST = "shortest_first"
    LONGEST_FIRST = "longest_first"


@dataclass(frozen=True, slots=True)
class Member:
    """One frame of a bracket: seconds from metering to opening, how long it is held, and how far from the middle.

    `uncorrected_error_stops` is what holding its plain time at this opening would give.
    """

    step_stops: float
    opens_s: float
    open_s: float
    uncorrected_error_stops: float


@dataclass(frozen=True, slots=True)
class Bracket:
    """Frames in the order in which they are taken; `ends_s` after metering; `spread` is longest over shortest."""

    order: Order
    members: tuple[Member, ...]
    ends_s: float
    spread: float


@dataclass(frozen=True, slots=True)
class BracketUnfinishable:
    """A frame of the bracket that the light does not suffice for."""

    order: Order
    step_stops: float
    short: Unfinishable


def plan_bracket(
    light: Light, plain_s: float, steps_stops: Sequence[float], first_opens_s: float, gap_s: float, order: Order
) -> Bracket | BracketUnfinishable:
    """Open times of a bracket around `plain_s`, metered at second 0 of the light's clock, `gap_s` between frames."""
    opens_s, members = first_opens_s, []
    for step in sorted(steps_stops, reverse=order is Order.LONGEST_FIRST):
        dose_s = plain_s * math.exp2(step)
        found = solve_curve(light, dose_s, 0.0, opens_s)
        if not isinstance(found, OpenTime):
            return BracketUnfinishable(order, step, found)
        error = curve_error_stops(light, dose_s, 0.0, opens_s, dose_s)
        members.append(Member(step, opens_s, found.open_s, error))
        opens_s += found.open_s + gap_s
    lengths = [member.open_s for member in members]
    return Bracket(order, tuple(members), opens_s - gap_s, max(lengths) / min(lengths))


def best_bracket(
    light: Light, plain_s: float, steps_stops: Sequence[float], first_opens_s: float, gap_s: float
) -> Bracket | BracketUnfinishable:
    """Of both orders the one whose times differ least; the finishable one when the other is not."""
    both = [plan_bracket(light, plain_s, steps_stops, first_opens_s, gap_s, order) for order in Order]
    finished = [each for each in both if isinstance(each, Bracket)]
    return min(finished, key=lambda bracket: bracket.spread) if finished else both[0]
