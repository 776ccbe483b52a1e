"""An evening put together from a journal and its pictures, and written down for good."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

import numpy as np

from duskhold.app.comparing import Comparer, Shown, frame_shown
from duskhold.app.evening_account import accounts_of
from duskhold.app.judging import Judge, Verdict
from duskhold.app.record import frame_record
from duskhold.app.writing_down import LOG, add_to_record, picture_path, table_place, told_frame
from duskhold.frames.account import Account
from duskhold.frames.evening import Evening, EveningFrame, veils_through
from duskhold.frames.ledger import WEATHER, checksums
from duskhold.frames.once import write_once
from duskhold.frames.page import page_html
from duskhold.frames.picture_file import PictureChanged, PictureCorrupt, PictureEmpty, PictureTruncated
from duskhold.frames.shooting import ExposureUnknown, shooting_of
from duskhold.frames.sidefile import Place as SidePlace
from duskhold.frames.worker import MeasuringFailed
from duskhold.journal.entry import Frame
from duskhold.journal.journal import Journal
from duskhold.light.place import Place
from duskhold.light.reading import scene_level_stops
from duskhold.plan.role import Role

_DAMAGED = {kind.code for kind in (PictureEmpty, PictureTruncated, PictureCorrupt, PictureChanged)}
_MODEL_STEPS = 60
_WEATHER_WORDS = ("air {} °C", "humidity {} %", "dew {} °C below the air", "wind {} m/s", "tide {}")
_PAUSE = timedelta(hours=4)
_LIT_SHARE = 0.1
"""Of a mid-tone: what a sensor makes of minutes without light is some hundredths. Common practice, no source."""
_SECOND_COPY = (
    "Pictures lie beside this record as the camera made them, and on its card, where nothing was erased. "
    "{0} has their checksums: sha256sum --check {0} in this folder."
)


@dataclass(frozen=True, slots=True)
class Asked:
    """The frames of a day in one journal, oldest first, and what its series did beside them."""

    journal: Path
    frames: Sequence[Frame]
    accounts: Sequence[Account]


@dataclass(frozen=True, slots=True)
class Written:
    """Where an evening was written down; `frames` are those of the evening."""

    page: Path
    table: Path
    log: Path
    checksums: Path
    side_files: tuple[Path, ...]
    evening: Evening


def gather_evening(
    frames: Sequence[Frame],
    day: date,
    place: Place | None,
    zone: tzinfo | None = None,
    accounts: Sequence[Account] = (),
) -> Evening:
    """The day's frames, oldest first, each scout and long one judged against the base frame before it, or against the
    first long frame of a series that took none.
    """
    with Judge() as judge:
        gathering = _Gathering(judge, place)
        told = [gathering.take_in(frame) for frame in sorted(frames, key=lambda one: one.written.utc)]
    modelled = _modelled(told, place)
    notes = (*veils_through(told), *_weather(told), *_camera_clock(told))
    return Evening(f"Evening of {day.isoformat()}", tuple(told), modelled, _local(told, zone), tuple(accounts), notes)


def write_evening(evening: Evening, folder: Path, day: date, position: Place | None = None) -> Written:
    """Write everything into `folder`; nothing that is there is changed. `position` goes into the side files.

    Raises `OSError`.
    """
    beside = None if position is None else SidePlace(position.latitude_deg, position.longitude_deg)
    side_files = tuple(add_to_record(folder, day, frame, beside) for frame in evening.frames)
    sums = write_once(folder / "SHA256SUMS.txt", checksums(evening, folder).encode())
    told = replace(evening, notes=(*evening.notes, _SECOND_COPY.format(sums.name)))
    return Written(
        page=write_once(folder / "report.html", page_html(told).encode()),
        table=table_place(folder),
        log=folder / LOG,
        checksums=sums,
        side_files=side_files,
        evening=evening,
    )


def asked_on(journals: Sequence[Path], day: date | None) -> tuple[date | None, list[Asked]]:
    """What was asked for on a day, in each of these journals that has something of it; on the latest day of all where
    none is named. That day comes first, None where there is no frame at all. Raises `JournalError`.
    """
    with ExitStack() as opened:
        known = {path: opened.enter_context(Journal.open(path)) for path in journals}
        moments = {path: journal.moments() for path, journal in known.items()}
        chosen = day or max((each[-1].date() for each in moments.values() if each), default=None)
        found = []
        for path, journal in known.items():
            span = None if chosen is None else evening_span(moments[path], chosen)
            if span is not None:
                frames = journal.frames_within(*span)
                found.append(Asked(path, frames, accounts_of(journal, frames)))
    return chosen, found


def evening_span(moments: Sequence[datetime], day: date) -> tuple[datetime, datetime] | None:
    """The first and the last of these moments, oldest first, that belong to the evenings that began on this day in UTC;
    to one that only goes on in it otherwise.

    West of Greenwich a dusk lies across UTC's midnight: an evening goes on until there is a pause of some hours.
    """
    runs = _evenings(moments)
    begun = [run for run in runs if run[0].date() == day]
    found = begun or [run for run in runs if any(moment.date() == day for moment in run)]
    return (found[0][0], found[-1][-1]) if found else None


def _evenings(moments: Sequence[datetime]) -> list[list[datetime]]:
    runs: list[list[datetime]] = []
    for moment in moments:
        if runs and moment - runs[-1][-1] < _PAUSE and moment - runs[-1][0] < timedelta(days=1):
            runs[-1].append(moment)
        else:
            runs.append([moment])
    return runs


class _Gathering:
    """Frames one after the other, with what each is compared with."""

    def __init__(self, judge: Judge, place: Place | None) -> None:
        self._judge, self._place = judge, place
        self._comparer = Comparer(judge, math.inf)
        self._evening_id: object = None
        self._seen: dict[str, tuple[EveningFrame, Path]] = {}

    def take_in(self, frame: Frame) -> EveningFrame:
        """The next one."""
        record = frame_record(frame, self._place)
        told, path = told_frame(record, self._place), picture_path(record)
        self._turn_to(frame.asked.decision.get("evening_id"))
        if path is None:
            return told
        try:
            seen = self._judge.glance(path, _sha256(record, path))
        except MeasuringFailed as error:
            return replace(told, trouble=str(error), is_damaged=error.code in _DAMAGED)
        told = replace(told, thumbnail=seen.thumbnail_jpeg(), level_stops=_level(record, path, seen.green_share))
        told = replace(told, is_lit=record["role"] == Role.DARK.value and seen.green_share > _LIT_SHARE)
        shown = frame_shown(frame)
        if shown is not None:
            told = self._compared(told, shown, path)
            self._seen[shown.frame_id] = (told, path)
        return told

    def _turn_to(self, evening_id: object) -> None:
        """A long frame is compared with long frames of its own series only."""
        reference = self._comparer.reference
        if evening_id != self._evening_id and reference is not None and reference.role is Role.LONG:
            self._comparer.forget()
        self._evening_id = evening_id

    def _compared(self, told: EveningFrame, shown: Shown, path: Path) -> EveningFrame:
        comparer, body = self._comparer, told.record.get("verdict")
        level: float | None = None
        if body is not None:
            level = (body["measured"] or {}).get("level_error_stops")
            comparer.follow(shown, body)
        else:
            reference, verdict = comparer.reference, comparer.compare(shown)
            if verdict is not None and reference is not None:
                told, level = _measured(told, reference, verdict)
            if shown.role is Role.BASE or self._evening_id is not None:
                comparer.begins(shown)
        base = self._seen.get(told.base_id or "")
        return told if base is None else replace(told, level_stops=_level_through(told, level, path, base))


def _level_through(
    told: EveningFrame, level: float | None, path: Path, base: tuple[EveningFrame, Path]
) -> float | None:
    """The light in a frame through a filter: that of the frame that it is compared with, the level against it, less
    what exposures and filters explain.
    """
    base_stops = base[0].level_stops
    glass_stops, base_glass_stops = (_glass_stops(frame.record) for frame in (told, base[0]))
    if glass_stops is None or base_glass_stops is None or level is None or base_stops is None:
        return None
    try:
        exposures = [_exposure_stops(frame.record, place) for frame, place in (base, (told, path))]
    except ExposureUnknown:
        return None
    return float(base_stops + level + exposures[1] - exposures[0] + glass_stops - base_glass_stops)


def _glass_stops(record: Mapping[str, Any]) -> float | None:
    """What its filters take; a base frame has none."""
    found = record["decision"].get("filter_stops")
    return 0.0 if record["role"] == Role.BASE.value else None if found is None else float(found)


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


def _weather(frames: Sequence[EveningFrame]) -> list[str]:
    """A line for each weather that was told, from the first frame that it was told before."""
    said: list[str] = []
    last: list[object] = [None] * len(WEATHER)
    for frame in frames:
        conditions = frame.record.get("conditions")
        told = last if conditions is None else [conditions.get(name) for name in WEATHER]  # None: nobody looked
        if told == last:
            continue
        last = told
        parts = [
            words.format(_as_read(value))
            for words, value in zip(_WEATHER_WORDS, told, strict=True)
            if value is not None
        ]
        if parts:
            said.append(f"Weather, as it was told before {frame.record['frame_id']}: {', '.join(parts)}.")
    return said


def _as_read(value: object) -> str:
    return f"{value:g}".replace("-", "−") if isinstance(value, (int, float)) else str(value)


def _local(frames: Sequence[EveningFrame], zone: tzinfo | None) -> str:
    first = next((frame.opened_utc for frame in frames if frame.opened_utc is not None), None)
    if zone is None or first is None:
        return ""
    offset = first.astimezone(zone).strftime("%z")
    return f"; local time is UTC{offset[:3]}:{offset[3:5]} ({zone})"


def _sha256(record: Mapping[str, Any], path: Path) -> str | None:
    return next((file.get("sha256") for file in record["files"] if file["path"] == str(path)), None)


def _measured(told: EveningFrame, reference: Shown, verdict: Verdict) -> tuple[EveningFrame, float | None]:
    """Judged now, and its level against the frame that it is compared with."""
    if verdict.trouble is not None:
        return replace(told, trouble=verdict.trouble), None
    measured = {**verdict.measured, "level_error_stops": verdict.level_error_stops}
    base_id, crops = reference.frame_id, verdict.crops_jpeg
    told = replace(told, measured=measured, base_id=base_id, against=verdict.against, crops_jpeg=crops)
    return told, verdict.measured["level_error_stops"]


def _level(record: Mapping[str, Any], path: Path, green_share: float) -> float | None:
    """By the picture alone, through the filters as the record has them; a base frame has none."""
    glass_stops = _glass_stops(record)
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
