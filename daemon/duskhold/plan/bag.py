"""The filter bag and what to fit: from a wanted time, apertures and ISO values to proposals in order of merit.

At most two filters together. Base ISO comes first; then the least distance from the wanted time, a second filter and
a move of the aperture each costing a little. A polariser is no filter of this kind: it goes on before the base frame.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from typing import Final

from duskhold.light.filters import Filter, stack
from duskhold.light.forecast import Forecast
from duskhold.light.opentime import OpenTime

MOST_FILTERS: Final = 2
POLARISER_CAUTION: Final = (
    "Fit and turn the polariser before the base frame: its loss is then metered, and the glare it removes is no light "
    "to be paid for. On blue sky wider than about 28 mm it leaves an uneven band."
)
_SECOND_FILTER_STOPS = 0.04
_APERTURE_MOVE_SHARE = 0.02
_SAME_SHARE = 1e-6


@dataclass(frozen=True, slots=True)
class BagFilter:
    """A filter as its owner has it. `infrared` notes what was seen of it; a polariser's stops are a constant."""

    name: str
    glass: Filter
    sigma_stops: float
    measured_on: date | None = None
    infrared: str | None = None
    polariser: str | None = None


@dataclass(frozen=True, slots=True)
class Setting:
    """A setting of a dial: its mark and its true value."""

    name: str
    true_value: float


@dataclass(frozen=True, slots=True)
class Kit:
    """What may be set: the bag, the apertures in the sharp range, the ISO values, lowest first."""

    bag: tuple[BagFilter, ...]
    apertures: tuple[Setting, ...]
    isos: tuple[Setting, ...]


@dataclass(frozen=True, slots=True)
class Wanted:
    """A time to come near to, and the bounds within which the look holds."""

    wanted_s: float
    shortest_s: float
    longest_s: float


@dataclass(frozen=True, slots=True)
class Base:
    """The base exposure without filters: true time, f-number and ISO."""

    base_s: float
    f_number: float
    iso: float


@dataclass(frozen=True, slots=True)
class Proposal:
    """What to fit and set, and what comes of it. `off_stops` is the distance from the wanted time."""

    filters: tuple[str, ...]
    filter_stops: float
    aperture: Setting
    iso: Setting
    open_s: float
    off_stops: float
    fits: bool
    merit: float


def stacks(bag: Sequence[BagFilter]) -> tuple[tuple[tuple[str, ...], Filter], ...]:
    """Nothing, each filter alone, each pair: names and what they take together."""
    plates = [one for one in bag if one.polariser is None]
    sets = [chosen for count in range(MOST_FILTERS + 1) for chosen in combinations(plates, count)]
    return tuple((tuple(one.name for one in chosen), stack([one.glass for one in chosen])) for chosen in sets)


def propose(wanted: Wanted, base: Base, kit: Kit, forecast: Forecast, opens_s: float) -> tuple[Proposal, ...]:
    """Every set of filters, aperture and ISO that gives the look, best first; if none does, the nearest one."""
    asked = [
        _Asked(names, glass.stops, aperture, iso, _plain_s(glass.stops, aperture, iso, base))
        for names, glass in stacks(kit.bag)
        for aperture in kit.apertures
        for iso in kit.isos
    ]
    # Longer plain times take longer: only those between the bounds of the look need their open time.
    least_s = forecast.dose(opens_s, opens_s + wanted.shortest_s) * (1.0 - _SAME_SHARE)
    most_s = forecast.dose(opens_s, opens_s + wanted.longest_s) * (1.0 + _SAME_SHARE)
    inside = [one for one in asked if least_s <= one.plain_s <= most_s]
    found = [each for one in inside if (each := _proposal(one, wanted, base, forecast, opens_s)) is not None]
    fitting = [one for one in found if one.fits]
    if not fitting:
        beside = _beside(asked, least_s, most_s)
        found += [each for one in beside if (each := _proposal(one, wanted, base, forecast, opens_s)) is not None]
        return tuple(sorted(found, key=lambda one: abs(one.off_stops))[:1])
    base_iso = min(iso.true_value for iso in kit.isos)
    return tuple(sorted(fitting, key=lambda one: (math.log2(one.iso.true_value / base_iso), one.merit)))


def plan_b(
    wanted: Wanted, base: Base, kit: Kit, forecast: Forecast, opens_s: float, later_min: Sequence[float] = (10.0, 20.0)
) -> tuple[tuple[float, Proposal | None], ...]:
    """The best proposal for the light so many minutes later."""
    found = []
    for minutes in later_min:
        best = propose(wanted, base, kit, forecast, opens_s + 60.0 * minutes)
        found.append((minutes, best[0] if best else None))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Asked:
    names: tuple[str, ...]
    stops: float
    aperture: Setting
    iso: Setting
    plain_s: float


def _beside(asked: Sequence[_Asked], least_s: float, most_s: float) -> list[_Asked]:
    """Those next to the bounds, on either side."""
    shorter = max((one.plain_s for one in asked if one.plain_s < least_s), default=None)
    longer = min((one.plain_s for one in asked if one.plain_s > most_s), default=None)
    return [one for one in asked if one.plain_s in (shorter, longer)]


def _plain_s(stops: float, aperture: Setting, iso: Setting, base: Base) -> float:
    narrower = (aperture.true_value / base.f_number) ** 2
    return base.base_s * math.exp2(stops) * narrower * base.iso / iso.true_value


def _proposal(asked: _Asked, wanted: Wanted, base: Base, forecast: Forecast, opens_s: float) -> Proposal | None:
    """None when the light does not suffice."""
    solved = forecast.solve(asked.plain_s, opens_s)
    if not isinstance(solved, OpenTime):
        return None
    open_s = solved.open_s
    off_stops = math.log2(open_s / wanted.wanted_s)
    moved = abs(2.0 * math.log2(asked.aperture.true_value / base.f_number))
    merit = abs(off_stops) + _SECOND_FILTER_STOPS * max(0, len(asked.names) - 1) + _APERTURE_MOVE_SHARE * moved
    fits = wanted.shortest_s <= open_s <= wanted.longest_s
    return Proposal(asked.names, asked.stops, asked.aperture, asked.iso, open_s, off_stops, fits, merit)
