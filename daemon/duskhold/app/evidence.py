"""Light readings from the frames on record: their pixels, with the moments and open times of the journal.

Base frames are read as they are, long ones through the filter that their record names: how well that is known is the
larger part of their uncertainty. A long frame of an unknown filter tells no light.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path

from duskhold.app.folders import Folders
from duskhold.app.overview import latest_frames
from duskhold.frames.measure import WHOLE, Area, MeasureError
from duskhold.frames.picture_file import PictureUnread, read_picture
from duskhold.frames.reading import chosen_weights, measure_area, reading_of, without_lamps
from duskhold.frames.shooting import ExposureUnknown, Shooting, shooting_of
from duskhold.journal.entry import Frame
from duskhold.light.reading import Reading
from duskhold.plan.role import Role
from duskhold.plan.stamp import utc_from

MOST_FRAMES = 200
_DEVELOPED = (".jpg", ".jpeg")
_UNREAD = (ExposureUnknown, PictureUnread, MeasureError, OSError)
_TOLD = (Role.BASE.value, Role.LONG.value)


@dataclass(frozen=True, slots=True)
class Glass:
    """What was before the lens, in stops, and how well that is known."""

    stops: float
    sigma_stops: float


def readings_on_record(
    folders: Folders, camera: str, since_utc: datetime, until_utc: datetime, chosen: Area | Path = WHOLE
) -> tuple[Reading, ...]:
    """Every base and long frame of this camera between two moments, oldest first, over a rectangle or a weight map.

    Raises `JournalError`.

    A frame whose picture cannot be read is passed over: it is still on record, and others tell the light.
    """
    frames = [frame for frame in latest_frames(folders, MOST_FRAMES) if frame.asked.camera == camera]
    found = [_reading(frame, chosen) for frame in frames if _taken_within(frame, since_utc, until_utc)]
    return tuple(sorted((one for one in found if one is not None), key=lambda one: one.taken_utc))


def _taken_within(frame: Frame, since_utc: datetime, until_utc: datetime) -> bool:
    outcome = frame.outcome
    if outcome is None or outcome.opened_utc is None or frame.asked.role not in _TOLD:
        return False
    opened_utc = utc_from(outcome.opened_utc)
    closed_utc = opened_utc + timedelta(seconds=outcome.open_s or 0.0)
    return since_utc <= opened_utc and closed_utc <= until_utc


def _reading(frame: Frame, chosen: Area | Path) -> Reading | None:
    outcome, glass = frame.outcome, _glass(frame)
    assert outcome is not None and outcome.opened_utc is not None, "it has opened"
    if glass is None:
        return None
    # The journal's clock and open time are better known than what the body writes into its picture.
    held_s = outcome.open_s if outcome.open_s and frame.asked.timing == "held" else None
    for path in _pictures(frame):
        try:
            bare = _light_in(path, chosen, utc_from(outcome.opened_utc), held_s, frame.asked.role)
        except _UNREAD:
            continue
        sigma_stops = math.hypot(bare.sigma_stops, glass.sigma_stops)
        return replace(bare, level_stops=bare.level_stops + glass.stops, sigma_stops=sigma_stops)
    return None


def _glass(frame: Frame) -> Glass | None:
    """None for a long frame whose record does not say what it was taken through, or whose pixels deny it."""
    if frame.asked.role == Role.BASE.value:
        return Glass(0.0, 0.0)
    check = frame.outcome.report.get("filter_check") if frame.outcome else None
    if isinstance(check, Mapping) and check.get("question"):
        return None
    stops, sigma_stops = (frame.asked.decision.get(name) for name in ("filter_stops", "filter_sigma_stops"))
    if isinstance(stops, (int, float)) and isinstance(sigma_stops, (int, float)):
        return Glass(float(stops), float(sigma_stops))
    return None


@lru_cache(maxsize=MOST_FRAMES)
def _light_in(path: Path, chosen: Area | Path, opened_utc: datetime, held_s: float | None, role: str) -> Reading:
    # Read once: a computed frame asks again at the moment of its opening, when there is no time for pictures.
    told, picture = shooting_of(path), read_picture(path)
    shooting = Shooting(held_s or told.open_s, told.f_number, told.iso, opened_utc)
    level = measure_area(picture, without_lamps(picture, chosen_weights(picture, chosen)))
    return reading_of(level, picture, shooting, 0.0, role)


def _pictures(frame: Frame) -> list[Path]:
    assert frame.outcome is not None, "it has files"
    paths = [Path(str(file["path"])) for file in frame.outcome.files]
    return sorted(paths, key=lambda path: (path.suffix.lower() in _DEVELOPED, path.name))
