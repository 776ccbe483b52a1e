"""Small square pieces of two pictures, brought on top of each other and compared by their spectra.

Each piece is divided by its own mean, so that light that came or went between the frames drops out; what is left
of `gain` is contrast and sharpness. The shift of a piece is the slope of its cross spectrum's phase, which has
no preference for whole pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.motion import Motion
from duskhold.frames.picture import Picture

Spectra = NDArray[np.complex64]
Floats = NDArray[np.float64]

LARGE_PX, SMALL_PX = 128, 64
TILES_MAX = {LARGE_PX: 84, SMALL_PX: 200, SMALL_PX // 2: 200}
_LARGE_FROM = 900
_DARK_MEAN = 0.0008
_CLIPPED_SHARE_MAX = 0.02
_BAND = (0.015, 0.33)
_WHITENING = 0.6
_ROUNDS = 3
_TURN_WITHIN_TILE_PX = 0.04


@dataclass(frozen=True, slots=True)
class Tiles:
    """Pieces of the first picture. `centres` (n, 2) are relative to the middle, in pixels of `detail`."""

    centres: Floats
    light: NDArray[np.float32]
    means: Floats
    spectra: Spectra
    size: int


@dataclass(frozen=True, slots=True)
class Pairs:
    """The same pieces in both pictures, their spectra, and where each went.

    `shifts` (n, 2) is what remains after the motion that was assumed; `coherence` from 0 to 1 tells how well each
    piece's phases agree on it.
    """

    tiles: Tiles
    moved: Floats
    shifts: Floats
    coherence: Floats
    usable: NDArray[np.bool_]
    first: Spectra
    second: Spectra
    second_light: NDArray[np.float32]
    second_means: Floats


def cut_tiles(picture: Picture) -> Tiles:
    """Pieces spread evenly over the picture, apart from those that are dark or at full scale."""
    rows, columns = picture.detail.shape
    size = LARGE_PX if min(rows, columns) >= _LARGE_FROM else SMALL_PX
    if min(rows, columns) < 2 * size:
        size = SMALL_PX // 2
    tops, lefts = _grid(rows, columns, size)
    places = [(top, left) for top in tops for left in lefts if not _is_clipped(picture, top, left, size)]
    numbers = [picture.detail[top : top + size, left : left + size] for top, left in places]
    light = picture.curve[np.stack(numbers)] if numbers else np.empty((0, size, size), np.float32)
    means = np.asarray(light.mean(axis=(1, 2), dtype=np.float64))
    bright = means > _DARK_MEAN
    centres = np.array([[left + size / 2 - columns / 2, top + size / 2 - rows / 2] for top, left in places])
    light, means = light[bright], means[bright]
    return Tiles(centres.reshape(-1, 2)[bright], light, means, _spectra(light, means), size)


def pair_tiles(tiles: Tiles, second: Picture, assumed: Motion, reach_px: float) -> Pairs:
    """The pieces in the second picture, where `assumed` (in pixels of `detail`) has them, give or take `reach_px`."""
    light, starts, inside = _cut_moved(tiles, second, assumed)
    means = np.asarray(light.mean(axis=(1, 2), dtype=np.float64))
    usable = inside & (means > _DARK_MEAN)
    spectra_second = _spectra(light, np.where(usable, means, 1.0))
    cross = np.conj(tiles.spectra) * spectra_second
    shifts = _whole_shifts(cross, tiles.size, reach_px)
    shifts, coherence = _refined(cross, shifts, tiles.size)
    usable &= np.isfinite(coherence) & (np.abs(shifts).max(axis=1) <= reach_px + 1)
    return Pairs(
        tiles=tiles,
        moved=starts + shifts,
        shifts=shifts,
        coherence=np.where(usable, coherence, 0.0),
        usable=usable,
        first=tiles.spectra,
        second=spectra_second,
        second_light=light,
        second_means=means,
    )


def frequencies(size: int) -> tuple[Floats, Floats, Floats]:
    """Along x, along y and in all, in cycles a pixel, for the half spectrum of a square piece."""
    along_x: Floats = np.asarray(np.fft.rfftfreq(size)[None, :], dtype=np.float64)
    along_y: Floats = np.asarray(np.fft.fftfreq(size)[:, None], dtype=np.float64)
    return along_x, along_y, np.asarray(np.hypot(along_x, along_y), dtype=np.float64)


def _grid(rows: int, columns: int, size: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    margin = max(2, size // 8)
    room_y, room_x = rows - 2 * margin - size, columns - 2 * margin - size
    step = max(size * 0.75, np.sqrt((room_x + size) * (room_y + size) / TILES_MAX[size]))
    down, across = max(2, int(room_y / step) + 1), max(2, int(room_x / step) + 1)
    tops = np.linspace(margin, margin + room_y, down).astype(np.int64)
    lefts = np.linspace(margin, margin + room_x, across).astype(np.int64)
    return tops, lefts


def _is_clipped(picture: Picture, top: int, left: int, size: int) -> bool:
    cell = picture.cell_px / picture.detail_px
    rows = slice(int(top / cell), int((top + size) / cell) + 1)
    columns = slice(int(left / cell), int((left + size) / cell) + 1)
    return float(picture.clipped[rows, columns, 1].mean()) > _CLIPPED_SHARE_MAX


def _cut_moved(tiles: Tiles, second: Picture, assumed: Motion) -> tuple[NDArray[np.float32], Floats, NDArray[np.bool_]]:
    rows, columns = second.detail.shape
    size, half = tiles.size, tiles.size / 2
    middle = np.array([columns / 2, rows / 2])
    places = assumed.move(tiles.centres) + middle - half
    matrix = assumed.matrix()[:, :2]
    is_plain = np.abs(matrix - np.eye(2)).max() * half < _TURN_WITHIN_TILE_PX
    light = np.zeros((len(places), size, size), np.float32)
    inside = np.zeros(len(places), bool)
    starts = np.zeros((len(places), 2))
    for index, place in enumerate(places):
        left, top = np.rint(place).astype(int)
        inside[index] = 0 <= left <= columns - size and 0 <= top <= rows - size
        if not inside[index]:
            continue
        if is_plain:
            light[index] = second.curve[second.detail[top : top + size, left : left + size]]
        else:
            light[index], inside[index] = _cut_turned(second, matrix, place, size)
        starts[index] = (np.array([left, top]) if is_plain else place) + half - middle
    return light, starts, inside


def _cut_turned(second: Picture, matrix: Floats, place: Floats, size: int) -> tuple[NDArray[np.float32], bool]:
    rows, columns = second.detail.shape
    edge = 8 + int(np.ceil(size * np.abs(matrix - np.eye(2)).max()))
    left, top = (np.floor(place) - edge).astype(int)
    reach = size + 2 * edge
    if left < 0 or top < 0 or left + reach > columns or top + reach > rows:
        return np.zeros((size, size), np.float32), False
    patch = second.curve[second.detail[top : top + reach, left : left + reach]]
    # The middle of the piece stays where the motion has it; pixel centres lie half a pixel in.
    offset = place + size / 2 - (left, top) - 0.5 - matrix @ np.full(2, size / 2 - 0.5)
    warp = np.column_stack([matrix, offset]).astype(np.float64)
    flags = cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(patch, warp, (size, size), flags=flags), dtype=np.float32), True


def _spectra(light: NDArray[np.float32], means: Floats) -> Spectra:
    size = light.shape[1]
    window = np.hanning(size + 2)[1:-1].astype(np.float32)
    window_square = window[:, None] * window[None, :]
    relative = light / np.maximum(means, 1e-9).astype(np.float32)[:, None, None] - np.float32(1)
    # The window must not turn a piece's own slope of light into something that seems to move.
    relative -= (relative * window_square).sum((1, 2), keepdims=True) / window_square.sum()
    return np.asarray(np.fft.rfft2(relative * window_square), dtype=np.complex64)


def _whole_shifts(cross: Spectra, size: int, reach_px: float) -> Floats:
    rows, columns, inside = _band(size)
    whitened = np.zeros_like(cross)
    banded = cross[:, rows, :columns]
    whitened[:, rows, :columns] = np.where(inside, banded / (np.abs(banded) ** _WHITENING + 1e-12), 0)
    surface = np.fft.fftshift(np.fft.irfft2(whitened, s=(size, size)), axes=(1, 2))
    reach = int(min(np.ceil(reach_px), size // 2 - 1))
    window = surface[:, size // 2 - reach : size // 2 + reach + 1, size // 2 - reach : size // 2 + reach + 1]
    side = 2 * reach + 1
    best = window.reshape(len(cross), -1).argmax(axis=1) if len(cross) else np.zeros(0, int)
    return np.column_stack([best % side - reach, best // side - reach]).astype(np.float64)


def _refined(cross: Spectra, shifts: Floats, size: int) -> tuple[Floats, Floats]:
    rows, columns, inside = _band(size)
    along_x, along_y, _ = frequencies(size)
    wave_x = 2 * np.pi * along_x[0, :columns]
    wave_y = 2 * np.pi * along_y[rows, 0]
    values = cross[:, rows, :columns]
    strength = np.abs(values)
    weights = np.where(inside, strength ** np.float32(1 - _WHITENING), np.float32(0))
    pulling = (weights * values / np.maximum(strength, np.float32(1e-20))).astype(np.complex64)
    grid_x, grid_y = (each.ravel() for each in np.meshgrid(wave_x, wave_y))
    curvature = np.column_stack([grid_x**2, grid_y**2, grid_x * grid_y]).astype(np.float32)
    slope = np.column_stack([grid_x, grid_y]).astype(np.float32)
    flat = (len(cross), inside.size)
    shifts = shifts.copy()
    for _ in range(_ROUNDS):
        turned = _turned(pulling, shifts, wave_x, wave_y)
        # Newton's step on the sum of w cos(phase): beyond a quarter turn a wave pulls less, not more.
        curved = np.maximum(turned.real, np.float32(0.05) * weights).reshape(flat)
        xx, yy, xy = (curved @ curvature).astype(np.float64).T
        x, y = (turned.imag.reshape(flat) @ slope).astype(np.float64).T
        determinant = np.maximum(xx * yy - xy * xy, 1e-20)
        step = np.column_stack([(yy * x - xy * y) / determinant, (xx * y - xy * x) / determinant])
        shifts -= np.clip(step, -0.7, 0.7)
    agreed = _turned(pulling, shifts, wave_x, wave_y).real.sum(axis=(1, 2))
    coherence = agreed / np.maximum(weights.sum(axis=(1, 2)), 1e-20)
    return shifts, np.asarray(coherence, dtype=np.float64)


def _turned(pulling: Spectra, shifts: Floats, wave_x: Floats, wave_y: Floats) -> Spectra:
    """The spectra with their shifts taken out; along x and y one after the other, which spares a wave for each pair."""
    by_x = np.exp(1j * shifts[:, 0, None] * wave_x).astype(np.complex64)
    by_y = np.exp(1j * shifts[:, 1, None] * wave_y).astype(np.complex64)
    return np.asarray(pulling * by_y[:, :, None] * by_x[:, None, :], dtype=np.complex64)


def _band(size: int) -> tuple[NDArray[np.int64], int, NDArray[np.bool_]]:
    """Rows, and how many columns, of a half spectrum in which the band that is used lies; and what of them it is."""
    along_x, along_y, total = frequencies(size)
    rows = np.flatnonzero(np.abs(along_y[:, 0]) < _BAND[1])
    columns = int((along_x[0] < _BAND[1]).sum())
    inside = total[rows, :columns]
    return rows, columns, np.asarray((inside > _BAND[0]) & (inside < _BAND[1]))
