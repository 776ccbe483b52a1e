"""Base and long frames of the simulated camera, with planted faults of known size, as pictures."""

from dataclasses import replace
from datetime import datetime
from functools import cache

import numpy as np

from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.sensor import NEUTRAL
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.frames.picture import Mosaic, Picture, picture_from_mosaic
from duskhold.frames.tiles import Tiles, cut_tiles

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


def picture(shot: Shot, fault: PictureFault | None = None) -> Picture:
    """What the sensor makes of the shot, read as a raw file would be."""
    raw = Negative(replace(shot, spoiled=fault is not None), PROFILE, fault or PictureFault()).raw
    neutral = (1 / NEUTRAL[0], 1.0, 1 / NEUTRAL[2])
    return picture_from_mosaic(Mosaic(raw, ((0, 1), (1, 2)), (512.0,) * 4, 16383.0, neutral=neutral))


@cache
def base() -> tuple[Picture, Tiles]:
    """The base frame, a quarter of a second."""
    found = picture(BASE_SHOT)
    return found, cut_tiles(found)


def long_frame(rng: np.random.Generator, stops: float = 0.0, fault: PictureFault | None = None) -> Picture:
    """A frame of 4 s to 4 min, some minutes later: other noise, water and cloud, and a drift of up to 0.1 stop."""
    opened_s, open_s = float(rng.uniform(20, 400)), float(rng.choice([4, 15, 30, 60, 120, 240]))
    exposure = float(2 ** (stops + rng.uniform(-0.1, 0.1)))
    shot = replace(
        BASE_SHOT,
        number=int(rng.integers(2, 10_000_000)),
        opened_s=opened_s,
        closed_s=opened_s + open_s,
        exposure_rgb=(exposure, exposure, exposure),
        temperature_c=float(rng.uniform(-5, 15)),
    )
    return picture(shot, fault)
