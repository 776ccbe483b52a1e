"""The mean of many frames as one long one: knocked frames are left out and listed, the frames stay as they are."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from duskhold.frames.comparison import NotComparable, ensure_comparable
from duskhold.frames.derived import develop, write_derived
from duskhold.frames.lightmap import lay_cells, level_stops
from duskhold.frames.motion import Motion
from duskhold.frames.picture import Picture, picture_from_mosaic
from duskhold.frames.picture_file import PictureUnread, read_mosaic
from duskhold.frames.registration import register
from duskhold.frames.tiles import cut_tiles
from duskhold.light.sign import signed

CORNER_MAX_PX = 1.0
SCALED_FROM_STOPS = 0.1
_STOPS_MAX = 1.0
_REASONS_MAX = 3


class StackUnmade(Exception):
    """Fewer than two frames fit on each other. `code` is for programs."""

    code = "stack_unmade"


@dataclass(frozen=True, slots=True)
class Stack:
    """`noise_factor` is what random noise is divided by; `left_out` has file names and reasons."""

    path: Path
    used: tuple[str, ...]
    scaled: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]

    @property
    def noise_factor(self) -> float:
        return math.sqrt(len(self.used))


def stack_frames(paths: Sequence[Path], place: Path) -> Stack:
    """Average raw frames of one set-up into a 16-bit TIFF at `place`. The first frame is what others are laid on.

    Frames whose level differs by more than 0.1 stop are scaled. Raises `StackUnmade`, `PictureUnread` when the first
    frame cannot be read, `OSError`.
    """
    first_mosaic = read_mosaic(paths[0])
    first = picture_from_mosaic(first_mosaic)
    tiles = cut_tiles(first)
    black = float(np.mean(first_mosaic.black))
    total = first_mosaic.numbers.astype(np.float32) - np.float32(black)
    used, scaled, left_out = [paths[0].name], [], []
    known = {_sha256(paths[0]): paths[0].name}
    for path in paths[1:]:
        digest = _sha256(path)
        if digest in known:  # twice the same noise does not average out
            left_out.append((path.name, f"the same picture as {known[digest]}"))
            continue
        known[digest] = path.name
        try:
            mosaic = read_mosaic(path)
            picture = picture_from_mosaic(mosaic)
            ensure_comparable(first, picture)
        except (PictureUnread, NotComparable) as error:
            left_out.append((path.name, str(error)))
            continue
        registration = register(first, picture, tiles)
        reason, stops = _fit(first, picture, registration.motion if registration else None)
        if reason is not None:
            left_out.append((path.name, reason))
            continue
        gain = 2**-stops if abs(stops) > SCALED_FROM_STOPS else 1.0
        if gain != 1.0:
            scaled.append(path.name)
        total += _above_black(mosaic.numbers, black, gain)
        used.append(path.name)
    if len(used) < 2:
        reasons = "; ".join(f"{name}: {reason}" for name, reason in left_out[:_REASONS_MAX])
        raise StackUnmade(
            f"Only {used[0]} is left of {len(paths)} frames ({reasons}). "
            "If the first one is the odd one out, name another first."
        )
    story = {"what": "mean", "made_from": used, "left_out": [list(each) for each in left_out], "scaled": scaled}
    write_derived(place, develop(paths[0], total / np.float32(len(used)) + np.float32(black)), story)
    return Stack(place, tuple(used), tuple(scaled), tuple(left_out))


def _fit(first: Picture, picture: Picture, motion: Motion | None) -> tuple[str | None, float]:
    if motion is None:
        return "too little in it is where it is in the first frame", 0.0
    corner_px = motion.corner_px(first.width, first.height)
    if corner_px > CORNER_MAX_PX:
        length = math.hypot(motion.shift_x_px, motion.shift_y_px)
        return f"knocked: shifted by {length:.1f} px, {corner_px:.1f} px at a corner", 0.0
    stops = level_stops(lay_cells(first, picture, Motion()))
    if stops is None or abs(stops) > _STOPS_MAX:
        return "its level is too different" if stops is None else f"its level differs by {signed(stops, 1)} stop", 0.0
    return None, stops


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _above_black(numbers: NDArray[np.uint16], black: float, gain: float) -> NDArray[np.float32]:
    return (numbers.astype(np.float32) - np.float32(black)) * np.float32(gain)
