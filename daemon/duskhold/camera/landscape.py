"""A sea loch after sunset, painted by arithmetic: sky, drifting cloud, hills, water, rocks, two lamps.

Radiance is linear, in the primaries of sRGB; the mean of green is `MID_TONE`, which is what a meter takes for grey.
What moves is averaged over the time that the shutter is open: cloud drifts, ripples smooth out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.camera.rocks import paint_rocks
from duskhold.camera.texture import fractal

Image = NDArray[np.float32]

MID_TONE = 0.18
_HORIZON = 0.55
_GLOW_X = 0.64
_CLOUD_DRIFT_PER_S = 0.0009  # in cloud-plane units, of which the picture's foot shows about two
_RIPPLE_S = 0.35  # how long one ripple lasts
_TEXTURE = 512


@dataclass(frozen=True, slots=True)
class _Scene:
    """Everything that does not move, and what the moving parts are made from."""

    clear_sky: Image
    cloud_lit: Image
    cloud_dark: Image
    cloud_u: Image
    cloud_v: Image
    cloud_texture: Image
    hills: Image
    hills_cover: Image
    ripple: Image
    water_share: Image
    water_body: Image
    rocks: Image
    rocks_cover: Image
    mirrored: Image
    foam: Image
    gain: float


def look(width: int, height: int, opened_s: float, open_s: float, seed: int = 0) -> Image:
    """The scene's radiance as (height, width, 3), averaged from `opened_s` over `open_s` seconds."""
    scene = _scene(width, height, seed)
    radiance = _compose(scene, opened_s, open_s) * np.float32(scene.gain)
    # A short opening freezes the water at a contrast that would take its troughs below nothing.
    return np.asarray(np.maximum(radiance, 0), dtype=np.float32)


@lru_cache(maxsize=4)
def _scene(width: int, height: int, seed: int) -> _Scene:
    fixed = _paint(width, height, seed)
    return _Scene(**fixed, gain=MID_TONE / float(_compose(_Scene(**fixed, gain=1.0), 0.0, 4.0)[..., 1].mean()))


def _paint(width: int, height: int, seed: int) -> dict[str, Any]:
    horizon = round(height * _HORIZON)
    rise = np.linspace(1, 0, horizon, dtype=np.float32)[:, None]  # 1 at the top, 0 at the horizon
    across = np.linspace(0, 1, width, dtype=np.float32)[None, :]
    sky = _clear_sky(rise, across)
    hills, cover = _hills(width, horizon, seed)
    rocks, rocks_cover, rocks_mirrored = paint_rocks(width, height, seed)
    lit, dark = _cloud_colours(rise, across)
    half = (width // 2, horizon // 2)
    distance = 1 / (cv2.resize(np.repeat(rise, width, 1), half) + 0.16)
    u = (cv2.resize(np.repeat(across, horizon, 0), half) - 0.5) * distance
    depth = np.linspace(0, 1, height - horizon, dtype=np.float32)[:, None]
    return {
        "clear_sky": sky,
        "cloud_lit": lit,
        "cloud_dark": dark,
        "cloud_u": u.astype(np.float32),
        "cloud_v": distance.astype(np.float32),
        "cloud_texture": _cloud_texture(seed),
        "hills": hills,
        "hills_cover": cover,
        "ripple": _ripples(width, height - horizon, seed),
        "water_share": (0.30 + 0.62 * np.exp(-depth * 3.2))[..., None].astype(np.float32),
        "water_body": np.array([0.010, 0.026, 0.038], np.float32) * (0.6 + 0.6 * depth[..., None]),
        "rocks": rocks,
        "rocks_cover": rocks_cover[..., None],
        "mirrored": rocks_mirrored[horizon:, :, None],
        "foam": _foam(rocks_cover, horizon, seed),
    }


def _compose(scene: _Scene, opened_s: float, open_s: float) -> Image:
    upper = _sky_with_cloud(scene, opened_s, open_s)
    upper = upper * (1 - scene.hills_cover) + scene.hills * scene.hills_cover
    lower = _water(scene, upper, open_s)
    picture = np.concatenate([upper, lower])
    return np.asarray(picture * (1 - scene.rocks_cover) + scene.rocks * scene.rocks_cover, dtype=np.float32)


def _sky_with_cloud(scene: _Scene, opened_s: float, open_s: float) -> Image:
    travel = open_s * _CLOUD_DRIFT_PER_S
    samples = int(np.clip(np.ceil(travel * 90), 1, 20))
    cover = np.zeros_like(scene.cloud_u)
    for index in range(samples):
        moved = opened_s * _CLOUD_DRIFT_PER_S + travel * (index + 0.5) / samples
        cover += _cloud_cover(scene, moved)
    full = (scene.clear_sky.shape[1], scene.clear_sky.shape[0])
    thick = cv2.resize(cover / samples, full, interpolation=cv2.INTER_LINEAR)[..., None]
    colour = scene.cloud_lit + (scene.cloud_dark - scene.cloud_lit) * thick
    return np.asarray(scene.clear_sky + (colour - scene.clear_sky) * (thick * 0.92), dtype=np.float32)


def _cloud_cover(scene: _Scene, moved: float) -> Image:
    # Cloud comes towards the viewer and a little sideways, so that long frames streak from the far shore.
    map_x = (scene.cloud_u * 0.46 + 0.35 * moved + 0.31) * _TEXTURE % _TEXTURE
    map_y = (scene.cloud_v * 0.52 + moved + 0.4) * _TEXTURE % _TEXTURE
    found = cv2.remap(
        scene.cloud_texture,
        map_x.astype(np.float32),
        map_y.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_WRAP,
    )
    return np.asarray(found, dtype=np.float32)


def _water(scene: _Scene, upper: Image, open_s: float) -> Image:
    rows, width = scene.ripple.shape
    map_x, map_y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(rows, dtype=np.float32))
    mirror_y = upper.shape[0] - 2 - map_y * (upper.shape[0] - 2) / rows * 0.93
    steadiness = float(1 / np.sqrt(1 + open_s / _RIPPLE_S))
    slope = scene.ripple * np.float32(steadiness)
    reach = (0.012 + 0.085 * map_y / rows) * upper.shape[0]
    smooth = cv2.GaussianBlur(upper, (0, 0), sigmaX=upper.shape[1] / 400, sigmaY=upper.shape[0] / 28)
    still = np.float32(1 - steadiness)
    source = upper * (1 - still) + smooth * still
    mirrored = cv2.remap(
        source, map_x + slope * reach * 0.25, mirror_y + slope * reach, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
    )
    share = scene.water_share * (1 + 0.35 * slope[..., None])
    water = mirrored * share * (1 - 0.82 * scene.mirrored) + scene.water_body
    mist = scene.foam * (still + (1 - still) * np.clip(scene.ripple, 0, 1.5)[..., None])
    return np.asarray(water + mist * np.array([0.15, 0.145, 0.17], np.float32), dtype=np.float32)


# What does not move


def _clear_sky(rise: Image, across: Image) -> Image:
    warm = _ramp(
        rise,
        (0.00, (1.25, 0.60, 0.20)),
        (0.10, (1.12, 0.60, 0.26)),
        (0.24, (0.78, 0.47, 0.31)),
        (0.42, (0.40, 0.32, 0.33)),
        (0.68, (0.14, 0.17, 0.28)),
        (1.00, (0.050, 0.085, 0.19)),
    )
    cool = _ramp(
        rise,
        (0.00, (0.42, 0.30, 0.31)),
        (0.12, (0.42, 0.31, 0.33)),
        (0.30, (0.28, 0.25, 0.34)),
        (0.55, (0.13, 0.16, 0.27)),
        (1.00, (0.038, 0.068, 0.16)),
    )
    glow = np.exp(-(((across - _GLOW_X) / (0.30 + 0.25 * rise)) ** 2))[..., None]
    return np.asarray(cool + (warm - cool) * glow, dtype=np.float32)


def _ramp(position: Image, *stops: tuple[float, tuple[float, float, float]]) -> Image:
    at = [place for place, _ in stops]
    channels = [np.interp(position, at, [colour[channel] for _, colour in stops]) for channel in range(3)]
    return np.stack(channels, axis=-1).astype(np.float32)


def _cloud_colours(rise: Image, across: Image) -> tuple[Image, Image]:
    near_glow = np.exp(-(((across - _GLOW_X) / 0.38) ** 2 + (rise / 0.62) ** 2))[..., None]
    lit = np.array([0.40, 0.28, 0.32], np.float32) * (1 - 0.35 * rise[..., None])
    lit = lit + near_glow * np.array([0.95, 0.40, 0.16], np.float32)
    dark = np.array([0.105, 0.105, 0.150], np.float32) * (1.15 - 0.5 * rise[..., None])
    dark = dark + near_glow * np.array([0.22, 0.085, 0.045], np.float32)
    return lit.astype(np.float32), dark.astype(np.float32)


def _cloud_texture(seed: int) -> Image:
    noise = fractal(np.random.default_rng([seed, 1]), _TEXTURE, _TEXTURE, (3, 5), octaves=7)
    thick = np.clip((noise + 0.05) / 1.7, 0, 1)
    return np.asarray(thick * thick * (3 - 2 * thick), dtype=np.float32)


def _hills(width: int, horizon: int, seed: int) -> tuple[Image, Image]:
    across = np.linspace(0, 1, width)
    layers = (  # ridge height above the horizon in shares of the sky, roughness, colour, haze at the foot
        (0.10 + 0.11 * _bump(across, 0.40, 0.16) + 0.05 * _bump(across, 0.80, 0.2), 0.030, (0.235, 0.20, 0.255), 0.24),
        (0.03 + 0.17 * _bump(across, 0.16, 0.15) + 0.12 * _bump(across, 0.97, 0.13), 0.030, (0.105, 0.10, 0.135), 0.17),
        (
            -0.02 + 0.16 * _bump(across, -0.05, 0.17) + 0.05 * _bump(across, 0.27, 0.07),
            0.022,
            (0.035, 0.036, 0.046),
            0.10,
        ),
        (-0.045 + 0.17 * _bump(across, 1.08, 0.14), 0.022, (0.026, 0.027, 0.033), 0.06),
    )
    picture = np.zeros((horizon, width, 3), np.float32)
    cover = np.zeros((horizon, width, 1), np.float32)
    height_px = np.arange(horizon, 0, -1, dtype=np.float32)[:, None] - 0.5
    for index, (ridge, roughness, colour, haze) in enumerate(layers):
        rng = np.random.default_rng([seed, 10 + index])
        line = (ridge + roughness * fractal(rng, width, 1, (7, 1), octaves=7)[0]) * horizon
        inside = np.clip(line[None, :] - height_px + 0.5, 0, 1)[..., None].astype(np.float32)
        skin = _hillside(rng, width, horizon, colour, haze)
        picture = picture * (1 - inside) + skin * inside
        cover = np.maximum(cover, inside)
    return _with_lamps(picture, width, horizon), cover


def _bump(across: NDArray[np.float64], middle: float, spread: float) -> NDArray[np.float64]:
    return np.exp(-(((across - middle) / spread) ** 2))


def _hillside(
    rng: np.random.Generator, width: int, horizon: int, colour: tuple[float, float, float], haze: float
) -> Image:
    rise = np.linspace(1, 0, horizon, dtype=np.float32)[:, None, None]
    grain = fractal(rng, width, horizon, (26, 34), octaves=6)[..., None]
    skin = np.array(colour, np.float32) * (1 + 0.13 * grain)
    mist = np.array([0.60, 0.40, 0.34], np.float32) * haze * np.exp(-rise / 0.055)
    return np.asarray(skin + mist, dtype=np.float32)


def _with_lamps(picture: Image, width: int, horizon: int) -> Image:
    rows, columns = np.mgrid[0:horizon, 0:width].astype(np.float32)
    for x, lift, strength in ((0.118, 0.022, 1.0), (0.142, 0.017, 0.6)):
        away = (columns - x * width) ** 2 + (rows - (horizon * (1 - lift))) ** 2
        core = np.exp(-away / (2 * (width / 1100) ** 2)) + 0.05 * np.exp(-away / (2 * (width / 170) ** 2))
        picture = picture + (strength * core)[..., None] * np.array([1.5, 0.98, 0.42], np.float32)
    return np.asarray(picture, dtype=np.float32)


def _ripples(width: int, rows: int, seed: int) -> Image:
    texture = fractal(np.random.default_rng([seed, 2]), 1024, 1024, (8, 48), octaves=5)
    depth = np.linspace(0, 1, rows, dtype=np.float32)[:, None]
    distance = 1 / (depth + 0.06)
    across = (np.linspace(0, 1, width, dtype=np.float32)[None, :] - 0.5) * distance
    map_x = (across * 210 + 512) % 1024
    map_y = np.repeat(distance * 160, width, 1) % 1024
    found = cv2.remap(texture, map_x, map_y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    return np.asarray(found, dtype=np.float32)


def _foam(rocks_cover: Image, horizon: int, seed: int) -> Image:
    water = rocks_cover[horizon:]
    rows, width = water.shape
    # Foam lies on the water, so it spreads far less up and down the picture than across.
    flat = cv2.resize((water < 0.5).astype(np.uint8), (width, rows * 4), interpolation=cv2.INTER_NEAREST)
    away = cv2.resize(cv2.distanceTransform(flat, cv2.DIST_L2, 3), (width, rows)) / width
    patchy = 0.6 + 0.4 * fractal(np.random.default_rng([seed, 3]), width, rows, (6, 10), octaves=4)
    foam = (0.8 * np.exp(-away / 0.010) + 0.35 * np.exp(-away / 0.06)) * np.clip(patchy, 0, 1.4)
    return np.asarray(foam[..., None], dtype=np.float32)
