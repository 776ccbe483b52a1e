"""Control families: how a body's shutter can be held, told by what the body offers, never by its name.

Families go by the number of their PTP vendor extension. The library lists the widget `bulb` once for every body
that takes a plain picture, whether it can be held or not; only a second entry, or one on a body that takes no plain
picture, is the body's own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum


class Holding(Enum):
    """By which of the library's widgets the shutter is held."""

    TOGGLE = "bulb"
    BUTTON = "eosremoterelease"
    BULB = "bulb that begins and ends"
    OPEN_CAPTURE = "movie"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class ControlFamily:
    """`proven` on the served body, at least; `needs` is what a person has to see to. `vendor_extension` 0 is none."""

    name: str
    vendor_extension: int
    holding: Holding
    proven: bool = True
    needs: tuple[str, ...] = ()

    @property
    def widget(self) -> str | None:
        """The library's widget that opens and closes, or None."""
        if self.holding is Holding.NONE:
            return None
        return Holding.TOGGLE.value if self.holding is Holding.BULB else self.holding.value


@dataclass(frozen=True, slots=True)
class Offer:
    """What a body says of itself: the names of its widgets, and its summary, which is asked for only when needed."""

    names: Sequence[str]
    summary: Callable[[], str]


_ON_BULB = "mode dial on M or B, shutter at bulb"
TOGGLE = ControlFamily("bulb toggle", 0x000A, Holding.TOGGLE)
BUTTON = ControlFamily("release button", 0x000B, Holding.BUTTON, needs=(_ON_BULB, "focus manual"))
BULB = ControlFamily("old bulb", 0x000B, Holding.BULB, needs=(_ON_BULB,))
OPEN_CAPTURE = ControlFamily("open capture", 0, Holding.OPEN_CAPTURE)
NO_FAMILY = ControlFamily("none", 0, Holding.NONE, needs=("a lead or a hand on the release: this body cannot be held",))
UNPROVEN = {
    0x0011: ("mode dial on M, shutter at Bulb",),
    0x000E: ("focus manual: it focuses before every frame and can wait for ever", "shutter at bulb"),
    0xFFFD: ("the body itself on bulb",),
    0x001C: ("mode dial on M or B",),
}
"""Other families whose bulb the library switches; written from its source, seen on no body and no instrument."""

_OWN_WIDGETS = {"controlmode": 0x000A, "eosmoviemode": 0x000B}
_ANYONES_BULB = 0x000E  # the entry that every body gets is this family's own


def family_of(offer: Offer) -> ControlFamily:
    """The control family of a body; `NO_FAMILY` when its shutter cannot be held."""
    vendor = vendor_of(offer)
    if vendor == BUTTON.vendor_extension and Holding.BUTTON.value in offer.names:
        return BUTTON
    if _has_own_bulb(offer, vendor):
        known = {each.vendor_extension: each for each in (TOGGLE, BULB)}
        if vendor in known:
            return known[vendor]
        if vendor in UNPROVEN:
            return ControlFamily("bulb toggle", vendor, Holding.TOGGLE, proven=False, needs=UNPROVEN[vendor])
    if Holding.OPEN_CAPTURE.value in offer.names and "Open Capture" in _capabilities(offer.summary()):
        return OPEN_CAPTURE
    return NO_FAMILY


def vendor_of(offer: Offer) -> int:
    """The PTP vendor extension, from a widget that only one has or else from the summary; 0 without one."""
    for name, vendor in _OWN_WIDGETS.items():
        if name in offer.names:
            return vendor
    said = re.search(r"^Vendor Extension ID: 0x([0-9a-f]+)", offer.summary(), re.MULTILINE)
    return int(said.group(1), 16) if said else 0


def _has_own_bulb(offer: Offer, vendor: int) -> bool:
    count = offer.names.count("bulb")
    if count >= 2 or not count:
        return count >= 2
    return vendor == _ANYONES_BULB or "Generic Image Capture" not in _capabilities(offer.summary())


def _capabilities(summary: str) -> str:
    """The words of the summary about capture, without those that say that there is none."""
    found = re.search(r"^\t(.*Image Capture.*)$", summary, re.MULTILINE)
    words = found.group(1).split(", ") if found else []
    return ", ".join(word for word in words if not word.startswith("No "))
