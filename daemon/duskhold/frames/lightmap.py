"""Light of two pictures compared place by place: level, colour, and what one has that the other has not.

The pictures' cells are gathered in blocks. Where a block's texture is the same in both (rock, land, buildings), a
straight line through its cells tells what multiplied the light (slope) from what was added to it (offset): a leak
adds, a lamp and a changed exposure multiply. Moving water and sky have no such line and are left out of everything
but the level.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.measure import WHOLE, Area
from duskhold.frames.motion import Motion
from duskhold.frames.picture import Picture

Floats = NDArray[np.float32]
Mask = NDArray[np.bool_]

BLOCKS_ACROSS = 32
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Of sRGB's primaries (IEC 61966-2-1)."""
_DARK = 0.0004
_STATIC_BLOCKS_MIN = 6
_STEADY_PERCENTILE = 65
_SAME_TEXTURE = 0.9
_FINE_CELLS = 2.0
_TEXTURE_MIN = 0.002
_BESIDE_LINE_MAX = 0.09
_ALIGN_FROM_CELLS = 0.2


@dataclass(frozen=True, slots=True)
class Cells:
    """Both pictures' cells on top of each other, `first` and `second` (rows, columns, 3), where `valid`."""

    first: Floats
    second: Floats
    valid: Mask
    mid_tone: float


@dataclass(frozen=True, slots=True)
class Blocks:
    """Per block (rows, columns, 3): means of both, slope and offset of the line between them; `same` has one."""

    first: Floats
    second: Floats
    slope: Floats
    offset: Floats
    same: Mask
    filled: Mask
    side: int

    def gains(self) -> Floats:
        """What multiplied the light of most static blocks, per channel; of all blocks where hardly one is static."""
        chosen = self.same if self.same.sum() >= _STATIC_BLOCKS_MIN else self.filled
        if not chosen.any():
            return np.ones(3, np.float32)
        ratios = self.second[chosen] / np.maximum(self.first[chosen], _DARK)
        return np.asarray(np.median(ratios, axis=0), dtype=np.float32)

    def contrast_left(self) -> float | None:
        """Contrast of static blocks, second over first, at equal light; a veil makes it fall. None when few are static.

        Counted from the better side: ripples that smooth out can look static, and only ever lose contrast.
        """
        if self.same.sum() < _STATIC_BLOCKS_MIN:
            return None
        left = self.slope[..., 1][self.same] / max(float(self.gains()[1]), 1e-6)
        return float(np.percentile(left, _STEADY_PERCENTILE))


def lay_cells(first: Picture, second: Picture, motion: Motion) -> Cells:
    """The second picture's cells brought onto the first's."""
    rows, columns = first.small.shape[:2]
    light, clipped = second.small, second.clipped
    inside = np.ones((rows, columns), np.float32)
    if motion.corner_px(first.width, first.height) > _ALIGN_FROM_CELLS * first.cell_px:
        matrix = motion.in_units_of(first.cell_px).matrix()
        middle = np.array([columns / 2 - 0.5, rows / 2 - 0.5])
        warp = np.column_stack([matrix[:, :2], matrix[:, 2] + middle - matrix[:, :2] @ middle])
        size, inverse = (columns, rows), cv2.WARP_INVERSE_MAP
        # Linear between cells would take fine detail from the light, as dew and drops do; black beyond the edge light.
        finer = cv2.INTER_LANCZOS4 | inverse
        light = np.asarray(cv2.warpAffine(light, warp, size, flags=finer, borderMode=cv2.BORDER_REPLICATE), np.float32)
        clipped, inside = (
            np.asarray(cv2.warpAffine(each, warp, size, flags=cv2.INTER_LINEAR | inverse), dtype=np.float32)
            for each in (clipped, inside)
        )
    unclipped = _is_zero(first.clipped) & _is_zero(clipped)
    valid = unclipped & (inside > 0.999) & (first.small[..., 1] > _DARK)
    return Cells(first.small, np.asarray(light, dtype=np.float32), np.asarray(valid), first.mid_tone)


def level_stops(cells: Cells, area: Area | Floats = WHOLE) -> float | None:
    """How much brighter the second picture is over the area, or by a weight for each cell; None when nothing there can
    be compared.
    """
    if not isinstance(area, Area):
        return _weighted_stops(cells, area)
    rows, columns = cells.valid.shape
    part = (
        slice(int(area.top * rows), max(int(area.top * rows) + 1, round(area.bottom * rows))),
        slice(int(area.left * columns), max(int(area.left * columns) + 1, round(area.right * columns))),
    )
    valid = np.ascontiguousarray(cells.valid[part], dtype=np.uint8)
    if valid.sum() < max(4, 0.02 * valid.size):
        return None
    first, second = (
        float(np.dot(cv2.mean(np.ascontiguousarray(each[part]), mask=valid)[:3], LUMINANCE))
        for each in (cells.first, cells.second)
    )
    return float(np.log2(second / first)) if first > 0 and second > 0 else None


def _weighted_stops(cells: Cells, weights: Floats) -> float | None:
    counted = np.where(cells.valid, weights, np.float32(0))
    if counted.sum() < max(4.0, 0.02 * float(weights.sum())):
        return None
    first, second = (
        float(((each @ LUMINANCE) * counted).sum(dtype=np.float64)) for each in (cells.first, cells.second)
    )
    return float(np.log2(second / first)) if first > 0 and second > 0 else None


def gather_blocks(cells: Cells) -> Blocks:
    """Blocks of cells, about `BLOCKS_ACROSS` across, with the line through each."""
    columns = cells.valid.shape[1]
    side = max(4, round(columns / BLOCKS_ACROSS))
    valid = _blocked(cells.valid.astype(np.float32)[..., None], side)
    count = np.maximum(valid.sum(axis=2), 1)
    first, second = _blocked(cells.first, side) * valid, _blocked(cells.second, side) * valid
    mean_first, mean_second = (np.einsum("rcsk->rck", each) / count for each in (first, second))
    from_first, from_second = first - mean_first[:, :, None] * valid, second - mean_second[:, :, None] * valid
    spread_first, spread_second, together = (
        np.einsum("rcsk,rcsk->rck", one, other) / count
        for one, other in ((from_first, from_first), (from_second, from_second), (from_first, from_second))
    )
    slope = together / np.maximum(spread_first, 1e-12)
    filled = count[..., 0] >= 0.5 * side * side
    # What the line leaves over: a rock with water beside it follows the line by and large, and not closely.
    beside = np.sqrt(np.maximum(spread_second - slope * together, 0))[..., 1]
    close = beside < _BESIDE_LINE_MAX * np.maximum(mean_second[..., 1], 1e-6)
    same = filled & close & (_likeness(cells, side) > _SAME_TEXTURE)
    return Blocks(mean_first, mean_second, slope, mean_second - slope * mean_first, same, filled, side)


def _is_zero(planes: Floats) -> Mask:
    return np.asarray((planes[..., 0] <= 0) & (planes[..., 1] <= 0) & (planes[..., 2] <= 0))


def _likeness(cells: Cells, side: int) -> Floats:
    """Correlation of fine texture in each block: a sky's slope of light is alike in both and says nothing."""
    fine = []
    for light in (cells.first, cells.second):
        root = np.sqrt(np.maximum(light[..., 1], 0))
        detail = root - cv2.GaussianBlur(root, (0, 0), _FINE_CELLS)
        fine.append(_blocked(np.where(cells.valid, detail, 0)[..., None].astype(np.float32), side)[..., 0])
    spread_first, spread_second, together = (fine[0] ** 2).sum(2), (fine[1] ** 2).sum(2), (fine[0] * fine[1]).sum(2)
    likeness = together / np.sqrt(np.maximum(spread_first * spread_second, 1e-14))
    textured = np.sqrt(spread_first / side**2) > _TEXTURE_MIN
    return np.asarray(np.where(textured, likeness, 0), dtype=np.float32)


def _blocked(values: Floats, side: int) -> Floats:
    rows, columns = values.shape[0] // side, values.shape[1] // side
    cut = values[: rows * side, : columns * side]
    shaped = cut.reshape(rows, side, columns, side, values.shape[2]).transpose(0, 2, 1, 3, 4)
    return np.ascontiguousarray(shaped.reshape(rows, columns, side * side, values.shape[2]))
