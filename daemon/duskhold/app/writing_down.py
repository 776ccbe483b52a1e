"""Frames written down as they come: a side file, a line in the plain log and a row in the table of their day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from duskhold.app.folders import Folders
from duskhold.app.record import frame_record
from duskhold.app.station import Station
from duskhold.frames.evening import EveningFrame
from duskhold.frames.ledger import log_head, log_line, table_head, table_line
from duskhold.frames.once import append_once, begun_with
from duskhold.frames.shooting import ExposureUnknown, shooting_of
from duskhold.frames.sidefile import Place as SidePlace
from duskhold.frames.sidefile import ensure_side_file, facts_of
from duskhold.frames.verdict import BASE_FRAME
from duskhold.journal.entry import Frame
from duskhold.light.place import Place
from duskhold.plan.stamp import utc_from

RECORD_FOLDER = "record"
LOG, TABLE = "log.txt", "frames.csv"
_MOST_FRAMES = 50
_DEVELOPED = (".jpg", ".jpeg")


def record_folder(folders: Folders, day: date) -> Path:
    """Where what is written of a day's frames lies: never beside a picture under its stem."""
    return folders.session(day) / RECORD_FOLDER


def write_down(folders: Folders, frames: Sequence[Frame], place: Place | None) -> None:
    """Each frame's side file, log line and table row; what is there already is not added again. Raises `OSError`."""
    for frame in frames:
        day = frame.written.utc.date()
        add_to_record(record_folder(folders, day), day, told_frame(frame_record(frame, place), place))


def write_down_since(station: Station, since_utc: datetime, earlier: Sequence[Frame]) -> list[str]:
    """The frames of this camera asked for since then, and `earlier` ones; returns what could not be written, and why.

    Raises `JournalError`.
    """
    settings = station.settings
    fresh = [frame for frame in station.journal.frames(_MOST_FRAMES) if frame.written.utc >= since_utc]
    fresh = [frame for frame in fresh if frame.asked.camera == station.camera]
    own = [frame for frame in earlier if station.journal.frame(frame.asked.frame_id) is not None]
    place = None if settings.place is None else settings.place.place()
    try:
        write_down(station.folders, sorted([*own, *fresh], key=lambda frame: frame.written.utc), place)
    except OSError as error:
        return [f"the record of the day could not be written ({error}); `duskhold report` does it later"]
    return []


def add_to_record(folder: Path, day: date, frame: EveningFrame, position: SidePlace | None = None) -> Path:
    """One frame; returns its side file. `position` is written into it when it is asked for. Raises `OSError`."""
    append_once(folder / LOG, log_head(day.isoformat()), log_line(frame))
    append_once(table_place(folder), table_head(), table_line(frame))
    return _side_file(folder, frame, position)


def table_place(folder: Path) -> Path:
    """The table of a day's frames: not one that another version began with other columns. Raises `OSError`."""
    return begun_with(folder / TABLE, table_head())


def told_frame(record: Mapping[str, Any], place: Place | None) -> EveningFrame:
    """A frame with what its record tells, the verdict given when it came home among it, and the sun's altitude."""
    opened_utc = utc_from(record["opened_utc"]) if record["opened_utc"] else None
    told = EveningFrame(record, opened_utc, _sun(place, opened_utc))
    verdict = record.get("verdict")
    if verdict is None:
        return told
    against = verdict.get("compared_with", BASE_FRAME)
    told = replace(told, base_id=verdict["base_frame_id"], against=against, trouble=verdict["reason"])
    if verdict["measured"]:
        level = {"level_error_stops": verdict["level_error_stops"]}
        told = replace(told, measured={**verdict["measured"], **level})
    crops = verdict.get("crops")
    return replace(told, crops_jpeg=Path(crops).read_bytes()) if crops and Path(crops).exists() else told


def picture_path(record: Mapping[str, Any]) -> Path | None:
    """The raw file where there is one."""
    paths = [Path(str(file["path"])) for file in record["files"]]
    return min(paths, key=lambda path: (path.suffix.lower() in _DEVELOPED, path.name), default=None)


def _sun(place: Place | None, at_utc: datetime | None) -> float | None:
    if place is None or at_utc is None:
        return None
    from duskhold.light.skybodies import sun_position

    return sun_position(place, at_utc).altitude_deg


def _side_file(folder: Path, frame: EveningFrame, position: SidePlace | None) -> Path:
    facts = facts_of(frame.record, frame.measured, frame.base_id)
    path = picture_path(frame.record)
    if path is not None and path.exists():
        try:
            told = shooting_of(path)
        except ExposureUnknown:
            told = None
        if told is not None:
            facts = replace(facts, f_number=told.f_number, iso=told.iso)
    return ensure_side_file(folder, replace(facts, place=position))
