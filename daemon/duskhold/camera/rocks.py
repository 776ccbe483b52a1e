"""The rocks at the foot of the painted landscape: boulders lit by the sky above and a glow behind."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.camera.texture import fractal

Image = NDArray[np.float32]

_SKY_LIGHT = np.array([0.150, 0.165, 0.230], np.float32)
_GLOW_LIGHT = np.array([0.92, 0.46, 0.22], np.float32)
_GLOW_FROM = np.array([0.28, -0.52, -0.81], np.float32)  # right, up (rows go down), away from the viewer


def paint_rocks(width: int, height: int, seed: int) -> tuple[Image, Image, Image]:
    """Their radiance (height, width, 3), and from 0 to 1 how far a pixel is rock, how far it mirrors rock."""
    rng = np.random.default_rng([seed, 20])
    picture = np.zeros((height, width, 3), np.float32)
    cover, mirror = np.zeros((height, width), np.float32), np.zeros((height, width), np.float32)
    grain = fractal(np.random.default_rng([seed, 21]), width, height, (14, 14), octaves=7)
    for x, y, radius, flatness in sorted(_boulders(rng), key=lambda each: each[1]):
        _reflect(mirror, grain, (x, y, radius, flatness))
        _draw(picture, cover, grain, (x, y, radius, flatness), rng.uniform(0.6, 1.15))
    return picture, cover, mirror * (1 - cover)


def _boulders(rng: np.random.Generator) -> list[tuple[float, float, float, float]]:
    """Middle x and foot y in shares of width and height, radius in widths, height over radius."""
    found = []
    for _ in range(46):  # the near shore, highest at both sides
        x = rng.uniform(-0.05, 1.05)
        shore = 0.985 - 0.17 * np.exp(-(((x - 0.02) / 0.26) ** 2)) - 0.11 * np.exp(-(((x - 1.0) / 0.18) ** 2))
        y = rng.uniform(shore, 1.10)
        found.append((x, y, rng.uniform(0.035, 0.10) * (0.35 + (y - 0.75) * 1.9), rng.uniform(0.55, 0.85)))
    for x, y, radius in (
        (0.43, 0.845, 0.045),
        (0.475, 0.862, 0.024),
        (0.36, 0.80, 0.018),
        (0.70, 0.79, 0.020),
        (0.725, 0.80, 0.011),
    ):
        found.append((x, y, radius, 0.62))
    return found


def _draw(picture: Image, cover: Image, grain: Image, boulder: tuple[float, float, float, float], shade: float) -> None:
    height, width = cover.shape
    x, foot, radius, flatness = boulder
    reach_x, reach_y = radius * width, radius * width * flatness
    middle_x, middle_y = x * width, foot * height - reach_y * 0.35
    left, right = max(0, int(middle_x - 1.4 * reach_x)), min(width, int(middle_x + 1.4 * reach_x) + 2)
    top, bottom = max(0, int(middle_y - 1.4 * reach_y)), min(height, int(foot * height) + 2)
    if right <= left or bottom <= top:
        return
    rows, columns = np.mgrid[top:bottom, left:right].astype(np.float32)
    patch = grain[top:bottom, left:right]
    across, down = (columns - middle_x) / reach_x, (rows - middle_y) / reach_y
    bulge = 1 - (np.abs(across) ** 2.2 + np.abs(down) ** 2.4) + 0.20 * patch
    waterline = foot * height - reach_y * (0.22 * across**2 - 0.05 * patch)
    inside = np.clip(bulge * reach_y * 0.5, 0, 1) * np.clip(waterline - rows, 0, 1)
    depth = np.sqrt(np.clip(bulge, 0.0, 1)) * reach_y + patch * reach_y * 0.085
    skin = _light(depth, patch, (waterline - rows) / max(reach_y, 1), shade)
    part = (slice(top, bottom), slice(left, right))
    picture[part] = picture[part] * (1 - inside[..., None]) + skin * inside[..., None]
    cover[part] = np.maximum(cover[part], inside)


def _reflect(mirror: Image, grain: Image, boulder: tuple[float, float, float, float]) -> None:
    height, width = mirror.shape
    x, foot, radius, flatness = boulder
    left, right = max(0, int((x - radius) * width)), min(width, int((x + radius) * width) + 1)
    top, bottom = int(foot * height - 0.3 * radius * flatness * width), min(height, int((foot + radius * 1.3) * height))
    if right <= left or bottom <= top:
        return
    rows, columns = np.mgrid[top:bottom, left:right].astype(np.float32)
    across = (columns - x * width) / (radius * width)
    below = (rows - foot * height) / (radius * flatness * width)
    shape = np.clip(1.1 - np.abs(across) ** 2.2 - np.clip(below, 0, 2) * 0.95, 0, 1)
    part = (slice(top, bottom), slice(left, right))
    mirror[part] = np.maximum(mirror[part], np.clip(shape * 1.6, 0, 1) * (0.85 + 0.1 * grain[part]))


def _light(depth: Image, grain: Image, above_foot: Image, shade: float) -> Image:
    soft = cv2.GaussianBlur(depth, (0, 0), sigmaX=0.8)
    slope_x = cv2.Sobel(soft, cv2.CV_32F, 1, 0, scale=1 / 8)
    slope_y = cv2.Sobel(soft, cv2.CV_32F, 0, 1, scale=1 / 8)
    length = np.sqrt(slope_x**2 + slope_y**2 + 1)
    normal = np.stack([-slope_x / length, -slope_y / length, 1 / length], axis=-1)
    from_sky = np.clip(0.32 - 0.68 * normal[..., 1], 0.05, 1) ** 1.2
    from_glow = np.clip(normal @ _GLOW_FROM, 0, 1)
    stone = np.array([0.30, 0.265, 0.245], np.float32) * shade * np.clip(1 + 0.38 * grain, 0.35, 1.7)[..., None]
    wet = np.clip(0.40 + 1.1 * above_foot, 0.3, 1)[..., None]
    lit = stone * (from_sky[..., None] * _SKY_LIGHT * 1.5 + from_glow[..., None] * _GLOW_LIGHT * 0.9)
    return np.asarray(lit * wet, dtype=np.float32)
