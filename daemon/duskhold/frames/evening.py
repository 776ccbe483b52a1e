"""One evening as it is reported: its frames with their records, measures and small pictures."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import cv2

from duskhold.frames.account import Account
from duskhold.frames.crops import coded, jpeg_of
from duskhold.frames.picture import Picture
from duskhold.frames.verdict import BASE_FRAME, CODES

THUMBNAIL_PX = 480
DAMAGED = "its picture is damaged"
LIT = "a dark frame that light reached"
VEIL_SHARE = 0.1
"""Of contrast lost within a run of frames: dew. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class EveningFrame:
    """`record` is the frame's record as commands print it, `measured` what `compare` found against `base_id`.

    `level_stops` is the scene's light against any fixed zero, from the picture and its exposure. `against` is what
    kind of frame `base_id` is, None where nothing was compared. `trouble` says why its picture could not be measured,
    `is_damaged` that this is the file's own fault. `is_lit` is for a dark frame that is none.
    """

    record: Mapping[str, Any]
    opened_utc: datetime | None = None
    sun_altitude_deg: float | None = None
    level_stops: float | None = None
    measured: Mapping[str, Any] | None = None
    base_id: str | None = None
    against: str | None = None
    thumbnail: bytes | None = None
    crops_jpeg: bytes | None = None
    trouble: str | None = None
    is_damaged: bool = False
    is_lit: bool = False

    @property
    def lit_utc(self) -> datetime | None:
        """The moment that its light stands for: the middle of its opening, of which the picture is the mean."""
        half_s = (self.record.get("open_s") or 0.0) / 2.0
        return None if self.opened_utc is None else self.opened_utc + timedelta(seconds=half_s)


@dataclass(frozen=True, slots=True)
class Evening:
    """Frames oldest first. `local` tells how local time differs, after "UTC".

    `modelled` is the clear sky's light: seconds after the first frame, and stops. `accounts` say what happened beside
    the frames, for each series that took some of them.
    """

    title: str
    frames: Sequence[EveningFrame]
    modelled: Sequence[tuple[float, float]] = ()
    local: str = ""
    accounts: Sequence[Account] = ()
    notes: Sequence[str] = field(default_factory=tuple)

    def losses(self) -> list[tuple[str, int, list[str]]]:
        """Cause, how often, and which frames: what was cut short or refused, then what the verdicts found."""
        found: dict[str, list[str]] = {}
        for frame in self.frames:
            for cause in causes_of(frame):
                found.setdefault(cause, []).append(str(frame.record["frame_id"]))
        return sorted(((cause, len(ids), ids) for cause, ids in found.items()), key=lambda row: -row[1])


def good_frames(evening: Evening) -> int:
    """How many have no fault that anybody knows of."""
    return sum(1 for frame in evening.frames if not causes_of(frame))


def unjudged_frames(evening: Evening) -> int:
    """How many of those were never compared with another frame, though they are of the kind that is."""
    known = {str(frame.record["frame_id"]) for frame in compared_with(evening)}
    return sum(
        1
        for frame in evening.frames
        if frame.record["role"] in ("long", "scout")
        and frame.measured is None
        and not causes_of(frame)
        and frame.record["frame_id"] not in known
    )


def compared_with(evening: Evening) -> list[EveningFrame]:
    """The long frames that others are compared with, for want of a base frame."""
    ids = {frame.base_id for frame in evening.frames if frame.against not in (None, BASE_FRAME)}
    return [frame for frame in evening.frames if frame.record["frame_id"] in ids]


def veils_through(frames: Sequence[EveningFrame]) -> list[str]:
    """A line for each run of frames of one base frame in which contrast has fallen by more than `VEIL_SHARE`.

    Contrast is that of what holds still, at equal light, so that frames of any length can follow each other. It is held
    against the best before it: dew comes slowly, and no single step may be as large.
    """
    said: list[str] = []
    best: dict[str, tuple[float, str]] = {}
    told: set[str] = set()
    for frame in frames:
        contrast = (frame.measured or {}).get("contrast_ratio")
        if contrast is None or frame.base_id is None or frame.record["role"] != "long":
            continue
        name = str(frame.record["frame_id"])
        most, since = best.get(frame.base_id, (0.0, name))
        if contrast >= most:
            best[frame.base_id] = (contrast, name)
        elif contrast < (1 - VEIL_SHARE) * most and frame.base_id not in told:
            told.add(frame.base_id)
            said.append(
                f"Contrast of what holds still fell by {1 - contrast / most:.0%} from {since} to {name}: "
                "dew, mist or spray on the glass; look at it, and wipe or warm it."
            )
    return said


def causes_of(frame: EveningFrame) -> list[str]:
    """Why a frame is lost or less than it should be; empty for a good one."""
    verdict = (frame.measured or {}).get("verdict", [])
    own = [DAMAGED] * frame.is_damaged + [LIT] * frame.is_lit
    return _outcome_of(frame) + own + [CODES.get(finding["code"], finding["code"]) for finding in verdict]


def sentences_of(frame: EveningFrame) -> list[str]:
    """The same with the numbers, and what to do about it."""
    own = [(frame.trouble or DAMAGED).rstrip(".")] * frame.is_damaged
    own += ["this dark frame is not dark: was the cap on? It is of no use as one"] * frame.is_lit
    verdict = (frame.measured or {}).get("verdict", [])
    return _outcome_of(frame) + own + [str(finding["text"]) for finding in verdict]


def findings_of(frame: EveningFrame) -> list[str]:
    """The same with the numbers, in few words: each sentence as far as the cause to check."""
    return [re.split("[:;]", text)[0] for text in sentences_of(frame)]


def _outcome_of(frame: EveningFrame) -> list[str]:
    outcome = str(frame.record["outcome"])
    return [] if outcome == "complete" else [outcome.replace("_", " ")]


def thumbnail_of(picture: Picture) -> bytes:
    """A small JPEG of the picture, brightened to a mid-tone where it is a raw file."""
    rows, columns = picture.small.shape[:2]
    width = min(THUMBNAIL_PX, columns)
    small = cv2.resize(picture.small, (width, max(1, round(rows * width / columns))), interpolation=cv2.INTER_AREA)
    return jpeg_of(coded(small * (0.18 / picture.mid_tone)))
