"""Dark frames: averaged, matched with the frames they are for, subtracted in a copy, and priced in frames.

Limits of a match are common practice: the same ISO, length within 5 %, temperature within 2 degrees, at which the
dark signal has changed by a factor of 1.24 (it doubles every 6.5 degrees: a published test of one camera, 0 to 40
degrees C).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.derived import develop, write_derived
from duskhold.frames.picture import Mosaic
from duskhold.frames.picture_file import read_mosaic
from duskhold.light.darksignal import warmth_factor

_LENGTH_SHARE = 0.05
_TEMPERATURE_C = 2.0
_ISO_SHARE = 0.01
_LIGHT_SHARE = 0.005
_BLUR_PX = 12.0


class DarkUnsuited(Exception):
    """A dark that must not be used; the message says why. `code` is for programs."""

    code = "dark_unsuited"


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a dark has to share with the frame it is for. `temperature_c` is None when nobody told."""

    open_s: float
    iso: float
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class MasterDark:
    """The mean of several darks, black level included."""

    numbers: NDArray[np.float32]
    conditions: Conditions
    made_from: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Price:
    """Frames that fit into a time with the body's own dark frames and without.

    `darks_end_s` is when the darks after the series are stored, counted from its start.
    """

    frames_in_camera: int
    frames_without: int
    darks_end_s: float


def mismatch(dark: Conditions, light: Conditions) -> str | None:
    """Why this dark is not for that frame; None when it is."""
    if abs(dark.iso / light.iso - 1) > _ISO_SHARE:
        return f"the dark was taken at ISO {dark.iso:g}, the frame at ISO {light.iso:g}"
    if abs(dark.open_s / light.open_s - 1) > _LENGTH_SHARE:
        return f"the dark is {dark.open_s:g} s long, the frame {light.open_s:g} s; they may differ by 5 %"
    if dark.temperature_c is None or light.temperature_c is None:
        return "a temperature is not known; state both, or take the darks right after the frames and say so"
    warmer_c = dark.temperature_c - light.temperature_c
    if abs(warmer_c) > _TEMPERATURE_C:
        factor = warmth_factor(warmer_c)
        side = "warmer" if warmer_c > 0 else "colder"
        return f"the dark is {abs(warmer_c):.1f} degrees {side}: {factor:.2f} times the signal"
    return None


def average_darks(paths: Sequence[Path], conditions: Conditions) -> MasterDark:
    """The mean of raw dark frames of equal conditions. Raises `DarkUnsuited`, `PictureUnread`, `OSError`."""
    assert paths, "at least one dark"
    total: NDArray[np.float64] | None = None
    for path in paths:
        mosaic = read_mosaic(path)
        _ensure_dark(path, mosaic)
        if total is None:
            total = mosaic.numbers.astype(np.float64)
        elif total.shape != mosaic.numbers.shape:
            raise DarkUnsuited(f"{path.name} has other dimensions than {paths[0].name}.")
        else:
            total += mosaic.numbers
    assert total is not None
    return MasterDark((total / len(paths)).astype(np.float32), conditions, tuple(path.name for path in paths))


def subtract_dark(light: Path, conditions: Conditions, dark: MasterDark, place: Path) -> Path:
    """A developed 16-bit copy of a raw frame with the dark taken off, at `place`; the frame stays as it is.

    Raises `DarkUnsuited` for a dark that does not match, `PictureUnread`, `OSError`.
    """
    reason = mismatch(dark.conditions, conditions)
    if reason is not None:
        raise DarkUnsuited(f"No dark for {light.name}: {reason}.")
    mosaic = read_mosaic(light)
    if mosaic.numbers.shape != dark.numbers.shape:
        raise DarkUnsuited(f"{light.name} has other dimensions than the dark.")
    cleaned = mosaic.numbers + _black(mosaic) - dark.numbers
    # What is at full scale stays there: less the dark it would seem to have a value.
    cleaned[mosaic.numbers >= mosaic.white] = mosaic.white
    story = {"what": "dark subtracted", "made_from": [light.name], "darks": list(dark.made_from)}
    return write_derived(place, develop(light, cleaned.astype(np.float32)), story)


def price_darks(window_s: float, frame_s: float, between_s: float, storing_s: float, darks: int) -> Price:
    """What dark frames cost in a window: taken by the body after each frame, or `darks` of them after the series.

    A frame counts when its exposure ends inside the window; `between_s` is storing and looking.
    """
    in_camera = _fitting(window_s, frame_s, 2 * frame_s + between_s)
    without = _fitting(window_s, frame_s, frame_s + between_s)
    last_closed_s = (without - 1) * (frame_s + between_s) + frame_s if without else 0.0
    return Price(in_camera, without, last_closed_s + storing_s + darks * (frame_s + storing_s))


def _fitting(window_s: float, frame_s: float, cycle_s: float) -> int:
    return max(0, math.floor((window_s - frame_s) / cycle_s) + 1)


def _black(mosaic: Mosaic) -> NDArray[np.float32]:
    rows, columns = mosaic.numbers.shape
    square = np.array(mosaic.black, np.float32).reshape(2, 2)
    return np.tile(square, (rows // 2 + 1, columns // 2 + 1))[:rows, :columns]


def _ensure_dark(path: Path, mosaic: Mosaic) -> None:
    """Light makes a smooth structure that the even glow of a warm sensor has not."""
    above = mosaic.numbers - _black(mosaic)
    smooth = cv2.GaussianBlur(cv2.medianBlur(np.ascontiguousarray(above[::2, 1::2]), 5), (0, 0), _BLUR_PX)
    spread = float(np.percentile(smooth, 99) - np.percentile(smooth, 1)) / (mosaic.white - max(mosaic.black))
    if spread > _LIGHT_SHARE:
        raise DarkUnsuited(
            f"{path.name} has an image in it ({spread:.1%} of full scale): the cap or the finder let light in."
        )
