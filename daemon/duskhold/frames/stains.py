"""What fell, crept or shone into a picture: leaks, lamps, drops, dark corners, a filter's edge that slipped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.lightmap import LUMINANCE, Blocks, Cells, Floats, Mask

Values = NDArray[np.float32] | NDArray[np.float64] | NDArray[np.floating[Any]]

_LAMP_STOPS_FROM = 0.2
_SPOT_SHARE = 0.2
_SPOT_SIGMAS = 8.0
_SPOT_WIDTHS = (0.01, 0.06)
_SPOT_UNIT = 0.006  # of the width: about how far a drop of the least width reaches
_SPOT_WINDOW = 0.6
_SPOT_NOISE = 0.22
_SPOT_HOT_TIMES = 1.5
_SPOT_TEXTURE = 1e-4
_SPOT_OVER_NOISE = 4.0
_SPOT_DARK = 0.005  # of full scale
_SPOT_DETAIL_LEFT = 0.5
_SPOT_BLURS = 0.8
_SPOT_DARK_SHARE = 0.4
_SPOT_SPOILT = 0.6
_SPOT_STILL_DETAIL = 0.77
_SPOT_STILL_LEVEL = 0.045
_SPOT_STILL_AROUND = 0.75
_SPOT_STILL_MIN = 0.01
_SPOT_PLAIN_COUNTS = 0.4  # what shows no texture may hold still or not
_LEAK_CONTRAST_KEPT = 0.93
_LEAK_UNEVEN = 0.5
_NEIGHBOURS_MIN = 6
_REDUCED_BY = 4
_STEP_STOPS = 0.6  # the weakest graduated filters take a stop; mist over rocks brightens a band by less
_STEP_AGREE = 0.7
_STEP_KNOWN_SHARE = 0.3


@dataclass(frozen=True, slots=True)
class Leak:
    """Added light in shares of the mid-tone at its worst place (x, y as shares), and the edge it comes from.

    Told on the low side, by half of what neighbouring places differ by.
    """

    worst_share: float
    place: tuple[float, float]
    edge: str


@dataclass(frozen=True, slots=True)
class Spot:
    """A drop or smear: place and width as shares of the picture's width and height."""

    place: tuple[float, float]
    width: float


def find_leak(blocks: Blocks, gains: Floats, mid_tone: float) -> Leak | None:
    """The strongest smooth addition of light over static blocks; None when too few are static."""
    if blocks.same.sum() < 6:
        return None
    over_mean = blocks.second - gains * blocks.first
    added = np.minimum(over_mean, blocks.offset)
    share = np.where(_kept_contrast(blocks, gains, _LEAK_CONTRAST_KEPT)[..., None], added, np.nan) / mid_tone
    # Less what neighbours differ by: stray light is smooth, a lamp's light and ripples that pass for rock are not.
    near = _neighbours(share)
    middle = _median(near)
    smooth = middle - _LEAK_UNEVEN * _median(np.abs(near - middle))
    strongest = np.nanmax(smooth, axis=2, initial=0.0, where=np.isfinite(smooth))
    row, column = np.unravel_index(int(np.argmax(strongest)), strongest.shape)
    rows, columns = strongest.shape
    place = ((float(column) + 0.5) / columns, (float(row) + 0.5) / rows)
    return Leak(max(0.0, float(strongest[row, column])), place, _nearest_edge(place))


def find_lamp(blocks: Blocks, gains: Floats) -> tuple[float, tuple[float, float]] | None:
    """The strongest local, coloured brightening of static blocks in stops, and where; None when there is none."""
    ratio = np.log2(np.maximum(blocks.second, 1e-6) / np.maximum(gains * blocks.first, 1e-6))
    multiplied = np.log2(np.maximum(blocks.slope, 1e-3) / np.maximum(gains, 1e-3))
    stops = np.where(blocks.same[..., None], np.minimum(ratio, multiplied), np.nan)
    smooth = _median(_neighbours(stops))
    finite = np.isfinite(smooth).all(axis=2)
    coloured = np.where(finite, smooth.max(axis=2) - smooth.min(axis=2), 0)
    brighter = np.where(finite & (coloured > _LAMP_STOPS_FROM / 2), smooth.max(axis=2), 0)
    if brighter.max() < _LAMP_STOPS_FROM or (brighter > _LAMP_STOPS_FROM).mean() > 0.3:
        return None
    row, column = np.unravel_index(int(np.argmax(brighter)), brighter.shape)
    place = ((float(column) + 0.5) / brighter.shape[1], (float(row) + 0.5) / brighter.shape[0])
    return float(brighter[row, column]), place


def corner_stops(blocks: Blocks, gains: Floats) -> float | None:
    """How much darker the corners have become against the middle (negative is darker); the second darkest counts."""
    ratio = _luminance_stops(blocks, gains)
    rows, columns = ratio.shape
    down, across = max(1, rows // 8), max(1, columns // 8)
    usable = np.where(blocks.filled, ratio, np.nan)
    corners = [
        usable[rows_at, columns_at]
        for rows_at in (slice(0, down), slice(rows - down, rows))
        for columns_at in (slice(0, across), slice(columns - across, columns))
    ]
    middle = usable[rows // 3 : rows - rows // 3, columns // 3 : columns - columns // 3]
    known = [float(np.nanmedian(each)) for each in corners if np.isfinite(each).mean() > 0.5]
    if len(known) < 3 or not np.isfinite(middle).any():
        return None
    return sorted(known)[1] - float(np.nanmedian(middle))


def slipped_step(cells: Cells, blocks: Blocks, gains: Floats) -> tuple[float, float] | None:
    """A band across all static parts that is darker or brighter: its height as a share, and by how many stops."""
    rows, columns = cells.valid.shape
    static = _static_cells(blocks.same, blocks.side, rows, columns) & cells.valid
    size = (24, min(rows, 160))
    first, second = (_reduced(each @ LUMINANCE, static, size) for each in (cells.first, cells.second / gains))
    known = np.isfinite(first) & np.isfinite(second) & (first > 0) & (second > 0)
    ratio = np.where(known, np.log2(np.where(known, second, 1) / np.where(known, first, 1)), np.nan)
    enough = known.mean(axis=1) > _STEP_KNOWN_SHARE
    middle = np.array(
        [np.median(line[ok]) if good else 0.0 for line, ok, good in zip(ratio, known, enough, strict=True)]
    )
    middle[enough] -= np.median(middle[enough]) if enough.any() else 0.0
    agree = np.array([_share_like(line, value) for line, value in zip(ratio, middle, strict=True)])
    band = (np.abs(middle) > _STEP_STOPS) & (agree > _STEP_AGREE)
    runs = _runs(band)
    if not runs:
        return None
    start, end = max(runs, key=lambda run: run[1] - run[0])
    height = (end - start) / len(middle)
    if not 0.01 < height < 0.3 or start == 0 or end == len(middle):
        return None
    return height, float(np.median(middle[start:end]))


def find_spots(cells: Cells, gains: Floats) -> list[Spot]:
    """Compact patches, with what holds still around them, that are brighter, darker or emptier of detail than before.

    Cell by cell: a drop of the usual size lies on several of the blocks, and none of them looks still any more.
    """
    first, second = (_luminance(each) for each in (cells.first * gains, cells.second))
    second = _without_hot(second, first)
    unit = first.shape[1] * _SPOT_UNIT
    texture = _texture_left(first, second, unit, cells.valid)
    if texture.still.mean() < _SPOT_STILL_MIN:
        return []
    # In shares of the light around: a crevice that a little stray light fills is no spot.
    change = np.asarray((second - first) / np.maximum(_blur(first, unit * 4), 1e-5), dtype=np.float32)
    weights = texture.still.astype(np.float32)
    level = _blur(change, unit / 2) - _blur(change * weights, unit * 4) / np.maximum(_blur(weights, unit * 4), 1e-3)
    scatter = 1.4826 * float(np.median(np.abs(level[texture.still])))
    by_light = (np.abs(level) > max(_SPOT_SHARE, _SPOT_SIGMAS * scatter)) & cells.valid
    by_detail = texture.seen & (texture.left < _SPOT_DETAIL_LEFT) & cells.valid
    # A drop blurs what lies behind it, dust takes light from it; water between rocks only shines as it did not before.
    spoilt = (texture.left < _SPOT_BLURS) | (level < -_SPOT_DARK_SHARE)
    # Beside water the wide look of a rock's texture reaches over the edge; the water's light gives it away.
    calm = (texture.still | ~texture.seen) & (np.abs(level) < _SPOT_STILL_LEVEL)
    around = np.where(calm, np.where(texture.still, 1.0, _SPOT_PLAIN_COUNTS), 0.0)
    found = [*_compact(by_light, around, spoilt, unit), *_compact(by_detail, around, by_detail, unit)]
    return _each_once(found, first.shape[1] / first.shape[0])


def _without_hot(second: Floats, first: Floats) -> Floats:
    """Without single bright cells that the first has not: enough hot pixels would hide what lies behind them."""
    around, around_first = cv2.medianBlur(second, 3), cv2.medianBlur(first, 3)
    hot = (second > _SPOT_HOT_TIMES * around) & (first < _SPOT_HOT_TIMES * around_first)
    return np.asarray(np.where(hot, around, second), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class _Texture:
    """Fine detail around each cell: the share that is `left` in the second picture, whether there was enough to be
    `seen` over the noise, and whether it is `still` there.
    """

    left: Floats
    seen: Mask
    still: Mask


def _texture_left(first: Floats, second: Floats, unit: float, valid: Mask) -> _Texture:
    # Of neighbouring cells together: what a noisy frame has from one cell to the next is no detail to be lost.
    fine = [_blur(each, unit * _SPOT_NOISE) / _blur(each, unit / 2) - 1 for each in (first, second)]
    window = unit * _SPOT_WINDOW
    power = _blur(fine[0] ** 2, window)
    left = np.asarray(_blur(fine[0] * fine[1], window) / np.maximum(power, 1e-9), dtype=np.float32)
    seen = np.asarray(power > _SPOT_TEXTURE)
    still = seen & (left > _SPOT_STILL_DETAIL) & valid
    if still.any():
        # Noise is what the pictures do not have in common where nothing changed. In shares of the light it goes with
        # one over it, and near black, where the reading's own noise shows, with one over its square.
        light = _blur(second, window)
        grown = (1 + _SPOT_DARK / light) / light
        beside = _blur(fine[1] ** 2, window) - left**2 * power
        seen &= power > _SPOT_OVER_NOISE * np.median((beside / grown)[still]) * grown
    return _Texture(left, seen, still & seen)


def _each_once(spots: list[Spot], width_to_height: float) -> list[Spot]:
    """Without those that lie on another one: a drop may show by its light and by its want of detail."""
    kept: list[Spot] = []
    for spot in sorted(spots, key=lambda one: -one.width):
        x, y = spot.place
        if all(np.hypot(x - one.place[0], (y - one.place[1]) / width_to_height) > one.width for one in kept):
            kept.append(spot)
    return kept


def _kept_contrast(blocks: Blocks, gains: Floats, least: float) -> Mask:
    """Static blocks whose texture is as strong as it was: ripples that smooth out can look alike, and weaker."""
    left = blocks.slope[..., 1] / max(float(gains[1]), 1e-6)
    return np.asarray(blocks.same & (left > least))


def _compact(mask: Mask, around: Values, spoilt: Mask, unit: float) -> list[Spot]:
    """Patches of the size and shape of a drop that are `spoilt` by and large, in a ring of what holds still."""
    rows, columns = mask.shape
    count, labels, stats, middles = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    reach = max(1, round(unit))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    found = []
    for label in range(1, count):
        left, top, width, height, area = (int(each) for each in stats[label])
        across = 2 * np.sqrt(area / np.pi)
        if not _SPOT_WIDTHS[0] * columns <= across <= _SPOT_WIDTHS[1] * columns:
            continue
        if area < 0.5 * width * height or max(width, height) > 2.2 * min(width, height):
            continue
        if left == 0 or top == 0 or left + width == columns or top + height == rows:
            continue
        edge = 2 * reach + 1
        part = (
            slice(max(0, top - edge), top + height + edge),
            slice(max(0, left - edge), left + width + edge),
        )
        patch = labels[part] == label
        if spoilt[part][patch].mean() < _SPOT_SPOILT:
            continue
        near = cv2.dilate(patch.astype(np.uint8), disc)
        ring = (cv2.dilate(near, disc) > 0) & (near == 0)
        if ring.any() and around[part][ring].mean() > _SPOT_STILL_AROUND:
            found.append(Spot((middles[label][0] / columns, middles[label][1] / rows), across / columns))
    return found


def _static_cells(same: Mask, side: int, rows: int, columns: int) -> Mask:
    closed = cv2.morphologyEx(np.pad(same.astype(np.uint8), 2), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    inner = closed[2:-2, 2:-2]
    full = np.repeat(np.repeat(inner, side, 0), side, 1)
    mask = np.zeros((rows, columns), bool)
    mask[: full.shape[0], : full.shape[1]] = full > 0
    return mask


def _neighbours(values: Values) -> Values:
    """Five by five blocks around each, along the first axis; NaN beyond the edge."""
    reach, side = 2, 5
    padded = np.pad(values, ((reach, reach), (reach, reach), (0, 0)), constant_values=np.nan)
    rows, columns = values.shape[:2]
    return np.stack(
        [padded[row : row + rows, column : column + columns] for row in range(side) for column in range(side)]
    )


def _median(near: Values) -> NDArray[np.float64]:
    """Over such neighbours, where the middle and enough of the others are known, else NaN."""
    known = np.isfinite(near)
    count = known.sum(axis=0)
    enough = (count >= _NEIGHBOURS_MIN) & known[len(near) // 2]
    ordered = np.sort(np.where(known, near, np.inf), axis=0)
    middle = np.take_along_axis(ordered, np.maximum((count - 1) // 2, 0)[None], axis=0)[0]
    return np.where(enough, middle, np.nan)


def _luminance(light: Floats) -> Floats:
    return np.asarray(np.maximum(light @ LUMINANCE, 1e-5), dtype=np.float32)


def _luminance_stops(blocks: Blocks, gains: Floats) -> Floats:
    first, second = blocks.first @ LUMINANCE, (blocks.second / gains) @ LUMINANCE
    return np.asarray(np.log2(np.maximum(second, 1e-6) / np.maximum(first, 1e-6)), dtype=np.float32)


def _nearest_edge(place: tuple[float, float]) -> str:
    distances = {"left": place[0], "right": 1 - place[0], "top": place[1], "bottom": 1 - place[1]}
    return min(distances, key=lambda edge: distances[edge])


def _reduced(plane: Values, valid: Mask, size: tuple[int, int]) -> Floats:
    total = cv2.resize(np.where(valid, plane, 0).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    share = cv2.resize(valid.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.asarray(np.where(share > 0.5, total / np.maximum(share, 1e-6), np.nan), dtype=np.float32)


def _share_like(line: Floats, value: float) -> float:
    known = line[np.isfinite(line)]
    return float((np.sign(value) * known > 0.5 * abs(value)).mean()) if known.size else 0.0


def _runs(band: Mask) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], band, [False]]).astype(np.int8)))
    return [(int(start), int(end)) for start, end in zip(edges[::2], edges[1::2], strict=True)]


def _blur(plane: Floats, sigma: float) -> Floats:
    if sigma < 2 * _REDUCED_BY:
        return np.asarray(cv2.GaussianBlur(plane, (0, 0), max(0.5, sigma)), dtype=np.float32)
    rows, columns = plane.shape
    size = (max(1, columns // _REDUCED_BY), max(1, rows // _REDUCED_BY))
    reduced = cv2.GaussianBlur(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), (0, 0), sigma / _REDUCED_BY)
    return np.asarray(cv2.resize(reduced, (columns, rows), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
