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
_SWITCH = {"0": "off", "1": "on"}
_ALIASES = {
    Setting.MODE: {"m": "manual", "a": "aperture", "av": "aperture", "p": "program", "b": BULB},
    Setting.SHUTTER: {"bulb": BULB, "b": BULB, "time": "time", "65535/65535": BULB, "10.3": "10", "20.3": "20"},
    Setting.FOCUS: {"af-s": "single", "one shot": "single", "automatic": "single"},
    Setting.TARGET: {"memory card": "card", "internal ram": "memory", "sdram": "memory"},
    Setting.DRIVE: {"single shot": "single", "burst": "continuous"},
    Setting.BRACKETING: _SWITCH,
    Setting.EXPOSURE_DELAY: _SWITCH,
    Setting.MIRROR_LOCK: _SWITCH,
    Setting.AUTO_ISO: _SWITCH,
    Setting.STABILISER: _SWITCH,
    Setting.ELECTRONIC_SHUTTER: {**_SWITCH, "mechanical": "off", "electronic": "on"},
    Setting.LIVE_VIEW: {**_SWITCH, "pc": "on", "tft": "on"},
}

_PATTERNS = {
    Setting.FOCUS: ((r"manual|(preset )?mf\b", "manual"),),
    Setting.WHITE_BALANCE: ((r".*\b(auto|awb)", "auto"),),
    Setting.DRIVE: (
        (r".*bracket", "bracketing"),
        (r".*timer|self|delayed", "self_timer"),
        (r".*mirror", "mirror_up"),
        (r".*(continuous|burst|speed|lapse)", "continuous"),
        (r".*(single|quiet)", "single"),
    ),
    Setting.EXPOSURE_DELAY: ((r"0+(\.0+)?\s*s(ec)?\b", "off"),),
}
"""How the words of a meaning begin, where bodies have more of them than a table could list (libgphoto2 2.5.34,
camlibs/ptp2/config.c); the first that fits counts."""
DRIVES = frozenset(word for _, word in _PATTERNS[Setting.DRIVE])

Meaning = float | str


def meaning(setting: Setting, word: str) -> Meaning:
    """What `word` stands for in this setting."""
    plain = word.strip().lower()
    alias = _ALIASES.get(setting, {}).get(plain, plain)
    if setting in _NUMBERS:
        return _number(alias)
    if alias != plain:
        return alias
    if setting is Setting.QUALITY:
        return _quality(plain)
    return next((word for pattern, word in _PATTERNS.get(setting, ()) if re.match(pattern, plain)), plain)


def same_meaning(setting: Setting, first: str, second: str) -> bool:
    """Whether two words stand for the same thing, numbers to within their own rounding."""
    one, other = meaning(setting, first), meaning(setting, second)
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    if setting is Setting.SHUTTER and abs(one - other) <= _ROUNDING_S:
        return True
    return abs(math.log2(one / other)) <= _SAME_WITHIN_STOPS


def took(setting: Setting, said: str, wanted: str) -> bool:
    """Whether a body that was told `wanted`, and now `said` this, has taken it. A clock has gone on meanwhile."""
    return setting is Setting.CLOCK or same_meaning(setting, said, wanted)


def battery_percent(word: str | None) -> int | None:
    """What is left in the battery; some families tell it in words. None where it is not told or means nothing known."""
    plain = (word or "").strip().lower()
    if plain in ("low", "empty"):
        return 0
    digits = re.fullmatch(r"(\d{1,3})\s*%?", plain)
    return int(digits.group(1)) if digits else None


def find_choice(setting: Setting, wanted: str, choices: Sequence[str]) -> str | None:
    """The choice that is `wanted` or, failing that, means the same: of several the nearest or plainest, then the last.

    The last, because bodies list the smaller files first and the better ones after.
    """
    if wanted in choices:
        return wanted
    found = [each for each in choices if same_meaning(setting, wanted, each)]
    return min(reversed(found), key=lambda each: _distance(setting, wanted, each), default=None)


def _strangeness(setting: Setting, wanted: str, choice: str) -> float:
    plain = choice.strip().lower()
    if plain == wanted.lower():
        return 0.0
    return 0.5 if plain in _ALIASES.get(setting, {}) else 1.0


def spell_as(setting: Setting, wanted: str, said: str) -> str:
    """`wanted` as a number when the body `said` a number for one of its words; otherwise as it is."""
    if not said.strip().isdigit():
        return wanted
    numbers = [each for each in _ALIASES.get(setting, {}) if each.isdigit() and same_meaning(setting, each, wanted)]
    return numbers[0] if numbers else wanted


def _distance(setting: Setting, wanted: str, choice: str) -> float:
    one, other = meaning(setting, wanted), meaning(setting, choice)
    if isinstance(one, str) or isinstance(other, str):
        return _strangeness(setting, wanted, choice)
    return abs(one - other)


def _number(plain: str) -> Meaning:
    bare = re.sub(r"^(iso|f/?)\s*|\s*(sec|s)$", "", plain).replace(",", ".")
    try:
        number = marked_number(bare)
    except (ValueError, ZeroDivisionError, NotOnDial):
        return plain
    return number if math.isfinite(number) and number > 0 else plain


def _quality(plain: str) -> str:
    if re.fullmatch(r"c?[lms]\d?", plain):  # sizes, as one family names its JPEG files
        return "jpeg"
    second = "heif" if "heif" in plain else "jpeg"
    if "+" in plain or "&" in plain:
        return f"raw+{second}"
    if "raw" in plain:
        return "raw"
    if second == "heif":
        return "heif"
    # Some families name the grade of a JPEG alone.
    if re.search(r"jpe?g|fine|normal|basic|light", plain) or plain in ("standard", "std"):
        return "jpeg"
    return plain
