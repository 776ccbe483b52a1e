"""Which of the library's widgets stands for which setting: by name only, never by label or place in the tree."""

from __future__ import annotations

from collections.abc import Collection

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
    Setting.WHITE_BALANCE: ("whitebalance",),
    Setting.DRIVE: ("drivemode", "capturemode"),
    Setting.BRACKETING: ("aeb", "bracketing"),
    Setting.EXPOSURE_DELAY: ("exposuredelaymode", "capturedelay"),
    Setting.MIRROR_LOCK: ("mirrorlock",),
    Setting.AUTO_ISO: ("isoauto", "autoiso"),
    Setting.STABILISER: ("imagestabilization", "d138"),
    Setting.ELECTRONIC_SHUTTER: ("shuttertype", "silentmode", "d315"),
    Setting.LIVE_VIEW: ("output",),
}
"""Preference from left to right: several names stand for one meaning, and bodies have one or two of them."""

HELD_BY = "shutter is held by"
MISLEADING = {0x000E: frozenset({"availableshots"})}
"""Widgets that mean something else in a vendor extension: there it counts free places in memory, not on the card
(libgphoto2 2.5.34, camlibs/ptp2/config.c)."""


def widget_for(setting: Setting, names: Collection[str]) -> str | None:
    """The widget to use for a setting on a body that offers these."""
    return next((each for each in WIDGETS[setting] if each in names), None)


def widgets_of(holding: str | None, names: Collection[str]) -> dict[str, str]:
    """The widgets that matter on a body that offers these, by what they stand for."""
    found = {setting.value: widget_for(setting, names) for setting in WIDGETS}
    held = {} if holding is None else {HELD_BY: holding}
    return held | {meant: name for meant, name in found.items() if name is not None}
