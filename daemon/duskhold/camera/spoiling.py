"""What spoils a picture on the way to the sensor, on order: each fault small, plain and repeatable."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.camera.faults import PictureFault

Radiance = NDArray[np.float32]

_MID_TONE = np.float32(0.18)
_SOFT_SIGMA_PX = 12.0
_LEAK_COLOUR = np.array([1.0, 0.55, 0.9], np.float32)


def spoil(radiance: Radiance, fault: PictureFault, seed: int) -> Radiance:
    """The radiance (height, width, 3) as a spoiled picture has it. Lengths are shares of the width."""
    height, width = radiance.shape[:2]
    picture = radiance
    if fault.shift_x or fault.shift_y:
        move = np.array([[1, 0, fault.shift_x * width], [0, 1, fault.shift_y * width]], np.float32)
        moved = cv2.warpAffine(picture, move, (width, height), borderMode=cv2.BORDER_REPLICATE)
        picture = np.asarray(moved, dtype=np.float32)
    if fault.blur:
        picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), fault.blur * width), dtype=np.float32)
    if fault.dew:
        picture = _dew(picture, fault.dew)
    if fault.drops:
        picture = _drops(picture, fault.drops, seed)
    if fault.leak:
        picture = picture + _leak(height, width) * _MID_TONE * np.float32(fault.leak)
    if fault.hot_corner:
        picture = picture + _corner(height, width) * _MID_TONE * np.float32(fault.hot_corner)
    gains = np.exp2(np.array(fault.cast_stops_rgb, np.float32))
    return np.asarray(picture * gains, dtype=np.float32)


def drop_places(count: int, seed: int) -> list[tuple[float, float, float]]:
    """Where drops fall: x in shares of the width, y of the height, and how wide each is in shares of the width."""
    rng = np.random.default_rng([seed, 40])
    return [(rng.uniform(), rng.uniform(), rng.uniform(0.01, 0.04)) for _ in range(count)]


def _dew(picture: Radiance, strength: float) -> Radiance:
    """Light that droplets throw about: a veil, thicker towards the corners."""
    height, width = picture.shape[:2]
    veil = _softened(picture, 1 / 12)
    share = np.clip(strength * (0.4 + 0.6 * _from_middle(height, width)), 0, 1)[..., None]
    return np.asarray(picture * (1 - share) + veil * share, dtype=np.float32)


def _drops(picture: Radiance, count: int, seed: int) -> Radiance:
    height, width = picture.shape[:2]
    soft = _softened(picture, 1 / 40)
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    cover = np.zeros((height, width), np.float32)
    for x, y, drop_width in drop_places(count, seed):
        away = np.hypot(columns - x * width, rows - y * height) / (drop_width * width / 2)
        cover = np.maximum(cover, np.clip(2.0 - 1.6 * away, 0, 0.9))
    return np.asarray(picture * (1 - cover[..., None]) + soft * 1.12 * cover[..., None], dtype=np.float32)


def _softened(picture: Radiance, sigma_share: float) -> Radiance:
    """Blurred by so much of its width, on a small picture: what that loses is finer than the blur leaves."""
    height, width = picture.shape[:2]
    shrunk = min(1.0, _SOFT_SIGMA_PX / (sigma_share * width))
    size = (max(1, round(width * shrunk)), max(1, round(height * shrunk)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), sigma_share * size[0])
    return np.asarray(cv2.resize(soft, (width, height), interpolation=cv2.INTER_CUBIC), dtype=np.float32)


def _leak(height: int, width: int) -> Radiance:
    """A streak from the foot of the picture, as from an uncovered eyepiece."""
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    away = ((columns / width - 0.45) / 0.22) ** 2 + ((rows / height - 1.0) / 0.45) ** 2
    return np.asarray(np.exp(-away)[..., None] * _LEAK_COLOUR, dtype=np.float32)


def _corner(height: int, width: int) -> Radiance:
    """The glow of warm electronics next to one corner of the sensor."""
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    away = np.hypot(columns - width, rows - height) / (0.16 * width)
    return np.asarray(np.exp(-away)[..., None] * _LEAK_COLOUR, dtype=np.float32)


def _from_middle(height: int, width: int) -> Radiance:
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    away = np.hypot(columns - width / 2, rows - height / 2) / np.hypot(width / 2, height / 2)
    return np.asarray(away**2, dtype=np.float32)
