"""Fractal noise for painted things: repeatable from its generator, mean 0, standard deviation 1."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray


def fractal(
    rng: np.random.Generator, width: int, height: int, cells: tuple[int, int], octaves: int
) -> NDArray[np.float32]:
    """Noise of (height, width) that repeats at its edges; `cells` are the lumps across and down in the first octave."""
    total = np.zeros((height, width), np.float32)
    for octave in range(octaves):
        across, down = cells[0] << octave, (cells[1] << octave if height > 1 else 1)
        if across > width or down > height:
            break
        lumps = rng.standard_normal((down, across)).astype(np.float32)
        total += _spread(lumps, width, height) * np.float32(0.5**octave)
    return np.asarray((total - total.mean()) / max(float(total.std()), 1e-6), dtype=np.float32)


def _spread(lumps: NDArray[np.float32], width: int, height: int) -> NDArray[np.float32]:
    down, across = lumps.shape
    edge_x, edge_y = 2, (2 if height > 1 else 0)
    padded = np.pad(lumps, ((edge_y, edge_y), (edge_x, edge_x)), mode="wrap")
    cell_x, cell_y = width / across, height / down
    full = cv2.resize(
        padded,
        (round(cell_x * (across + 2 * edge_x)), round(cell_y * (down + 2 * edge_y))),
        interpolation=cv2.INTER_CUBIC if height > 1 else cv2.INTER_LINEAR,
    )
    top, left = round(cell_y * edge_y), round(cell_x * edge_x)
    return np.asarray(full[top : top + height, left : left + width], dtype=np.float32)
