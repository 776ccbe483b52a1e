"""One picture measured against another: everything that can go wrong between a base frame and a long one."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.blur import NOTHING, measure_blur
from duskhold.frames.lightmap import LUMINANCE, gather_blocks, lay_cells, level_stops
from duskhold.frames.measure import WHOLE, Area
from duskhold.frames.motion import Motion
from duskhold.frames.picture import Channels, Picture
from duskhold.frames.registration import Registration, register
from duskhold.frames.stains import Leak, Spot, corner_stops, find_lamp, find_leak, find_spots, slipped_step
from duskhold.frames.tiles import Tiles, cut_tiles

Place = tuple[float, float]
Weights = NDArray[np.float32]

_POINT_LAMP_SHARE = 0.0005
_BURNT_SHARE = 0.3
_COARSE_CELLS = (12, 8)
_COARSE_DARK = 1e-4
_COARSE_FLAT_STOPS = 0.15
_COARSE_ALIKE = 0.8
_HOT_SIGMAS = 10.0
_HOT_LEAST = 0.01
_HOT_LEAST_SHARE = 0.5
_HOT_PIECES = 40


class NotComparable(Exception):
    """Two pictures that cannot be laid on each other; the message says why. `code` is for programs."""

    code = "not_comparable"


@dataclass(frozen=True, slots=True)
class Measures:
    """What was measured of a second picture against a first; None where the pictures do not tell.

    Stops: positive is brighter. Lengths in full-size pixels, from the first to the second. `dark_share`: mean light,
    second over first. `same_view` is False where nothing holds still and the light lies elsewhere by and large too.
    `clipped_counted` leaves out patches so small that they are lamps or sparkle. `cast_stops` is
    red and blue against green. Places are shares of width and height.
    """

    level_error_stops: float | None
    clipped_share: Channels
    clipped_counted: float
    dark_share: float
    motion: Motion | None
    corner_px: float | None
    same_view: bool
    static_tiles: int
    tiles: int
    sharpness_ratio: float | None
    contrast_ratio: float | None
    moved_during: bool | None
    second_edge_px: Place | None
    leak: Leak | None
    lamp_stops: float | None
    lamp_place: Place | None
    spots: tuple[Spot, ...]
    corner_stops: float | None
    cast_stops: Place | None
    step_height: float | None
    step_stops: float | None
    hot_per_megapixel: float | None


def ensure_comparable(first: Picture, second: Picture) -> None:
    """Raises `NotComparable` for pictures of different kinds, sizes or turned differently."""
    if first.kind is not second.kind:
        raise NotComparable(f"One is a {first.kind.value}, the other a {second.kind.value}; compare like with like.")
    if first.turned_deg != second.turned_deg:
        raise NotComparable(
            f"One is turned by {first.turned_deg} degrees to be shown, the other by {second.turned_deg}: "
            "the camera was turned between them, or one of the files was."
        )
    if (first.width, first.height) != (second.width, second.height):
        raise NotComparable(
            f"One has {first.width} by {first.height} pixels, the other {second.width} by {second.height}."
        )


def measure(first: Picture, second: Picture, area: Area | Weights = WHOLE, tiles: Tiles | None = None) -> Measures:
    """Measure the second picture against the first. `tiles` of the first spare cutting them again. The level is that of
    the area, or by a weight for each of the first picture's cells.

    Raises `NotComparable`.
    """
    ensure_comparable(first, second)
    registration = None if _is_burnt(first) or _is_burnt(second) else register(first, second, tiles or cut_tiles(first))
    motion = registration.motion if registration else Motion()
    cells = lay_cells(first, second, motion)
    blocks = gather_blocks(cells)
    gains = blocks.gains()
    blur = measure_blur(registration, second.detail_px) if registration else NOTHING
    lamp = find_lamp(blocks, gains)
    step = slipped_step(cells, blocks, gains)
    cast = np.log2(np.maximum(gains, 1e-6) / max(float(gains[1]), 1e-6))
    level = level_stops(cells, area)
    # In a brighter frame, as a bracket has, everything is brighter: what no scaling of the first explains is, too.
    mid_tone = second.mid_tone * max(1.0, 2.0 ** (level or 0.0))
    return Measures(
        level_error_stops=level,
        clipped_share=second.clipped_share,
        clipped_counted=_clipped_counted(second),
        dark_share=_mean(second) / max(_mean(first), 1e-9),
        motion=registration.motion if registration else None,
        corner_px=motion.corner_px(first.width, first.height) if registration else None,
        same_view=registration is not None or _is_alike(first, second),
        static_tiles=int(registration.static.sum()) if registration else 0,
        tiles=len(registration.static) if registration else 0,
        sharpness_ratio=blur.sharpness_ratio,
        contrast_ratio=blocks.contrast_left(),
        moved_during=None if blur.second_edge_share is None else blur.second_edge_px is not None,
        second_edge_px=blur.second_edge_px,
        leak=find_leak(blocks, gains, mid_tone),
        lamp_stops=lamp[0] if lamp else None,
        lamp_place=lamp[1] if lamp else None,
        spots=tuple(find_spots(cells, gains)),
        corner_stops=corner_stops(blocks, gains),
        cast_stops=(float(cast[0]), float(cast[2])),
        step_height=step[0] if step else None,
        step_stops=step[1] if step else None,
        hot_per_megapixel=_hot(registration) if registration else None,
    )


def _is_burnt(picture: Picture) -> bool:
    """So much is at full scale that what is left of its detail misleads."""
    return max(picture.clipped_share) > _BURNT_SHARE


def _is_alike(first: Picture, second: Picture) -> bool:
    """Whether light and dark lie alike by and large: sea and sky under cloud have nothing that holds still."""
    if _is_burnt(first) or _is_burnt(second):
        return True  # nobody can tell
    coarse = []
    for picture in (first, second):
        light = cv2.resize(picture.small @ LUMINANCE, _COARSE_CELLS, interpolation=cv2.INTER_AREA)
        coarse.append(np.log2(np.maximum(light, _COARSE_DARK)))
    apart = [each - each.mean() for each in coarse]
    spread = [float(np.sqrt((each**2).mean())) for each in apart]
    if max(spread) < _COARSE_FLAT_STOPS:
        return True
    return float((apart[0] * apart[1]).mean()) > _COARSE_ALIKE * spread[0] * spread[1]


def _mean(picture: Picture) -> float:
    return float(np.dot(cv2.mean(picture.small)[:3], LUMINANCE))


def _clipped_counted(picture: Picture) -> float:
    """The worst channel's clipped share without point lamps and sparkle."""
    counted = 0.0
    for channel in range(3):
        plane = picture.clipped[..., channel]
        if picture.clipped_share[channel] <= 0:
            continue
        touched = plane > 0
        _, labels = cv2.connectedComponents(touched.astype(np.uint8), connectivity=8)
        shares = np.bincount(labels[touched], weights=plane[touched]) / plane.size
        counted = max(counted, float(shares[shares >= _POINT_LAMP_SHARE].sum()))
    return counted


def _hot(registration: Registration) -> float:
    """Single pixels that stand out in the second picture and did not in the first, per million of `detail`."""
    found, seen = 0, 0
    pairs = registration.pairs
    chosen = np.flatnonzero(pairs.usable)
    chosen = chosen[:: max(1, len(chosen) // _HOT_PIECES)]
    for first, second in zip(pairs.tiles.light[chosen], pairs.second_light[chosen], strict=True):
        (before, _), (after, dark) = _standing_out(first), _standing_out(second)
        near = cv2.dilate((before > 0.5).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
        found += int(((after > 1) & dark & ~near).sum())
        seen += int(dark.sum())
    return 1e6 * found / seen if seen else 0.0


def _standing_out(light: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """How far each pixel stands out of its neighbours, 1 being the limit; and which lie in the darker half.

    Noise grows with the square root of light. In bright places sparkle and lamps are single pixels too. A pixel that
    is little brighter than those around it is texture, or what a JPEG's coding made of it.
    """
    around = cv2.medianBlur(light, 3)
    root = np.sqrt(np.maximum(around, _HOT_LEAST / 10))
    alone = (light - around) / root
    scatter = 1.4826 * float(np.median(np.abs(alone[::2, ::2])))  # every fourth pixel tells the noise as well
    least = np.maximum(_HOT_LEAST, _HOT_LEAST_SHARE * around) / root
    limit = np.maximum(least, _HOT_SIGMAS * scatter)
    return np.asarray(alone / limit, dtype=np.float32), np.asarray(around <= np.median(around))
