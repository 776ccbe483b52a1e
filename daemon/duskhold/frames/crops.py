"""Evidence for a verdict: the same small places of two frames, at full size, the base frame's above the other's."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.picture import Picture

CROP_PX = 120
_GAP_PX = 4
_GAP_GREY = 128
_TRIED_MAX = 160
_JPEG_QUALITY = 85
_MID_TONE_CODED = 0.18

Place = tuple[float, float]
Corner = tuple[int, int]


def crops_jpeg(base: Picture, other: Picture, faults: Sequence[Place], count: int) -> bytes:
    """`count` places side by side as a JPEG: `faults` (x, y as shares) first, then those richest in detail in both."""
    rows, columns = base.detail.shape
    side = min(CROP_PX, rows // 3, columns // 3)
    places = [_around(place, rows, columns, side) for place in faults][:count]
    places += _richest(base, other, side, places, count - len(places))
    above, below = ([_crop(picture, place, side) for place in places] for picture in (base, other))
    return jpeg_of(np.vstack([_row(above), np.full((_GAP_PX, _width(side, len(places)), 3), _GAP_GREY), _row(below)]))


def jpeg_of(numbers: NDArray[Any]) -> bytes:
    """8-bit red, green, blue as a JPEG."""
    turned = np.ascontiguousarray(numbers[..., ::-1].astype(np.uint8))
    _, content = cv2.imencode(".jpg", turned, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    return bytes(content)


def coded(light: NDArray[np.floating[Any]]) -> NDArray[np.uint8]:
    """Linear light as the 8-bit numbers of sRGB (IEC 61966-2-1)."""
    clipped = np.clip(light, 0, 1)
    curve = np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * np.maximum(clipped, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(curve * 255), dtype=np.uint8)


def _around(place: Place, rows: int, columns: int, side: int) -> Corner:
    top, left = round(place[1] * rows - side / 2), round(place[0] * columns - side / 2)
    return min(max(top, 0), rows - side), min(max(left, 0), columns - side)


def _richest(base: Picture, other: Picture, side: int, taken: Sequence[Corner], count: int) -> list[Corner]:
    rows, columns = base.detail.shape
    grid = [
        (top, left) for top in range(0, rows - side + 1, side // 2) for left in range(0, columns - side + 1, side // 2)
    ]
    tried = grid[:: max(1, len(grid) // _TRIED_MAX)]
    scored = [(min(_detail_at(picture, place, side) for picture in (base, other)), place) for place in tried]
    chosen: list[Corner] = []
    for _, place in sorted(scored, reverse=True):
        if len(chosen) >= count:
            break
        if all(abs(place[0] - top) + abs(place[1] - left) > 2 * side for top, left in [*taken, *chosen]):
            chosen.append(place)
    return chosen


def _light_at(picture: Picture, place: Corner, side: int) -> NDArray[np.float32]:
    top, left = place
    return picture.curve[picture.detail[top : top + side, left : left + side]]


def _detail_at(picture: Picture, place: Corner, side: int) -> float:
    light = np.sqrt(np.clip(_light_at(picture, place, side), 0, 1))
    return float(np.abs(cv2.Laplacian(cv2.GaussianBlur(light, (0, 0), 1.0), cv2.CV_32F)).mean())


def _crop(picture: Picture, place: Corner, side: int) -> NDArray[np.uint8]:
    light = _light_at(picture, place, side)
    # Each crop to its own mid-tone: they are compared for sharpness and place.
    grey = coded(light * np.float32(_MID_TONE_CODED / max(float(light.mean()), 1e-6)))
    return np.repeat(grey[..., None], 3, axis=2)


def _row(crops: Sequence[NDArray[np.uint8]]) -> NDArray[np.uint8]:
    gap = np.full((crops[0].shape[0], _GAP_PX, 3), _GAP_GREY, np.uint8)
    parts = [part for crop in crops for part in (crop, gap)][:-1]
    return np.hstack(parts)


def _width(side: int, count: int) -> int:
    return count * side + (count - 1) * _GAP_PX
