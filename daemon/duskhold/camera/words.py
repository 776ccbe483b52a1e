"""What a body's words mean: two bodies say the same thing differently, and so do a dial and the library.

A meaning is a number (seconds, f-number, ISO) or one of a few plain words; words that mean nothing known are
their own meaning in small letters, so that they are only ever equal to themselves.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from duskhold.camera.port import Setting
from duskhold.light.dials import NotOnDial, marked_number

BULB = "bulb"
_SAME_WITHIN_STOPS = 0.02
_ROUNDING_S = 0.000051  # the wire counts tenths of a millisecond
_NUMBERS = {Setting.SHUTTER, Setting.APERTURE, Setting.ISO}
_ALIASES = {
    Setting.MODE: {"m": "manual", "a": "aperture", "av": "aperture", "p": "program"},
    Setting.SHUTTER: {"bulb": BULB, "b": BULB, "65535/65535": BULB},
    Setting.FOCUS: {"mf": "manual", "af-s": "single", "one shot": "single"},
    Setting.TARGET: {"memory card": "card", "internal ram": "memory", "sdram": "memory"},
}

Meaning = float | str


def meaning(setting: Setting, word: str) -> Meaning:
    """What `word` stands for in this setting."""
    plain = word.strip().lower()
    alias = _ALIASES.get(setting, {}).get(plain)
    if alias is not None:
        return alias
    if setting in _NUMBERS:
        return _number(plain)
    if setting is Setting.QUALITY:
        return _quality(plain)
    return plain


def same_meaning(setting: Setting, first: str, second: str) -> bool:
    """Whether two words stand for the same thing, numbers to within their own rounding."""
    one, other = meaning(setting, first), meaning(setting, second)
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    if setting is Setting.SHUTTER and abs(one - other) <= _ROUNDING_S:
        return True
    return abs(math.log2(one / other)) <= _SAME_WITHIN_STOPS


def find_choice(setting: Setting, wanted: str, choices: Sequence[str]) -> str | None:
    """The choice that is `wanted` or, failing that, means the same: of several the nearest, then the last.

    The last, because bodies list the smaller files first and the better ones after.
    """
    if wanted in choices:
        return wanted
    found = [each for each in choices if same_meaning(setting, wanted, each)]
    return min(reversed(found), key=lambda each: _distance(setting, wanted, each), default=None)


def _distance(setting: Setting, wanted: str, choice: str) -> float:
    one, other = meaning(setting, wanted), meaning(setting, choice)
    if isinstance(one, str) or isinstance(other, str):
        return 0.0
    return abs(one - other)


def _number(plain: str) -> Meaning:
    bare = re.sub(r"^(iso|f/?)\s*|\s*(sec|s)$", "", plain).replace(",", ".")
    try:
        number = marked_number(bare)
    except (ValueError, ZeroDivisionError, NotOnDial):
        return plain
    return number if math.isfinite(number) and number > 0 else plain


def _quality(plain: str) -> str:
    if "+" in plain:
        return "raw+jpeg"
    if "raw" in plain:
        return "raw"
    if "jpeg" in plain or "jpg" in plain:
        return "jpeg"
    return plain
