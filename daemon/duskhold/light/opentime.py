"""How long to hold the shutter when the light changes between metering and closing.

The plain time `plain_s` would be right if the light stayed as metered; the shutter opens `delay_s` later and must
gather plain_s times the metered level. Constant rate, a = ln 2 x stops per second:
T = ln(1 + a T0 e^(-a d)) / a, without solution in fading light once |a| T0 e^(|a| d) >= 1 (same family as Tyson
and Gal 1993, AJ 105, 1206). Along a curve the integral itself is solved, since a real dusk steepens and then
flattens to a floor.
"""

import math
from dataclasses import dataclass
from typing import Final, Protocol

LONGEST_SEARCH_S: Final = 7200.0
"""How far along a curve an end is looked for."""

_LN2 = math.log(2.0)
_TOLERANCE_S = 1e-9
_LEAST_RATE = 1e-100


class Light(Protocol):
    """Light over time, in any unit, by its own clock in seconds."""

    def level(self, at_s: float) -> float:
        """The light at an instant; positive."""

    def dose(self, from_s: float, to_s: float) -> float:
        """Its integral between two instants."""


@dataclass(frozen=True, slots=True)
class OpenTime:
    """Hold the shutter `open_s`. `most_plain_s` is the longest plain time possible, None when unlimited."""

    open_s: float
    most_plain_s: float | None


@dataclass(frozen=True, slots=True)
class Unfinishable:
    """The light does not suffice, for ever or within `within_s`.

    `most_plain_s` is the longest plain time, as metered, that can be gathered; `shortfall_stops` how much more
    than that was asked.
    """

    most_plain_s: float
    shortfall_stops: float
    within_s: float | None


def solve_constant(rate_stops_per_min: float, plain_s: float, delay_s: float) -> OpenTime | Unfinishable:
    """Open time under a constant rate (positive brightens), closed form, stable down to a rate of zero."""
    assert plain_s > 0.0 and delay_s >= 0.0, "times are positive"
    a = _per_s(rate_stops_per_min)
    if a == 0.0:
        return OpenTime(plain_s, None)
    # Logarithm of |a| T0 e^(-a d): a delay of hours at a fast rate must not overflow.
    u = math.log(abs(a)) + math.log(plain_s) - a * delay_s
    if a > 0.0:
        return OpenTime(_log1p_exp(u) / a, None)
    most_plain_s = math.exp(a * delay_s) / -a
    if u >= 0.0:
        return Unfinishable(most_plain_s, u / _LN2, None)
    return OpenTime(_log1m_exp(u) / a, most_plain_s)


def solve_curve(
    light: Light, plain_s: float, metered_s: float, opens_s: float, within_s: float = LONGEST_SEARCH_S
) -> OpenTime | Unfinishable:
    """Open time along a curve of light, from its integral; "not within" after `within_s` of holding.

    `metered_s` and `opens_s` are instants on the curve's own clock.
    """
    assert plain_s > 0.0 and opens_s >= metered_s, "times are positive"
    metered = light.level(metered_s)
    most_plain_s = light.dose(opens_s, opens_s + within_s) / metered
    if plain_s > most_plain_s:
        return Unfinishable(most_plain_s, math.log2(plain_s / most_plain_s), within_s)
    return OpenTime(_end_of_dose(light, plain_s * metered, opens_s, within_s), most_plain_s)


def constant_error_stops(rate_stops_per_min: float, plain_s: float, delay_s: float, held_s: float) -> float:
    """Error in stops (positive = over) of holding `held_s` under a constant rate."""
    assert plain_s > 0.0 and held_s > 0.0, "times are positive"
    a = _per_s(rate_stops_per_min)
    return (a * delay_s + _log_expm1_over(a * held_s)) / _LN2 + math.log2(held_s / plain_s)


def curve_error_stops(light: Light, plain_s: float, metered_s: float, opens_s: float, held_s: float) -> float:
    """Error in stops (positive = over) of holding `held_s` along a curve of light."""
    assert plain_s > 0.0 and held_s > 0.0, "times are positive"
    return math.log2(light.dose(opens_s, opens_s + held_s) / (plain_s * light.level(metered_s)))


def _per_s(rate_stops_per_min: float) -> float:
    # Under this a rate is no rate, and near the smallest numbers it would lose its digits.
    return _LN2 * rate_stops_per_min / 60.0 if abs(rate_stops_per_min) > _LEAST_RATE else 0.0


def _end_of_dose(light: Light, wanted: float, opens_s: float, within_s: float) -> float:
    """Newton's method on the integral, kept inside a bracket that halves when a step would leave it."""
    low, high = 0.0, within_s
    open_s = min(within_s, wanted / light.level(opens_s))
    while high - low > _TOLERANCE_S:
        missing = wanted - light.dose(opens_s, opens_s + open_s)
        low, high = (open_s, high) if missing > 0.0 else (low, open_s)
        step_s = missing / light.level(opens_s + open_s)
        if abs(step_s) < _TOLERANCE_S:
            return open_s + step_s
        open_s += step_s
        if not low < open_s < high:
            open_s = (low + high) / 2.0
    return high


def _log1p_exp(u: float) -> float:
    return u + math.log1p(math.exp(-u)) if u > 0.0 else math.log1p(math.exp(u))


def _log1m_exp(u: float) -> float:
    return math.log(-math.expm1(u)) if u > -_LN2 else math.log1p(-math.exp(u))


def _log_expm1_over(x: float) -> float:
    """ln((e^x - 1) / x), 0 at x = 0."""
    if x == 0.0:
        return 0.0
    return max(x, 0.0) + math.log(-math.expm1(-abs(x))) - math.log(abs(x))
