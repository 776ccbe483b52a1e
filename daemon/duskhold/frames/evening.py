"""One evening as it is reported: its frames with their records, measures and small pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import cv2
import numpy as np

from duskhold.frames.picture import Picture
from duskhold.frames.verdict import CODES

THUMBNAIL_PX = 480
CROP_PX = 120
_CROPS = 3
_PLACES_MAX = 600
_JPEG_QUALITY = 82


@dataclass(frozen=True, slots=True)
class Crop:
    """The same place in both frames, as JPEG."""

    base: bytes
    long: bytes


@dataclass(frozen=True, slots=True)
class EveningFrame:
    """`record` is the frame's record as commands print it, `measured` what `compare` found against `base_id`.

    `level_stops` is the scene's light against any fixed zero, from the picture and its exposure.
    """

    record: Mapping[str, Any]
    opened_utc: datetime | None = None
    sun_altitude_deg: float | None = None
    level_stops: float | None = None
    measured: Mapping[str, Any] | None = None
    base_id: str | None = None
    thumbnail: bytes | None = None
    crops: tuple[Crop, ...] = ()
    trouble: str | None = None


@dataclass(frozen=True, slots=True)
class Evening:
    """Frames oldest first. `modelled` is the clear sky's light: seconds after the first frame, and stops."""

    title: str
    frames: Sequence[EveningFrame]
    modelled: Sequence[tuple[float, float]] = ()
    zone_name: str = "UTC"
    notes: Sequence[str] = field(default_factory=tuple)

    def losses(self) -> list[tuple[str, int, list[str]]]:
        """Cause, how often, and which frames: what was cut short or refused, then what the verdicts found."""
        found: dict[str, list[str]] = {}
        for frame in self.frames:
            for cause in causes_of(frame):
                found.setdefault(cause, []).append(str(frame.record["frame_id"]))
        return sorted(((cause, len(ids), ids) for cause, ids in found.items()), key=lambda row: -row[1])


def causes_of(frame: EveningFrame) -> list[str]:
    """Why a frame is lost or less than it should be; empty for a good one."""
    outcome = str(frame.record["outcome"])
    causes = [] if outcome == "complete" else [outcome.replace("_", " ")]
    verdict = (frame.measured or {}).get("verdict", [])
    return causes + [CODES.get(finding["code"], finding["code"]) for finding in verdict]


def thumbnail_of(picture: Picture) -> bytes:
    """A small JPEG of the picture, brightened to a mid-tone where it is a raw file."""
    rows, columns = picture.small.shape[:2]
    width = min(THUMBNAIL_PX, columns)
    small = cv2.resize(picture.small, (width, max(1, round(rows * width / columns))), interpolation=cv2.INTER_AREA)
    return _jpeg(np.asarray(small, dtype=np.float32) * (0.18 / picture.mid_tone))


def crops_of(base: Picture, long: Picture) -> tuple[Crop, ...]:
    """The places that are richest in detail in both frames, from both: rock and land rather than water."""
    rows, columns = base.detail.shape
    side = min(CROP_PX, rows // 3, columns // 3)
    places = _richest(base, long, side)
    return tuple(Crop(_crop(base, place, side), _crop(long, place, side)) for place in places)


def _richest(base: Picture, long: Picture, side: int) -> list[tuple[int, int]]:
    rows, columns = base.detail.shape
    grid = [
        (top, left) for top in range(0, rows - side + 1, side // 2) for left in range(0, columns - side + 1, side // 2)
    ]
    places = grid[:: max(1, len(grid) // _PLACES_MAX)]
    scored = [(min(_detail_at(picture, place, side) for picture in (base, long)), place) for place in places]
    chosen: list[tuple[int, int]] = []
    for _, place in sorted(scored, reverse=True):
        if all(abs(place[0] - top) + abs(place[1] - left) > 2 * side for top, left in chosen):
            chosen.append(place)
        if len(chosen) == _CROPS:
            break
    return chosen


def _detail_at(picture: Picture, place: tuple[int, int], side: int) -> float:
    top, left = place
    light = np.sqrt(np.clip(picture.curve[picture.detail[top : top + side, left : left + side]], 0, 1))
    return float(np.abs(cv2.Laplacian(cv2.GaussianBlur(light, (0, 0), 1.0), cv2.CV_32F)).mean())


def _crop(picture: Picture, place: tuple[int, int], side: int) -> bytes:
    top, left = place
    light = picture.curve[picture.detail[top : top + side, left : left + side]]
    # Each crop to its own mid-tone: they are compared for sharpness and place.
    return _jpeg(np.repeat((light * (0.18 / max(float(light.mean()), 1e-6)))[..., None], 3, axis=2))


def _jpeg(light: np.ndarray[Any, np.dtype[np.float32]]) -> bytes:
    clipped = np.clip(light, 0, 1)
    coded = np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * np.maximum(clipped, 1e-9) ** (1 / 2.4) - 0.055)
    numbers = np.rint(coded * 255).astype(np.uint8)
    _, content = cv2.imencode(
        ".jpg", np.ascontiguousarray(numbers[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY]
    )
    return bytes(content)
