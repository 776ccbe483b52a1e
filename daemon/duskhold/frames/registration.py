"""Where a second picture lies on a first, to parts of a pixel, by whatever in them did not move.

First a guess from small pictures (corner features, or the peak of their phase correlation), then some hundred pieces at
full size, each with its own shift, then the one motion that most of them agree on. Pieces of water and sky do not
agree and fall out: what is left is the static mask.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.motion import Motion, fit_motion, motion_of
from duskhold.frames.picture import Picture
from duskhold.frames.tiles import Pairs, Tiles, cut_tiles, pair_tiles

STATIC_TILES_MIN = 6
_GUESS_ACROSS = 640
_FEATURES = 900
_FEATURES_AGREED_MIN = 14
_COHERENCE_MIN = 0.25
_FIRST_REACH_PX = 14.0
_NEXT_REACH_PX = 2.0


@dataclass(frozen=True, slots=True)
class Registration:
    """`motion` in full-size pixels; `static` tells which of the pieces moved with it."""

    motion: Motion
    pairs: Pairs
    static: NDArray[np.bool_]
    residual_px: float


def register(first: Picture, second: Picture, tiles: Tiles | None = None) -> Registration | None:
    """How the second picture lies on the first; None when too little in them agrees.

    `tiles` of the first picture can be given when it is compared more than once.
    """
    tiles = tiles or cut_tiles(first)
    if len(tiles.centres) < STATIC_TILES_MIN:
        return None
    best: Registration | None = None
    for guess in _guesses(first, second):
        found = _settled(tiles, second, guess.in_units_of(second.detail_px))
        if found is not None and (best is None or found.static.sum() > best.static.sum()):
            best = found
        if best is not None and best.static.sum() > 0.5 * len(tiles.centres):
            break
    return best


def _settled(tiles: Tiles, second: Picture, guess: Motion) -> Registration | None:
    motion = guess
    found: Registration | None = None
    for reach_px in (min(_FIRST_REACH_PX, tiles.size / 4), _NEXT_REACH_PX):
        pairs = pair_tiles(tiles, second, motion, reach_px)
        good = pairs.usable & (pairs.coherence > _COHERENCE_MIN)
        fit = fit_motion(tiles.centres[good], pairs.moved[good], pairs.coherence[good] ** 2)
        if fit is None or fit.kept.sum() < STATIC_TILES_MIN:
            return None
        static = np.zeros(len(tiles.centres), bool)
        static[np.flatnonzero(good)[fit.kept]] = True
        motion, unit = fit.motion, second.detail_px
        found = Registration(motion.in_units_of(1 / unit), pairs, static, fit.residual_px * unit)
    return found


def _guesses(first: Picture, second: Picture) -> list[Motion]:
    """In full-size pixels, the likeliest first: still, by features, by phase correlation."""
    images = [_guess_image(picture) for picture in (first, second)]
    unit = first.width / images[0].shape[1]
    shift, _ = cv2.phaseCorrelate(images[0].astype(np.float32), images[1].astype(np.float32), _window(images[0].shape))
    shifted = Motion(shift[0] * unit, shift[1] * unit)
    by_features = _by_features(images[0], images[1], unit)
    found = [motion for motion in (by_features, shifted) if motion is not None]
    still = Motion()
    if by_features is not None and by_features.corner_px(first.width, first.height) > 0.01 * first.width:
        return [*found, still]
    return [still, *found]


def _guess_image(picture: Picture) -> NDArray[np.uint8]:
    rows, columns = picture.small.shape[:2]
    across = min(columns, _GUESS_ACROSS)
    size = (across, max(1, round(rows * across / columns)))
    green = np.ascontiguousarray(picture.small[..., 1])
    grey = cv2.resize(green, size, interpolation=cv2.INTER_AREA)
    root = np.sqrt(np.clip(grey, 0, None))
    around = _wide_blur(root, across / 25)
    spread = np.sqrt(_wide_blur((root - around) ** 2, across / 25)) + 0.01
    return np.asarray(np.clip(128 + 45 * (root - around) / spread, 0, 255), dtype=np.uint8)


def _wide_blur(plane: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """At a quarter of the size: so wide a blur leaves nothing that would be lost."""
    rows, columns = plane.shape
    size = (max(1, columns // 4), max(1, rows // 4))
    reduced = cv2.GaussianBlur(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), (0, 0), max(0.5, sigma / 4))
    return np.asarray(cv2.resize(reduced, (columns, rows), interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def _window(shape: tuple[int, ...]) -> NDArray[np.float32]:
    return np.asarray(cv2.createHanningWindow((shape[1], shape[0]), cv2.CV_32F), dtype=np.float32)


def _by_features(first: NDArray[np.uint8], second: NDArray[np.uint8], unit: float) -> Motion | None:
    finder = cv2.ORB.create(_FEATURES, fastThreshold=12)
    points_first, words_first = finder.detectAndCompute(first, None)
    points_second, words_second = finder.detectAndCompute(second, None)
    if words_first is None or words_second is None:
        return None
    matches = cv2.BFMatcher(cv2.NORM_HAMMING, crossCheck=True).match(words_first, words_second)
    if len(matches) < _FEATURES_AGREED_MIN:
        return None
    middle = np.array([first.shape[1] / 2 - 0.5, first.shape[0] / 2 - 0.5])
    source = np.array([points_first[each.queryIdx].pt for each in matches]) - middle
    target = np.array([points_second[each.trainIdx].pt for each in matches]) - middle
    cv2.setRNGSeed(1)
    matrix, agreed = cv2.estimateAffinePartial2D(source, target, method=cv2.RANSAC, ransacReprojThreshold=2.0)
    if matrix is None or int(np.asarray(agreed).sum()) < _FEATURES_AGREED_MIN:
        return None
    return motion_of(np.asarray(matrix, dtype=np.float64)).in_units_of(1 / unit)
