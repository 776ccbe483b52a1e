"""A picture as linear light: small cells for maps, one full plane for detail, and what is at full scale.

8-bit pictures (JPEG, PNG, TIFF) are taken to follow the curve of sRGB (IEC 61966-2-1), whatever their Exif says;
a camera's own tone curve departs from it, so levels from them are good near the mid-tone and raw files are better.
Raw files are linear by themselves. 16-bit pictures do not say what curve they follow and are refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.float32]
Numbers = NDArray[np.uint8] | NDArray[np.uint16]
Channels = tuple[float, float, float]
_Number = TypeVar("_Number", np.float32, np.uint16)

CELLS_ACROSS = 1024
"""About how many cells a picture is wide in `small`."""
MID_TONE_CODED = 0.18
"""Linear light of a mid-tone in a picture with the curve of sRGB: 118 of 255."""
MID_TONE_RAW = 0.104
"""The same in a raw file metered with K = 12.5: 3.263 stops under full scale (ISO 2720 and ISO 12232)."""
_FULL_FROM_8_BIT = 254  # the coding of a JPEG takes 255 to 254 here and there
_FULL_FROM_RAW = 0.995
_STRIP_CELLS = 16
_ROWS_SPARED_FROM = 4  # of a cell this large every second row tells as much


class Kind(Enum):
    """How a picture's numbers stand for light."""

    CODED = "8-bit picture"
    RAW = "raw file"


@dataclass(frozen=True, slots=True)
class Picture:
    """`small` and `clipped` are (rows, columns, 3): mean linear light (full scale is 1) and the share of pixels at
    full scale in cells of `cell_px` square; the picture's last columns and rows may be missing there. `detail` is the
    green plane, one number for `detail_px` square full-size pixels, and `curve` the light of each number.
    `width` and `height` are full-size pixels as shown, `turned_deg` is how far it was turned to be shown so.
    """

    kind: Kind
    width: int
    height: int
    turned_deg: int
    small: Plane
    clipped: Plane
    cell_px: int
    detail: Numbers
    detail_px: int
    curve: Plane
    clipped_share: Channels

    @property
    def mid_tone(self) -> float:
        """Linear light of a metered mid-tone."""
        return MID_TONE_CODED if self.kind is Kind.CODED else MID_TONE_RAW


def picture_from_coded(numbers: NDArray[np.uint8], turned_deg: int = 0, step_px: int = 1) -> Picture:
    """From 8-bit numbers (height, width, 3) in the order blue, green, red, as OpenCV has them.

    Each number stands for `step_px` square full-size pixels.
    """
    height, width = numbers.shape[:2]
    cell = max(1, round(width / CELLS_ACROSS))
    rows, columns = height // cell, width // cell
    small = np.empty((rows, columns, 3), np.float32)
    clipped = np.zeros((rows, columns, 3), np.float32)
    counts = np.zeros(3)
    every = 2 if cell % 2 == 0 and cell >= _ROWS_SPARED_FROM else 1
    for first in range(0, rows, _STRIP_CELLS):  # strips: the whole picture as numbers of 16 bits would double it
        last = min(rows, first + _STRIP_CELLS)
        strip = numbers[first * cell : last * cell : every, : columns * cell]
        size = (columns, last - first)
        light = cv2.resize(cv2.LUT(strip, _SRGB_16), size, interpolation=cv2.INTER_AREA)
        small[first:last] = light[..., ::-1]
        if strip.max() < _FULL_FROM_8_BIT:
            continue
        full = cv2.threshold(strip, _FULL_FROM_8_BIT - 1, 255, cv2.THRESH_BINARY)[1]
        clipped[first:last] = cv2.resize(full, size, interpolation=cv2.INTER_AREA)[..., ::-1]
        counts += np.asarray(cv2.mean(full)[2::-1]) / 255 * strip.shape[0] * strip.shape[1]
    small /= 65535  # in place: while the whole picture is held, two more copies of these would count
    clipped /= 255
    area = max(1, rows * (cell // every) * columns * cell)
    return Picture(
        kind=Kind.CODED,
        width=width * step_px,
        height=height * step_px,
        turned_deg=turned_deg,
        small=small,
        clipped=clipped,
        cell_px=cell * step_px,
        detail=np.asarray(cv2.extractChannel(numbers, 1), dtype=np.uint8),
        detail_px=step_px,
        curve=SRGB_LIGHT,
        clipped_share=_three(counts / area),
    )


@dataclass(frozen=True, slots=True)
class Mosaic:
    """A raw file's numbers, one a pixel: `pattern` tells which of R, G, B (0, 1, 2) lies where in two by two."""

    numbers: NDArray[np.uint16]
    pattern: tuple[tuple[int, int], tuple[int, int]]
    black: tuple[float, float, float, float]
    white: float
    turned_deg: int = 0
    neutral: Channels = (1.0, 1.0, 1.0)


def picture_from_mosaic(mosaic: Mosaic) -> Picture:
    """From raw numbers; two by two pixels become one of `detail`. `black` is in reading order of the pattern.

    `small` is balanced by `neutral`, what red, green and blue are multiplied with to make grey grey.
    """
    height, width = (side // 2 * 2 for side in mosaic.numbers.shape)
    places = [(row, column) for row in (0, 1) for column in (0, 1)]
    quads = {place: mosaic.numbers[place[0] : height : 2, place[1] : width : 2] for place in places}
    cell = max(1, round(width / 2 / CELLS_ACROSS))
    size = (width // 2 // cell, height // 2 // cell)
    small = np.zeros((size[1], size[0], 3), np.float32)
    clipped = np.zeros_like(small)
    shares = np.zeros(3)
    greens = [place for place in places if mosaic.pattern[place[0]][place[1]] == 1]
    for index, (row, column) in enumerate(places):
        channel = mosaic.pattern[row][column]
        weight = 1 / len(greens) if channel == 1 else 1.0
        black = mosaic.black[index]
        plane = np.ascontiguousarray(quads[row, column][: size[1] * cell, : size[0] * cell])
        light = (_reduce(plane, size) - np.float32(black)) / np.float32(mosaic.white - black)
        full = np.where(plane >= black + (mosaic.white - black) * _FULL_FROM_RAW, np.uint8(255), np.uint8(0))
        small[..., channel] += light * np.float32(weight * mosaic.neutral[channel])
        clipped[..., channel] += _reduce(full, size) * np.float32(weight / 255)
        shares[channel] += cv2.countNonZero(full) / full.size * weight
    turns = mosaic.turned_deg // 90
    return Picture(
        kind=Kind.RAW,
        width=height if turns % 2 else width,
        height=width if turns % 2 else height,
        turned_deg=mosaic.turned_deg,
        small=_turned(small, turns),
        clipped=_turned(clipped, turns),
        cell_px=2 * cell,
        detail=_turned(_mean_of([quads[place] for place in greens]), turns),
        detail_px=2,
        curve=_raw_curve(float(np.mean([mosaic.black[places.index(each)] for each in greens])), mosaic.white),
        clipped_share=_three(shares),
    )


def _mean_of(planes: list[NDArray[np.uint16]]) -> NDArray[np.uint16]:
    if len(planes) == 1:
        return np.ascontiguousarray(planes[0])
    mean = cv2.addWeighted(np.ascontiguousarray(planes[0]), 0.5, np.ascontiguousarray(planes[1]), 0.5, 0)
    return np.asarray(mean, dtype=np.uint16)


def _reduce(plane: Numbers, size: tuple[int, int]) -> Plane:
    # In 32 bits: a cell's mean is finer than the numbers it is made of.
    wide = plane.astype(np.float32)
    return np.asarray(cv2.resize(wide, size, interpolation=cv2.INTER_AREA), dtype=np.float32).reshape(size[::-1])


def _turned(plane: NDArray[_Number], turns: int) -> NDArray[_Number]:
    return np.ascontiguousarray(np.rot90(plane, -turns)) if turns else plane


def _three(values: NDArray[np.float64]) -> Channels:
    return float(values[0]), float(values[1]), float(values[2])


def _srgb_light() -> Plane:
    coded = np.arange(256) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _raw_curve(black: float, white: float) -> Plane:
    return ((np.arange(65536) - black) / (white - black)).astype(np.float32)


SRGB_LIGHT = _srgb_light()
"""Linear light of each of the 256 numbers of an 8-bit picture (IEC 61966-2-1)."""
_SRGB_16 = np.rint(SRGB_LIGHT * 65535).astype(np.uint16)
