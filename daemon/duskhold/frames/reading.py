"""A light reading from a picture's pixels: the mean above black of a fixed area, and how sure it is.

The area is a rectangle, or weights from a grey picture; lamps and the moon are left out by being far over everything
else on a small part of it, moving sparkle by differing between two frames. From a raw file where there is one; a JPEG
is read by the curve of sRGB, which a camera's own curve leaves away from the mid-tone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.measure import WHOLE, Area, AreaTooSmall, NoLight
from duskhold.frames.picture import Kind, Picture
from duskhold.frames.shooting import Shooting
from duskhold.light.reading import Reading, scene_level_stops

Weights = NDArray[np.float32]

LAMP_OVER_STOPS = 4.0
"""A cell so much brighter than the median is a lamp, the moon or the sun's glitter, if such cells are few."""
LAMP_SHARE_MAX = 0.02
SPARKLE_STOPS = 0.5
"""A cell that differs by so much more than the whole between two frames is moving."""
CLIPPED_SHARE_MAX = 0.005
"""Above this share of clipped pixels a mean is too low to be more than a bound."""
# Common practice, no source, for all of these and for the following starting values.
_FULL_WELL_E = 30_000.0
_BLACK_SIGMA = 5e-5
_REPEAT_SIGMA_STOPS = 0.005
_CODED_SIGMA_STOPS = 0.02
_CODED_SIGMA_PER_STOP = 0.05


@dataclass(frozen=True, slots=True)
class AreaLevel:
    """Means above black of an area per channel, full scale 1, with the share clipped and the uncertainty in stops."""

    rgb: tuple[float, float, float]
    clipped_share: float
    sigma_stops: float

    @property
    def at_least(self) -> bool:
        """So much is clipped that there may have been more light."""
        return self.clipped_share > CLIPPED_SHARE_MAX


def area_weights(picture: Picture, area: Area = WHOLE) -> Weights:
    """Weight 1 for the cells of a rectangle."""
    rows, columns = picture.small.shape[:2]
    weights = np.zeros((rows, columns), np.float32)
    weights[
        math.floor(area.top * rows) : math.ceil(area.bottom * rows),
        math.floor(area.left * columns) : math.ceil(area.right * columns),
    ] = 1.0
    return weights


def map_weights(picture: Picture, path: Path) -> Weights:
    """Weights from a grey picture of the same view: black does not count. Raises `AreaTooSmall`, `OSError`."""
    numbers = ensure_map(path)
    rows, columns = picture.small.shape[:2]
    return np.asarray(cv2.resize(numbers, (columns, rows), interpolation=cv2.INTER_AREA), np.float32) / np.float32(255)


def ensure_map(path: Path) -> NDArray[np.uint8]:
    """The numbers of a weight map. Raises `AreaTooSmall` when it has nothing that is not black, `OSError`."""
    numbers = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_GRAYSCALE)
    if numbers is None or not numbers.any():
        raise AreaTooSmall(f"{path.name} is no picture with something that is not black.")
    return np.asarray(numbers, dtype=np.uint8)


def chosen_weights(picture: Picture, chosen: Area | Path) -> Weights:
    """Weights of a rectangle, or from the file of a weight map. Raises `AreaTooSmall`, `OSError`."""
    return area_weights(picture, chosen) if isinstance(chosen, Area) else map_weights(picture, chosen)


def without_lamps(picture: Picture, weights: Weights) -> Weights:
    """The same without lamps, moon and glitter; unchanged where the bright part is too large to be any of these."""
    green = picture.small[..., 1]
    counted = green[weights > 0.0]
    if counted.size == 0:
        return weights
    bright = (green > max(1e-6, float(np.median(counted))) * 2.0**LAMP_OVER_STOPS) & (weights > 0.0)
    if float(bright.sum()) > LAMP_SHARE_MAX * counted.size:
        return weights
    # A lamp's halo goes with it.
    halo = cv2.dilate(bright.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    return np.where(halo, np.float32(0.0), weights)


def without_sparkle(first: Picture, second: Picture, weights: Weights) -> Weights:
    """The same without what moves between two frames of one view: water, leaves, boats."""
    a, b = (np.maximum(each.small[..., 1], np.float32(1e-6)) for each in (first, second))
    stops = np.log2(b / a)
    counted = weights > 0.0
    moved = np.abs(stops - np.median(stops[counted])) > SPARKLE_STOPS
    still = np.where(moved, np.float32(0.0), weights)
    return still if float((still > 0.0).sum()) > 0.1 * float(counted.sum()) else weights


def measure_area(picture: Picture, weights: Weights) -> AreaLevel:
    """The level of the weighted area. Raises `AreaTooSmall`, `NoLight`."""
    total = float(weights.sum())
    if total <= 0.0:
        raise AreaTooSmall("the area has no cell left to measure.")
    red, green, blue = (float((picture.small[..., channel] * weights).sum()) / total for channel in range(3))
    if min(red, green, blue) <= 0.0:
        raise NoLight("there is no light above black in the area.")
    clipped = float((picture.clipped.max(axis=-1) * weights).sum()) / total
    pixels = total * picture.cell_px**2
    return AreaLevel((red, green, blue), clipped, _sigma_stops(picture, green, pixels))


def reading_of(level: AreaLevel, picture: Picture, shooting: Shooting, glass_stops: float, source: str) -> Reading:
    """The scene light that gave this level; the picture must know when it was taken (green counts)."""
    assert shooting.middle_utc is not None, "a reading has a moment"
    share = level.rgb[1] / picture.mid_tone
    stops = scene_level_stops(share, shooting.f_number, shooting.open_s, shooting.iso, glass_stops)
    return Reading(shooting.middle_utc, stops, level.sigma_stops, source, shooting.open_s, level.at_least)


def _sigma_stops(picture: Picture, green: float, pixels: float) -> float:
    counting = 1.0 / math.sqrt(max(1.0, green * _FULL_WELL_E * pixels / 2.0))
    black = _BLACK_SIGMA / green if picture.kind is Kind.RAW else 0.0
    step = 0.0 if picture.kind is Kind.RAW else 1.0 / 255.0 / math.sqrt(12.0 * pixels) / green
    relative = math.sqrt(counting**2 + black**2 + step**2) / math.log(2.0)
    if picture.kind is Kind.RAW:
        return math.hypot(relative, _REPEAT_SIGMA_STOPS)
    curve = _CODED_SIGMA_STOPS + _CODED_SIGMA_PER_STOP * abs(math.log2(green / picture.mid_tone))
    return math.hypot(relative, curve)
