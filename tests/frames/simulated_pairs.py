"""Base, scout and long frames of the simulated camera, with planted faults of known size, as pictures."""

from dataclasses import replace
from datetime import datetime
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.camera.faults import PictureFault
from duskhold.camera.landscape import MID_TONE, look
from duskhold.camera.negative import Negative
from duskhold.camera.sensor import NEUTRAL, Sensor
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.camera.spoiling import drop_places
from duskhold.frames.picture import Mosaic, Picture, picture_from_mosaic
from duskhold.frames.tiles import Tiles, cut_tiles
from duskhold.light.exposure import headroom_stops

PROFILE = BodyProfile(width=1536, height=1024)
BASE_SHOT = Shot(
    number=1,
    opened_s=0.0,
    closed_s=0.25,
    taken=datetime.fromisoformat("2026-03-20T19:04:05"),
    exposure_rgb=(1.0, 1.0, 1.0),
    f_number=8.0,
    iso=100.0,
    aperture_mark="f/8",
    dial_s=0.25,
    dark_frame=False,
    temperature_c=10.0,
    seed=5,
    spoiled=False,
)
_FULL_SCALE = 0.995
_LONG_S = (4, 15, 30, 60, 120, 240)
_SCOUT_S = (1, 2, 4)
_SCOUT_ISO = (100, 200, 400, 800, 1600, 3200, 6400)
# What a drop reaches beyond its own width, and how much has to hold still around it (shares of the width).
_DROP_REACH, _STILL_AROUND_DROP = 0.65, 0.02


def picture(shot: Shot, fault: PictureFault | None = None, sensor: Sensor | None = None) -> Picture:
    """What the sensor makes of the shot, read as a raw file would be."""
    negative = Negative(replace(shot, spoiled=fault is not None), PROFILE, fault or PictureFault())
    negative.sensor = sensor or negative.sensor
    neutral = (1 / NEUTRAL[0], 1.0, 1 / NEUTRAL[2])
    return picture_from_mosaic(Mosaic(negative.raw, ((0, 1), (1, 2)), (512.0,) * 4, 16383.0, neutral=neutral))


@cache
def base() -> tuple[Picture, Tiles]:
    """The base frame, a quarter of a second."""
    found = picture(BASE_SHOT)
    return found, cut_tiles(found)


def long_shot(rng: np.random.Generator, stops: float = 0.0) -> Shot:
    """A frame of 4 s to 4 min, some minutes later: other noise, water and cloud, and a drift of up to 0.1 stop."""
    return _later(rng, float(rng.choice(_LONG_S)), 100.0, stops)


def long_frame(rng: np.random.Generator, stops: float = 0.0, fault: PictureFault | None = None) -> Picture:
    return picture(long_shot(rng, stops), fault)


def scout_frame(rng: np.random.Generator, stops: float = 0.0) -> Picture:
    """A frame of 1 to 4 s at up to ISO 6400, of the base frame's level but for `stops` and as much drift."""
    return picture(_later(rng, float(rng.choice(_SCOUT_S)), float(rng.choice(_SCOUT_ISO)), stops))


def seed_of_drop(rng: np.random.Generator, width: float) -> int:
    """With which the body's one drop is at least so wide (a share of the picture's) and falls on what holds still."""
    while True:
        seed = int(rng.integers(2**32))
        ((x, y, found),) = drop_places(1, seed)
        row, column = int(y * PROFILE.height), int(x * PROFILE.width)
        if found >= width and _still()[row, column] > (found * _DROP_REACH + _STILL_AROUND_DROP) * PROFILE.width:
            return seed


def full_scale_stops(shot: Shot, share: float) -> float:
    """By how much more light so large a share of the pixels of one channel would be at full scale (99.5 % of it)."""
    radiance = look(PROFILE.width, PROFILE.height, shot.opened_s, shot.open_s) * np.array(NEUTRAL)
    brightest = max(float(np.quantile(radiance[..., channel], 1 - share)) for channel in range(3))
    return float(np.log2(_FULL_SCALE * 2 ** headroom_stops() * MID_TONE / brightest / shot.exposure_rgb[0]))


def _later(rng: np.random.Generator, open_s: float, iso: float, stops: float) -> Shot:
    opened_s = float(rng.uniform(20, 400))
    exposure = float(2 ** (stops + rng.uniform(-0.1, 0.1))) * 100 / iso
    return replace(
        BASE_SHOT,
        number=int(rng.integers(2, 10_000_000)),
        opened_s=opened_s,
        closed_s=opened_s + open_s,
        exposure_rgb=(exposure, exposure, exposure),
        iso=iso,
        temperature_c=float(rng.uniform(-5, 15)),
    )


@cache
def _still() -> NDArray[np.float32]:
    """How far each pixel is from what moves (water, cloud), in pixels."""
    early, late = (
        look(PROFILE.width, PROFILE.height, opened_s, open_s) for opened_s, open_s in ((0, 0.25), (300, 240))
    )
    same = np.abs(early - late).max(axis=2) < 0.01 * early.max(axis=2)
    whole = cv2.morphologyEx(same.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5)))
    return np.asarray(cv2.distanceTransform(np.pad(whole, 1), cv2.DIST_L2, 5)[1:-1, 1:-1], dtype=np.float32)
