"""What happened to fine detail between two pictures: how much of it is left, and whether edges are there twice.

The pieces that did not move give the transfer from the first picture to the second, frequency by frequency, as the
cross spectrum over the first's own power; noise in the second picture, even a scout frame's, averages out of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.registration import Registration
from duskhold.frames.tiles import frequencies

Band = NDArray[np.bool_]

COARSE_BAND = (0.02, 0.07)
FINE_BAND = (0.12, 0.28)
"""In cycles a pixel of `detail`."""
_STEADY_SHARE = 0.4
_STEADY_MIN = 6
_COARSE_LEFT_MIN = 0.05
_TAPER = 0.22
_NEAREST_GHOST_PX = 1.8
_GHOST_MIN = 0.16
_GHOST_SIGMAS = 6.0
_DETAIL_MIN = 2e-5
_TOP_FROM = 0.47  # cycles a pixel: past what most lenses show
_DETAIL_SHARE = 0.5
_RICH_MIN = 3


@dataclass(frozen=True, slots=True)
class Blur:
    """`sharpness_ratio`: fine detail left, second over first, where coarse detail is 1 (1 is as sharp as the first).
    `second_edge_share`: height of a second edge against the first, 0 when there is none, at `second_edge_px`
    full-size pixels. All None when there is too little detail.
    """

    sharpness_ratio: float | None
    second_edge_share: float | None
    second_edge_px: tuple[float, float] | None


NOTHING = Blur(None, None, None)


def measure_blur(registration: Registration, detail_px: int) -> Blur:
    """From the pieces that did not move. `detail_px` is how many full-size pixels one of `detail` is."""
    pairs, static = registration.pairs, registration.static
    size = pairs.tiles.size
    along_x, along_y, total = frequencies(size)
    first = pairs.first[static]
    turn = np.exp(
        2j * np.pi * (pairs.shifts[static, 0, None, None] * along_x + pairs.shifts[static, 1, None, None] * along_y)
    )
    cross = np.conj(first) * pairs.second[static] * turn
    power = np.abs(first) ** 2
    fine, coarse = _in_band(total, FINE_BAND), _in_band(total, COARSE_BAND)
    if power[:, fine].mean() / size**2 < _DETAIL_MIN:
        return NOTHING
    noise = _noise_power(cross.real, power, total)
    steady = _steadiest(cross, fine, coarse)
    ratio = _sharpness(cross[steady].real, power[steady], noise[steady], fine, coarse)
    if ratio is None:
        return NOTHING
    share, place = _second_edge(cross, power, total, size)
    place_px = None if place is None else (place[0] * detail_px, place[1] * detail_px)
    return Blur(ratio, share, place_px)


def _in_band(total: NDArray[np.float64], band: tuple[float, float]) -> NDArray[np.bool_]:
    return np.asarray((total >= band[0]) & (total < band[1]))


def _noise_power(
    cross: NDArray[np.float32], power: NDArray[np.float32], total: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Of each piece of the first picture, from its highest frequencies: what it does not share there with the second.
    So texture that reaches so far is no noise, and where there is next to none, as in fog, noise is no texture.
    """
    top = total > _TOP_FROM
    shared = np.maximum(cross[:, top].mean(axis=1), 0)
    return np.asarray(np.maximum(power[:, top].mean(axis=1) - shared, 0), dtype=np.float32)


def _steadiest(cross: NDArray[np.complex64], fine: Band, coarse: Band) -> NDArray[np.int64]:
    """Pieces whose detail keeps its place best: blur leaves the phases alone, water beside a rock does not."""
    phases = cross.real / np.maximum(np.abs(cross), 1e-20)
    kept = np.maximum(phases[:, fine].mean(axis=1), 0) * np.maximum(phases[:, coarse].mean(axis=1), 0) ** 2
    count = max(_STEADY_MIN, int(_STEADY_SHARE * len(kept)))
    return np.argsort(-kept)[:count]


def _sharpness(
    cross: NDArray[np.float32], power: NDArray[np.float32], noise: NDArray[np.float32], fine: Band, coarse: Band
) -> float | None:
    """Fine detail left over coarse detail left, piece by piece; their median, weighted by how much detail there is."""
    detail = power[:, fine].sum(axis=1) - noise * fine.sum()
    left_coarse = cross[:, coarse].sum(axis=1) / np.maximum(power[:, coarse].sum(axis=1), 1e-20)
    rich = (detail > _DETAIL_SHARE * power[:, fine].sum(axis=1)) & (left_coarse > _COARSE_LEFT_MIN)
    if rich.sum() < _RICH_MIN:
        return None
    ratios = cross[rich][:, fine].sum(axis=1) / detail[rich] / left_coarse[rich]
    weights = np.sqrt(detail[rich])
    order = np.argsort(ratios)
    half = np.searchsorted(np.cumsum(weights[order]), weights.sum() / 2)
    return max(0.0, float(ratios[order][half]))


def _second_edge(
    cross: NDArray[np.complex64], power: NDArray[np.float32], total: NDArray[np.float64], size: int
) -> tuple[float, tuple[float, float] | None]:
    """The strongest peak of the transfer's own picture (what a point became) apart from the first."""
    summed = power.sum(axis=0)
    floor = 0.02 * float(np.median(summed[total < 0.3]))
    transfer = cross.sum(axis=0) / (summed + floor)
    transfer = transfer * np.exp(-((total / _TAPER) ** 2)) * (total > 0.012)
    point = np.fft.fftshift(np.fft.irfft2(transfer, s=(size, size)))
    middle = size // 2
    rows, columns = np.mgrid[0:size, 0:size] - middle
    near = point[np.abs(rows).max(axis=1) <= 2][:, np.abs(columns).max(axis=0) <= 2]
    highest = float(near.max())
    if highest <= 0:
        return 0.0, None
    top = np.unravel_index(int(near.argmax()), near.shape)
    away = np.hypot(rows - (top[0] - 2), columns - (top[1] - 2))
    peaks = point == cv2.dilate(point, np.ones((3, 3)))
    scatter = 1.4826 * float(np.median(np.abs(point[away > size / 4])))
    candidates = np.where(peaks & (away >= _NEAREST_GHOST_PX) & (away < size / 3), point, -np.inf)
    row, column = np.unravel_index(int(candidates.argmax()), candidates.shape)
    share = float(candidates[row, column]) / highest
    if not np.isfinite(share) or share < _GHOST_MIN or candidates[row, column] < _GHOST_SIGMAS * scatter:
        return max(0.0, share) if np.isfinite(share) and share < _GHOST_MIN else 0.0, None
    return share, (float(column - middle - (top[1] - 2)), float(row - middle - (top[0] - 2)))
