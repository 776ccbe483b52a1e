"""Filters of neutral density: what a label says in stops, stacked, and per channel when measured.

Three label systems are in use and are told apart by how they are written: stops ("10", "6.2"), a density
("d3.0") and a factor ("x1000"). Measured channels are written red/green/blue in stops ("10.05/10.23/10.30").
D = -log10 T, stops = D / log10 2; densities, and so stops, add when filters are stacked (ISO 5-1, ISO 5-2:2009).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

STRONGEST_STOPS: Final = 30.0
"""No single filter is stronger; a larger number is a label of another system (common practice, no source)."""


class BadFilter(ValueError):
    """The label is not in one of the three systems; the message says what it may be."""


@dataclass(frozen=True, slots=True)
class Filter:
    """One filter: its label as written, the stops it takes, and red, green, blue in stops when measured."""

    label: str
    stops: float
    stops_rgb: tuple[float, float, float] | None = None


NO_FILTER: Final = Filter("none", 0.0)


def parse_filter(label: str) -> Filter:
    """Read one label: stops "10", density "d3.0", factor "x1000", or measured "10.05/10.23/10.30".

    A measured filter counts with its green channel. Errors: BadFilter.
    """
    bare = label.strip().lower()
    if bare == "none":
        return NO_FILTER
    if "/" in bare:
        return _measured(label.strip(), bare.split("/"))
    stops = _labelled_stops(label.strip(), bare)
    if not 0.0 <= stops <= STRONGEST_STOPS:
        raise BadFilter(_out_of_range(label, bare, stops))
    return Filter(label.strip(), stops)


def parse_filters(labels: str) -> tuple[Filter, ...]:
    """Read a list of labels with commas between, such as "6.2,d0.9"; "none" is the empty list.

    Errors: BadFilter.
    """
    if labels.strip().lower() in ("", "none"):
        return ()
    return tuple(parse_filter(label) for label in labels.split(","))


def stack(filters: Sequence[Filter]) -> Filter:
    """One filter that does what these do together; per channel as soon as one of them is measured."""
    if not filters:
        return NO_FILTER
    label = "+".join(each.label for each in filters)
    stops = math.fsum(each.stops for each in filters)
    if all(each.stops_rgb is None for each in filters):
        return Filter(label, stops)
    channels = [each.stops_rgb or (each.stops,) * 3 for each in filters]
    red, green, blue = (math.fsum(channel) for channel in zip(*channels, strict=True))
    return Filter(label, stops, (red, green, blue))


def stops_from_density(density: float) -> float:
    """Stops of an optical density: D / log10 2, 3.32193 stops for each unit."""
    return density / math.log10(2.0)


def density_from_stops(stops: float) -> float:
    """Optical density of a number of stops."""
    return stops * math.log10(2.0)


def _labelled_stops(label: str, bare: str) -> float:
    if bare.startswith("d"):
        return stops_from_density(_number(label, bare[1:]))
    if bare.startswith(("x", "×")):
        factor = _number(label, bare[1:])
        if factor <= 0.0:
            raise BadFilter(f"{label!r} lets no light through, or less; a filter takes 0 to {STRONGEST_STOPS:g} stops")
        return math.log2(factor)
    return _number(label, bare)


def _measured(label: str, channels: list[str]) -> Filter:
    if len(channels) != 3:
        raise BadFilter(f"{label!r} is not three channels in stops, red/green/blue")
    red, green, blue = (_number(label, channel) for channel in channels)
    if not all(0.0 <= stops <= STRONGEST_STOPS for stops in (red, green, blue)):
        raise BadFilter(f"{label!r}: a channel takes 0 to {STRONGEST_STOPS:g} stops")
    return Filter(label, green, (red, green, blue))


def _number(label: str, text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise BadFilter(f"{label!r} is not stops such as 10, a density such as d3.0, or a factor such as x1000")
    return number


def _out_of_range(label: str, bare: str, stops: float) -> str:
    if stops > STRONGEST_STOPS and bare[0].isdigit():
        return f"{label!r} reads as {stops:g} stops; a factor is written x{bare}, a density d{bare}"
    return f"{label!r} takes {stops:.3g} stops; a filter takes 0 to {STRONGEST_STOPS:g}"
