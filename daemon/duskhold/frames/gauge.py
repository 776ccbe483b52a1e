"""The level of one picture over an evening's area: that of its base frame without lamps, for every frame the same."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from duskhold.frames.findings import BaseMemory

PATIENCE_S = 25.0
"""Level and verdict together have a minute: an evening that waits longer takes the frame for a picture fault."""


@dataclass(frozen=True, slots=True)
class Gauging:
    """A question to the measuring process: the level of the picture `gauge` over the area of `base`, or its own."""

    gauge: str
    base: str | None = None


@dataclass(frozen=True, slots=True)
class Gauged:
    """Mean of the area in shares of a mid-tone (0 for no light above black), and its uncertainty in stops."""

    share: float
    sigma_stops: float
    at_least: bool


def gauge(question: Gauging, memory: BaseMemory) -> Gauged:
    """The level; over the picture's own area where the base frame is not of its size.

    Raises `PictureUnread`, `MeasureError` or `OSError`.
    """
    from duskhold.frames.measure import NoLight
    from duskhold.frames.picture_file import read_picture_soon
    from duskhold.frames.reading import area_weights, measure_area, without_lamps

    picture = read_picture_soon(Path(question.gauge))
    weights = without_lamps(picture, area_weights(picture))
    if question.base is not None:
        base, _ = memory.base(Path(question.base), read_picture_soon)
        if base.small.shape == picture.small.shape:
            weights = without_lamps(base, area_weights(base))
    try:
        level = measure_area(picture, weights)
    except NoLight:
        return Gauged(0.0, 1.0, False)
    return Gauged(level.rgb[1] / picture.mid_tone, level.sigma_stops, level.at_least)
