"""Which of the library's widgets stands for which setting, and which control family a body belongs to.

By name only, never by label or by place in the tree. A family shows in the widgets that the library offers for it
and for no other.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from duskhold.camera.port import Setting

WIDGETS: dict[Setting, tuple[str, ...]] = {
    Setting.MODE: ("autoexposuremodedial", "expprogram", "expprogram2", "shootingmode", "autoexposuremode"),
    Setting.SHUTTER: ("shutterspeed2", "shutterspeed"),
    Setting.APERTURE: ("f-number", "aperture"),
    Setting.ISO: ("iso",),
    Setting.QUALITY: ("imageformat", "imagequality"),
    Setting.FOCUS: ("focusmode", "focusmode2", "afmode"),
    Setting.TARGET: ("capturetarget",),
    Setting.SHOTS_LEFT: ("availableshots",),
    Setting.BATTERY: ("batterylevel",),
    Setting.CLOCK: ("datetime",),
    Setting.DARK_FRAME: ("longexpnr",),
}
"""Preference from left to right: several names stand for one meaning, and bodies have one or two of them."""


@dataclass(frozen=True, slots=True)
class ControlFamily:
    """How a body's shutter is held. `vendor_extension` is 0 where the widgets do not tell."""

    name: str
    vendor_extension: int
    needs: frozenset[str]


TOGGLE = ControlFamily("bulb toggle", 0x000A, frozenset({"bulb", "controlmode", "capturetarget"}))
NO_FAMILY = ControlFamily("none", 0, frozenset())
_FAMILIES = (TOGGLE,)


def family_of(names: Collection[str]) -> ControlFamily:
    """The control family of a body that offers these widgets; `NO_FAMILY` when its shutter cannot be held."""
    return next((each for each in _FAMILIES if each.needs <= set(names)), NO_FAMILY)


def widget_for(setting: Setting, names: Collection[str]) -> str | None:
    """The widget to use for a setting on a body that offers these."""
    return next((each for each in WIDGETS[setting] if each in names), None)
