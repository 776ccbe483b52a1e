"""The level of a raw frame: how much light an area of it holds, per channel, read from the mosaic itself.

Nothing is developed: no white balance, no tone curve, no interpolation between the pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rawpy
from numpy.typing import NDArray

_CHANNELS = ("R", "G", "B")
Numbers = NDArray[np.float64]


class MeasureError(Exception):
    """A frame whose level cannot be told; the message says why. `code` is for programs."""

    code = "not_measured"


class NotRaw(MeasureError):
    """The file is not there, or no raw file that can be read."""

    code = "not_raw"


class AreaTooSmall(MeasureError):
    """The area has no pixel of one of the channels."""

    code = "area_too_small"


class NoLight(MeasureError):
    """A level that is not above black has no ratio to another."""

    code = "no_light"


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle as shares of the picture's width and height, from its upper left corner."""

    left: float = 0.0
    top: float = 0.0
    right: float = 1.0
    bottom: float = 1.0

    def __post_init__(self) -> None:
        assert 0.0 <= self.left < self.right <= 1.0 and 0.0 <= self.top < self.bottom <= 1.0, "shares of the picture"


WHOLE = Area()


@dataclass(frozen=True, slots=True)
class Level:
    """Means above black of an area, in the raw file's own numbers, and the share of its pixels that are clipped.

    A mean of clipped pixels is too low: a level is worth what `clipped_share` lets it be worth.
    """

    red: float
    green: float
    blue: float
    clipped_share: float

    def stops_over(self, other: Level) -> tuple[float, float, float]:
        """How much brighter this is than `other`, in stops for red, green and blue. Raises `NoLight`."""
        return (
            _stops(self.red, other.red),
            _stops(self.green, other.green),
            _stops(self.blue, other.blue),
        )


def measure_level(path: Path, area: Area = WHOLE) -> Level:
    """The level of an area of a raw file with a mosaic of red, green and blue. Raises `MeasureError`."""
    try:
        with rawpy.imread(str(path)) as raw:
            return _level(raw, path, area)
    except (rawpy.LibRawError, OSError) as error:
        raise NotRaw(f"{path} cannot be read as a raw file ({_said(error)}).") from error


def _level(raw: Any, path: Path, area: Area) -> Level:
    if raw.raw_pattern is None:
        raise NotRaw(f"{path} has no mosaic of red, green and blue: it was developed already.")
    window = _window(raw.raw_image_visible.shape, area)
    numbers = raw.raw_image_visible[window].astype(np.float64)
    filters = raw.raw_colors_visible[window]
    above_black = numbers - np.asarray(raw.black_level_per_channel, dtype=np.float64)[filters]
    letters = raw.color_desc.decode("ascii")
    means = {letter: _mean(above_black, filters, letters, letter, path) for letter in _CHANNELS}
    clipped = float(np.mean(numbers >= raw.white_level))
    return Level(means["R"], means["G"], means["B"], clipped)


def _window(shape: tuple[int, ...], area: Area) -> tuple[slice, slice]:
    height, width = shape
    rows = slice(math.floor(area.top * height), math.ceil(area.bottom * height))
    columns = slice(math.floor(area.left * width), math.ceil(area.right * width))
    return rows, columns


def _mean(above_black: Numbers, filters: NDArray[np.uint8], letters: str, letter: str, path: Path) -> float:
    # Two greens of a mosaic are two colours to the reader: both count as green.
    wanted = np.isin(filters, [index for index, each in enumerate(letters) if each == letter])
    if not wanted.any():
        raise AreaTooSmall(f"{path}: the area has no pixel of channel {letter}; take a larger one.")
    return float(above_black[wanted].mean())


def _stops(level: float, other: float) -> float:
    if level <= 0.0 or other <= 0.0:
        raise NoLight("there is no light above black to compare.")
    return math.log2(level / other)


def _said(error: Exception) -> str:
    said = error.args[0] if error.args else type(error).__name__
    return said.decode(errors="replace") if isinstance(said, bytes) else str(said)
