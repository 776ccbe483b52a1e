"""How one picture lies on another: shifted, turned and scaled about its middle; and fitting that to many places.

Full-size pixels, x to the right, y down, from the first picture to the second; turning clockwise is positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

_TRIES = 300
_ROUNDS = 12
_TOLERANCE_PX = 0.6
_FLOOR_PX = 0.05


@dataclass(frozen=True, slots=True)
class Motion:
    """A similarity about the picture's middle: `shift` is where the middle went."""

    shift_x_px: float = 0.0
    shift_y_px: float = 0.0
    rotation_deg: float = 0.0
    scale: float = 1.0

    def matrix(self) -> NDArray[np.float64]:
        """2 by 3, for points relative to the middle."""
        turn = math.radians(self.rotation_deg)
        cosine, sine = self.scale * math.cos(turn), self.scale * math.sin(turn)
        return np.array([[cosine, -sine, self.shift_x_px], [sine, cosine, self.shift_y_px]])

    def move(self, points: Points) -> Points:
        """Where points (n, 2), relative to the middle, went."""
        matrix = self.matrix()
        return np.asarray(points @ matrix[:, :2].T + matrix[:, 2])

    def in_units_of(self, pixels: float) -> Motion:
        """The same motion counted in larger or smaller pixels."""
        return Motion(self.shift_x_px / pixels, self.shift_y_px / pixels, self.rotation_deg, self.scale)

    def corner_px(self, width: int, height: int) -> float:
        """How far the corner that went farthest went."""
        corners = np.array([[x, y] for x in (-width / 2, width / 2) for y in (-height / 2, height / 2)])
        return float(np.hypot(*(self.move(corners) - corners).T).max())

    def without_scale(self) -> Motion:
        return Motion(self.shift_x_px, self.shift_y_px, self.rotation_deg, 1.0)


@dataclass(frozen=True, slots=True)
class Fit:
    """`kept` are the places that moved as the whole did; `residual_px` is theirs, root mean square."""

    motion: Motion
    kept: NDArray[np.bool_]
    residual_px: float


def motion_of(matrix: NDArray[np.float64]) -> Motion:
    """The motion of a similarity matrix (2 by 3) about the middle."""
    return Motion(
        float(matrix[0, 2]),
        float(matrix[1, 2]),
        math.degrees(math.atan2(matrix[1, 0], matrix[0, 0])),
        math.hypot(matrix[0, 0], matrix[1, 0]),
    )


def fit_motion(points: Points, moved: Points, weights: NDArray[np.float64]) -> Fit | None:
    """The motion that most places agree on: random pairs first, then least squares with Tukey's weights.

    None when fewer than four places agree.
    """
    if len(points) < 4:
        return None
    start = _agreed(points, moved, weights)
    if start is None:
        return None
    motion, scatter = start, _TOLERANCE_PX
    for _ in range(_ROUNDS):
        away = np.hypot(*(motion.move(points) - moved).T)
        near = away < 3 * scatter
        if near.sum() < 4:
            return None
        scatter = float(np.clip(1.4826 * np.median(away[near]), _FLOOR_PX, _TOLERANCE_PX))
        tukey = np.clip(1 - (away / (4.685 * scatter)) ** 2, 0, 1) ** 2
        motion = _least_squares(points, moved, weights * tukey)
    away = np.hypot(*(motion.move(points) - moved).T)
    kept = away < np.clip(4.685 * scatter, 0.35, _TOLERANCE_PX)
    if kept.sum() < 4:
        return None
    return Fit(motion, kept, float(np.sqrt(np.mean(away[kept] ** 2))))


def _agreed(points: Points, moved: Points, weights: NDArray[np.float64]) -> Motion | None:
    rng = np.random.default_rng(0)  # the same pictures give the same answer
    best, best_weight = None, 0.0
    complex_from, complex_to = points @ [1, 1j], moved @ [1, 1j]
    spread = np.abs(complex_from[:, None] - complex_from[None, :]).max()
    for first, second in rng.integers(0, len(points), (_TRIES, 2)):
        between = complex_from[second] - complex_from[first]
        if abs(between) < 0.25 * spread:
            continue
        turn = (complex_to[second] - complex_to[first]) / between
        shift = complex_to[first] - turn * complex_from[first]
        agree = np.abs(turn * complex_from + shift - complex_to) < _TOLERANCE_PX
        weight = float(weights[agree].sum())
        if weight > best_weight and agree.sum() >= 4:
            best, best_weight = _least_squares(points[agree], moved[agree], weights[agree]), weight
    return best


def _least_squares(points: Points, moved: Points, weights: NDArray[np.float64]) -> Motion:
    source, target = points @ [1, 1j], moved @ [1, 1j]
    total = weights.sum()
    middle_from, middle_to = (weights @ source) / total, (weights @ target) / total
    source, target = source - middle_from, target - middle_to
    turn = (weights @ (np.conj(source) * target)) / max(float((weights @ np.abs(source) ** 2).real), 1e-12)
    shift = middle_to - turn * middle_from
    return Motion(float(shift.real), float(shift.imag), math.degrees(float(np.angle(turn))), float(abs(turn)))
