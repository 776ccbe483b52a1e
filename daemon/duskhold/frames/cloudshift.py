"""How far the sky moved between two pictures, in full-size pixels: phase correlation of a part of them."""

import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.measure import Area, MeasureError

SKY = Area(0.0, 0.0, 1.0, 0.5)
"""The upper half, where cloud is."""
LEAST_RESPONSE = 0.05
_ACROSS_PX = 1024


class NoShift(MeasureError):
    """The two pictures do not show one sky that moved; the message says why."""

    code = "no_shift"


@dataclass(frozen=True, slots=True)
class Shift:
    """Pixels to the right and down; `response` is 1 when everything moved together."""

    right_px: float
    down_px: float
    width_px: int
    response: float

    @property
    def length_px(self) -> float:
        """How far."""
        return math.hypot(self.right_px, self.down_px)


def measure_shift(first: Path, second: Path, area: Area = SKY) -> Shift:
    """The shift of an area between two pictures of one view. Raises `NoShift`, `OSError`."""
    one, other = _grey(first), _grey(second)
    if one.shape != other.shape:
        raise NoShift("the two pictures are not of one size")
    scale = max(1.0, one.shape[1] / _ACROSS_PX)
    parts = [_part(each, area, scale) for each in (one, other)]
    window = cv2.createHanningWindow(parts[0].shape[::-1], cv2.CV_32F)
    (right, down), response = cv2.phaseCorrelate(parts[0], parts[1], window)
    if response < LEAST_RESPONSE:
        raise NoShift("nothing in the area moved as one; take two pictures nearer together, or another area")
    return Shift(right * scale, down * scale, one.shape[1], float(response))


def _grey(path: Path) -> NDArray[np.uint8]:
    numbers = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_GRAYSCALE)
    if numbers is None:
        raise NoShift(f"{path.name} is no JPEG, PNG or TIFF that can be read")
    return np.asarray(numbers, dtype=np.uint8)


def _part(numbers: NDArray[np.uint8], area: Area, scale: float) -> NDArray[np.float32]:
    height, width = numbers.shape
    part = numbers[
        round(area.top * height) : round(area.bottom * height), round(area.left * width) : round(area.right * width)
    ].astype(np.float32)
    size = (round(part.shape[1] / scale), round(part.shape[0] / scale))
    smaller = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    # What is smooth across the whole area does not move with the cloud.
    return np.asarray(smaller - cv2.GaussianBlur(smaller, (0, 0), size[0] / 16.0), dtype=np.float32)
