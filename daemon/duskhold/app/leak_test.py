"""The leak test: capped frames in daylight against a dark of the night, as the files tell of themselves."""

from __future__ import annotations

from pathlib import Path

from duskhold.app.copies import conditions_of
from duskhold.frames.caplight import SHARE_LIMIT, CapLight, measure_cap_light
from duskhold.frames.darks import Conditions, DarkUnsuited, mismatch
from duskhold.frames.picture_file import read_mosaic


def look_under_cap(
    capped: Path, dark: Path, longest_s: float, mid_tone_dn: float | None = None, limit: float = SHARE_LIMIT
) -> tuple[CapLight, float]:
    """What came in, and how long the capped frame was open.

    Raises `DarkUnsuited` where length, ISO or size differ, `PictureUnread`, `OSError`.
    """
    of_light, of_dark = conditions_of(capped, None), conditions_of(dark, None)
    reason = mismatch(_as_cold(of_dark), _as_cold(of_light))
    if reason is not None:
        raise DarkUnsuited(f"{dark.name} is no dark for {capped.name}: {reason}.")
    numbers, below = read_mosaic(capped), read_mosaic(dark)
    if numbers.numbers.shape != below.numbers.shape or numbers.pattern != below.pattern:
        raise DarkUnsuited(f"{capped.name} has other dimensions than {dark.name}.")
    return measure_cap_light(numbers, below, of_light.open_s, longest_s, mid_tone_dn, limit), of_light.open_s


def _as_cold(conditions: Conditions) -> Conditions:
    """A warmer sensor cannot be avoided in the sun; it raises every tile alike, and that is told."""
    return Conditions(conditions.open_s, conditions.iso, 0.0)
