"""A frame that cannot be finished, or not within the longest time allowed: what else could be done, each priced.

In the order in which it changes the picture least: a wider aperture by whole stops, the smallest step that just
ends in time, the same by ISO, a weaker set of filters, and taking it short.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from duskhold.light.dials import APERTURE, ISO
from duskhold.light.filters import Filter
from duskhold.light.forecast import Forecast
from duskhold.light.opentime import OpenTime
from duskhold.light.sign import signed

_SAME_STOPS = 0.02
"""A mark this near is the aperture that is meant."""
_HARDLY_OFF = 1.01
_MORE_STOPS = 3
_COMMON_WIDEST = 3.0
"""Up to f/2.8 most lenses of this work open (common practice, no source)."""


class Way(StrEnum):
    """What is changed."""

    APERTURE = "aperture"
    ISO = "iso"
    FILTER = "filter"
    ACCEPT = "accept"


@dataclass(frozen=True, slots=True)
class WayOut:
    """One way: what to set, how long it then takes, what it gains, and by how much it still falls short, in stops."""

    kind: Way
    setting: str
    open_s: float
    gains_stops: float
    shortfall_stops: float
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Stuck:
    """The frame as it was asked: plain time, seconds from metering to opening, longest time, and what is set.

    `f_number` and `iso` are None where they were not told; `filter_stops` is what is fitted. A time that departs from
    its plain time by more than `correction_max_stops` rests on too long a look ahead, and is said to.
    """

    plain_s: float
    opens_s: float
    longest_s: float
    filter_stops: float = 0.0
    f_number: float | None = None
    iso: float | None = None
    correction_max_stops: float = math.inf


def ways_out(
    stuck: Stuck, forecast: Forecast, sets: Sequence[tuple[tuple[str, ...], Filter]] = ()
) -> tuple[WayOut, ...]:
    """Every way out for a frame that the light, or the longest time, does not allow."""
    gathered_s = forecast.dose(stuck.opens_s, stuck.opens_s + stuck.longest_s)
    least_stops = max(0.0, math.log2(stuck.plain_s / gathered_s))
    fewest_stops = max(1.0, math.ceil(least_stops - 1e-9))
    whole_stops = _whole_stops(fewest_stops, stuck, forecast)
    # Where no dial has so many, the fewest, with the note of what they rest on.
    found = [
        _opened(whole_stops, stuck, forecast) or _opened(fewest_stops, stuck, forecast),
        _opened(least_stops, stuck, forecast),
        _faster(whole_stops, stuck, forecast) or _faster(fewest_stops, stuck, forecast),
        _weaker(stuck, forecast, sets),
        _short(stuck, forecast, stuck.longest_s),
        _short(stuck, forecast, 2.0 * stuck.longest_s),
    ]
    return tuple(way for way in found if way is not None)


def _whole_stops(fewest: float, stuck: Stuck, forecast: Forecast) -> float:
    """The fewest whole stops that end in time; some more where the time would else rest on too long a look ahead."""
    for more in range(_MORE_STOPS + 1):
        way = _gained(Way.APERTURE, "", fewest + more, stuck, forecast)
        if way is not None and way.note is None:
            return fewest + more
    return fewest


def _gained(way: Way, setting: str, stops: float, stuck: Stuck, forecast: Forecast) -> WayOut | None:
    found = forecast.solve(stuck.plain_s * math.exp2(-stops), stuck.opens_s)
    if not isinstance(found, OpenTime) or stops == 0.0:
        return None
    corrected_stops = math.log2(found.open_s / stuck.plain_s) + stops
    note = None
    if abs(corrected_stops) > stuck.correction_max_stops:
        note = (
            f"{signed(corrected_stops, 2)} stop for the light: more than is allowed, it rests on too long a look ahead"
        )
    return WayOut(way, setting, found.open_s, stops, 0.0, note)


def _weaker(stuck: Stuck, forecast: Forecast, sets: Sequence[tuple[tuple[str, ...], Filter]]) -> WayOut | None:
    # The strongest set that ends in time keeps most of the look; one that looks too far ahead only where there is none.
    rests_on_too_much = None
    for names, glass in sorted(sets, key=lambda one: -one[1].stops):
        gain = stuck.filter_stops - glass.stops
        if gain <= 0.0:
            continue
        way = _gained(Way.FILTER, "+".join(names) or "none", gain, stuck, forecast)
        if way is not None and way.open_s <= stuck.longest_s:
            note = f"a shorter frame: {glass.stops:.1f} stops in place of {stuck.filter_stops:.1f}, the look changes"
            told = _noted(way, note)
            if way.note is None:
                return told
            rests_on_too_much = rests_on_too_much or told
    return rests_on_too_much


def _short(stuck: Stuck, forecast: Forecast, held_s: float) -> WayOut | None:
    short_stops = math.log2(stuck.plain_s / forecast.dose(stuck.opens_s, stuck.opens_s + held_s))
    if short_stops <= 0.0:
        return None
    note = None if held_s <= stuck.longest_s else "longer than is allowed"
    return WayOut(Way.ACCEPT, f"{held_s:g} s", held_s, 0.0, short_stops, note)


def _opened(stops: float, stuck: Stuck, forecast: Forecast) -> WayOut | None:
    """None for an aperture that no dial has."""
    f_number = None if stuck.f_number is None else stuck.f_number * math.exp2(-stops / 2.0)
    if f_number is not None and f_number < APERTURE.thirds[0].true_value / _HARDLY_OFF:
        return None
    way = _gained(Way.APERTURE, _wider(f_number, stops), stops, stuck, forecast)
    if way is None or f_number is None or f_number > _COMMON_WIDEST:
        return way
    return _noted(way, "not every lens opens so wide")


def _noted(way: WayOut, note: str) -> WayOut:
    return replace(way, note=note if way.note is None else f"{note}; {way.note}")


def _wider(f_number: float | None, stops: float) -> str:
    if f_number is None:
        return f"{stops:.2f} stop wider"
    near = min(APERTURE.thirds, key=lambda mark: abs(math.log2(mark.true_value / f_number)))
    is_marked = 2.0 * abs(math.log2(near.true_value / f_number)) < _SAME_STOPS
    return f"{near.name if is_marked else f'f/{f_number:.2g}'} ({stops:.2f} stop wider)"


def _faster(stops: float, stuck: Stuck, forecast: Forecast) -> WayOut | None:
    """None for an ISO that no dial has."""
    if stuck.iso is None:
        return _gained(Way.ISO, f"{stops:.2f} stop faster", stops, stuck, forecast)
    iso = stuck.iso * math.exp2(stops)
    if iso > ISO.thirds[-1].true_value * _HARDLY_OFF:
        return None
    return _gained(Way.ISO, f"ISO {ISO.nearest(iso).name}", stops, stuck, forecast)
