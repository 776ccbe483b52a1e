"""Light readings from the base frames on record: their pixels, with the moments and open times of the journal."""

from datetime import datetime
from pathlib import Path

from duskhold.app.folders import Folders
from duskhold.app.overview import latest_frames
from duskhold.frames.measure import WHOLE, Area, MeasureError
from duskhold.frames.picture_file import PictureUnread, read_picture
from duskhold.frames.reading import area_weights, measure_area, reading_of, without_lamps
from duskhold.frames.shooting import ExposureUnknown, Shooting, shooting_of
from duskhold.frames.store import Role
from duskhold.journal.entry import Frame
from duskhold.light.reading import Reading
from duskhold.plan.stamp import utc_from

MOST_FRAMES = 200
_DEVELOPED = (".jpg", ".jpeg")


def readings_on_record(
    folders: Folders, camera: str, since_utc: datetime, until_utc: datetime, area: Area = WHOLE
) -> tuple[Reading, ...]:
    """Every base frame of this camera that opened between two moments, oldest first. Raises `JournalError`.

    A frame whose picture cannot be read is passed over: it is still on record, and others tell the light.
    """
    frames = [frame for frame in latest_frames(folders, MOST_FRAMES) if frame.asked.camera == camera]
    found = [_reading(frame, area) for frame in frames if _opened_within(frame, since_utc, until_utc)]
    return tuple(sorted((one for one in found if one is not None), key=lambda one: one.taken_utc))


def _opened_within(frame: Frame, since_utc: datetime, until_utc: datetime) -> bool:
    outcome = frame.outcome
    if outcome is None or outcome.opened_utc is None or frame.asked.role != Role.BASE.value:
        return False
    return since_utc <= utc_from(outcome.opened_utc) <= until_utc


def _reading(frame: Frame, area: Area) -> Reading | None:
    outcome = frame.outcome
    assert outcome is not None and outcome.opened_utc is not None, "it has opened"
    for path in _pictures(frame):
        try:
            told = shooting_of(path)
            # The journal's clock and open time are better known than what the body writes into its picture.
            open_s = outcome.open_s if outcome.open_s and frame.asked.timing == "held" else told.open_s
            shooting = Shooting(open_s, told.f_number, told.iso, utc_from(outcome.opened_utc))
            picture = read_picture(path)
            level = measure_area(picture, without_lamps(picture, area_weights(picture, area)))
        except (ExposureUnknown, PictureUnread, MeasureError, OSError):
            continue
        return reading_of(level, picture, shooting, 0.0, frame.asked.role)
    return None


def _pictures(frame: Frame) -> list[Path]:
    assert frame.outcome is not None, "it has files"
    paths = [Path(str(file["path"])) for file in frame.outcome.files]
    return sorted(paths, key=lambda path: (path.suffix.lower() in _DEVELOPED, path.name))
