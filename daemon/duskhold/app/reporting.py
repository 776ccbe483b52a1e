"""An evening put together from a journal and its pictures, and written down for good."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta, tzinfo
from pathlib import Path
from typing import Any

import numpy as np

from duskhold.app.judging import CROPS
from duskhold.app.record import frame_record
from duskhold.app.writing_down import LOG, TABLE, add_to_record, crops_of, picture_path, told_frame
from duskhold.frames.evening import Evening, EveningFrame, veils_through
from duskhold.frames.glance import Glanced, Glancing
from duskhold.frames.ledger import checksums
from duskhold.frames.once import write_once
from duskhold.frames.page import page_html
from duskhold.frames.shooting import ExposureUnknown, shooting_of
from duskhold.frames.sidefile import Place as SidePlace
from duskhold.frames.worker import MeasuringFailed, Question, Worker
from duskhold.journal.entry import Frame
from duskhold.light.place import Place
from duskhold.light.reading import scene_level_stops
from duskhold.plan.role import Role

_JUDGED = (Role.LONG.value, Role.SCOUT.value)
_MODEL_STEPS = 60
_PAUSE = timedelta(hours=4)
SECOND_COPY = (
    "Pictures lie beside this record as the camera made them, and on its card, where nothing was erased. "
    "SHA256SUMS.txt has their checksums: sha256sum --check SHA256SUMS.txt in this folder."
)


@dataclass(frozen=True, slots=True)
class Written:
    """Where an evening was written down; `frames` are those of the evening."""

    page: Path
    table: Path
    log: Path
    checksums: Path
    side_files: tuple[Path, ...]
    evening: Evening


def gather_evening(frames: Sequence[Frame], day: date, place: Place | None, zone: tzinfo | None = None) -> Evening:
    """The day's frames, oldest first, each scout and long one judged against the base frame before it."""
    told: list[EveningFrame] = []
    base: tuple[EveningFrame, Path] | None = None
    with Worker() as worker:
        for frame in sorted(frames, key=lambda one: one.written.utc):
            found, picture = _told(worker, frame_record(frame, place), base, place)
            told.append(found)
            if found.record["role"] == Role.BASE.value and picture is not None:
                base = (found, picture)
    modelled = _modelled(told, place)
    notes = (*veils_through(told), *_camera_clock(told), SECOND_COPY)
    return Evening(f"Evening of {day.isoformat()}", tuple(told), modelled, _local(told, zone), notes)


def write_evening(evening: Evening, folder: Path, day: date, position: Place | None = None) -> Written:
    """Write everything into `folder`; nothing that is there is changed. `position` goes into the side files.

    Raises `OSError`.
    """
    beside = None if position is None else SidePlace(position.latitude_deg, position.longitude_deg)
    side_files = tuple(add_to_record(folder, day, frame, beside) for frame in evening.frames)
    return Written(
        page=write_once(folder / "report.html", page_html(evening).encode()),
        table=folder / TABLE,
        log=folder / LOG,
        checksums=write_once(folder / "SHA256SUMS.txt", checksums(evening, folder).encode()),
        side_files=side_files,
        evening=evening,
    )


def frames_of_day(frames: Sequence[Frame], day: date) -> list[Frame]:
    """Those of the evenings that began on this day in UTC, oldest first; of one that only goes on in it otherwise.

    West of Greenwich a dusk lies across UTC's midnight: an evening goes on until there is a pause of some hours.
    """
    runs = _evenings(sorted(frames, key=lambda frame: frame.written.utc))
    begun = [run for run in runs if run[0].written.utc.date() == day]
    gone_on = [run for run in runs if any(frame.written.utc.date() == day for frame in run)]
    return [frame for run in begun or gone_on for frame in run]


def _evenings(frames: Sequence[Frame]) -> list[list[Frame]]:
    runs: list[list[Frame]] = []
    for frame in frames:
        goes_on = (
            runs
            and frame.written.utc - runs[-1][-1].written.utc < _PAUSE
            and frame.written.utc - runs[-1][0].written.utc < timedelta(days=1)
        )
        if goes_on:
            runs[-1].append(frame)
        else:
            runs.append([frame])
    return runs


def _told(
    worker: Worker, record: Mapping[str, Any], base: tuple[EveningFrame, Path] | None, place: Place | None
) -> tuple[EveningFrame, Path | None]:
    told = told_frame(record, place)
    path = picture_path(record)
    if path is None:
        return told, None
    try:
        seen = Glanced(**worker.ask(Glancing(str(path), _sha256(record, path))))
    except MeasuringFailed as error:
        return replace(told, trouble=str(error)), None
    told = replace(told, thumbnail=seen.thumbnail_jpeg(), level_stops=_level(record, path, seen.green_share))
    if base is not None and record["role"] in _JUDGED:
        told = told if record.get("verdict") else _measured(worker, told, path, base)
        told = replace(told, level_stops=_level_through(told, path, base))
    return told, path


def _level_through(told: EveningFrame, path: Path, base: tuple[EveningFrame, Path]) -> float | None:
    """The light in a frame through a filter: the base frame's, the level against it, less what exposure explains."""
    glass_stops = told.record["decision"].get("filter_stops")
    level = (told.measured or {}).get("level_error_stops")
    if glass_stops is None or level is None or base[0].level_stops is None:
        return None
    wanted = told.record.get("verdict") or {}
    level += wanted.get("wanted_stops") or 0.0
    try:
        exposures = [_exposure_stops(frame.record, place) for frame, place in (base, (told, path))]
    except ExposureUnknown:
        return None
    return float(base[0].level_stops + level + exposures[1] - exposures[0] + glass_stops)


def _exposure_stops(record: Mapping[str, Any], path: Path) -> float:
    """The scene's level that a mid-tone in this frame means, without filters."""
    told = shooting_of(path)
    open_s = record["open_s"] if record["timing"] == "held" and record["open_s"] else told.open_s
    return scene_level_stops(1.0, told.f_number, open_s, told.iso, 0.0)


def _camera_clock(frames: Sequence[EveningFrame]) -> list[str]:
    """How far the body's clock was off, where it was asked: what it wrote into its pictures is off by as much."""
    conditions = [frame.record.get("conditions") or {} for frame in frames]
    known = [float(each["clock_offset_s"]) for each in conditions if each.get("clock_offset_s") is not None]
    if not known:
        return []
    offset_s = float(np.median(known))
    if abs(offset_s) < 1.0:
        return ["The camera's clock was within a second of the computer's."]
    return [f"The camera's clock was {abs(offset_s):.0f} s {'ahead of' if offset_s > 0 else 'behind'} the computer's."]


def _local(frames: Sequence[EveningFrame], zone: tzinfo | None) -> str:
    first = next((frame.opened_utc for frame in frames if frame.opened_utc is not None), None)
    if zone is None or first is None:
        return ""
    offset = first.astimezone(zone).strftime("%z")
    return f"; local time is UTC{offset[:3]}:{offset[3:5]} ({zone})"


def _sha256(record: Mapping[str, Any], path: Path) -> str | None:
    return next((file.get("sha256") for file in record["files"] if file["path"] == str(path)), None)


def _measured(worker: Worker, told: EveningFrame, path: Path, base: tuple[EveningFrame, Path]) -> EveningFrame:
    base_frame, base_path = base
    try:
        found = worker.ask(Question(str(base_path), str(path), crops=CROPS))
    except MeasuringFailed as error:
        return replace(told, trouble=str(error))
    crops = crops_of(found)
    return replace(told, measured=found, base_id=str(base_frame.record["frame_id"]), crops_jpeg=crops)


def _level(record: Mapping[str, Any], path: Path, green_share: float) -> float | None:
    """By the picture alone, through the filters as the record has them; a base frame has none."""
    glass_stops = 0.0 if record["role"] == Role.BASE.value else record["decision"].get("filter_stops")
    if glass_stops is None or green_share <= 0:
        return None
    try:
        return _exposure_stops(record, path) + float(np.log2(green_share)) + glass_stops
    except ExposureUnknown:
        return None


def _modelled(frames: Sequence[EveningFrame], place: Place | None) -> tuple[tuple[float, float], ...]:
    """The clear sky's light in stops against the first measured frame, over the evening."""
    moments = [lit for frame in frames if (lit := frame.lit_utc) is not None and frame.level_stops is not None]
    if place is None or len(moments) < 2 or moments[-1] <= moments[0]:
        return ()
    from duskhold.light.skycurve import SkyCurve

    curve = SkyCurve(place, moments[0])
    span_s = (moments[-1] - moments[0]) / timedelta(seconds=1)
    at_s = [span_s * step / _MODEL_STEPS for step in range(_MODEL_STEPS + 1)]
    zero = float(np.log2(curve.level(0.0)))
    return tuple((each, float(np.log2(curve.level(each))) - zero) for each in at_s)
