"""Looks: what moving things become in a picture, and how long that takes.

Starting values: times and tolerances are common practice of the trade, no source; measure your own water and sky.
"""

import math
from dataclasses import dataclass
from typing import Final


class UnknownLook(ValueError):
    """No look of this name; the message lists those there are."""


@dataclass(frozen=True, slots=True)
class Look:
    """A look: times in seconds from `shortest_s` to `longest_s`, and the share by which a wanted time may differ."""

    name: str
    shortest_s: float
    longest_s: float
    tolerance_share: float
    governed_by: str

    @property
    def wanted_s(self) -> float:
        """The middle of its times, in stops."""
        return math.sqrt(self.shortest_s * self.longest_s)

    def bounds_s(self, wanted_s: float) -> tuple[float, float]:
        """Shortest and longest time that still give the look when `wanted_s` is wanted."""
        return wanted_s * (1.0 - self.tolerance_share), wanted_s * (1.0 + self.tolerance_share)


CLOUD_STREAKS: Final = "cloud-streaks"
LOOKS: Final = (
    Look("wave-burst", 1 / 8, 1 / 4, 0.20, "wave speed; when it is released matters more than the time"),
    Look("wash", 0.4, 0.8, 0.15, "about a tenth of the wave period; release as the wave starts back"),
    Look("foam-streaks", 1.0, 4.0, 0.25, "under half a wave period of 5 to 12 s"),
    Look("soft-water", 5.0, 15.0, 0.30, "one to two wave periods"),
    Look("mist", 30.0, 60.0, 0.50, "over four to ten wave periods; beyond 60 s little changes"),
    Look("smooth-water", 15.0, 60.0, 0.50, "wavelets of rivers and harbours average quickly"),
    Look("veil", 0.3, 2.0, 0.25, "falls: threads still told apart"),
    Look("silk", 4.0, 8.0, 0.25, "falls: blown out and flat when too long"),
    Look(CLOUD_STREAKS, 30.0, 300.0, 0.25, "wind, height, lens, direction: measure the shift of two pictures"),
    Look("cloud-veil", 240.0, 600.0, 0.50, "several cloud lengths pass"),
    Look("no-people", 120.0, 240.0, 0.50, "a walker covers a point for 0.36 s; who stands 10 s stays faintly"),
    Look("traffic", 10.0, 30.0, 0.30, "a whole number of passes per bend"),
)
"""The table of starting values."""


def find_look(name: str, looks: tuple[Look, ...] = LOOKS) -> Look:
    """The look of this name. Errors: UnknownLook."""
    for look in looks:
        if look.name == name.strip().lower():
            return look
    raise UnknownLook(f"{name!r} is no look; there are {', '.join(look.name for look in looks)}")


def looks_of(open_s: float, looks: tuple[Look, ...] = LOOKS) -> tuple[Look, ...]:
    """Which looks a time falls into."""
    return tuple(look for look in looks if look.shortest_s <= open_s <= look.longest_s)
