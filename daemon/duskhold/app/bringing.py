"""The pictures of a finished frame, brought home: waited for, fetched, put in place, and read back."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from duskhold.app.belonging import ended_early_s, own_first
from duskhold.app.bodies import Habits, ProfileDamaged, habits_of
from duskhold.app.promise import differs, missing_files, promised_files
from duskhold.app.station import Station
from duskhold.app.unlike import Seen, unlike_bench
from duskhold.camera.port import Picture, Setting
from duskhold.frames.store import Arrival, StoredFile, StoreError, ensure_room, file_name
from duskhold.plan.role import Role
from duskhold.plan.stamp import utc_from
from duskhold.shutter.clock import mono_now_s, utc_now
from duskhold.shutter.holder_link import HolderRefused, HolderSilent
from duskhold.shutter.replaced import OTHER_BODY
from duskhold.shutter.report import ShutterReport
from duskhold.shutter.stock import StockUnknown
from duskhold.shutter.wire import Message

LOOK_EVERY_S = 0.1
MISSING_LISTINGS = 2  # more, when the card has fewer files than promised: a body may say too soon that it is ready
LIST_EVERY_S = 3.0  # a lost event must not cost a minute; a listing must not disturb a body that stores
FRESH_S = 12.0  # proving that it is closed takes some of it
STORING_MAX_S = 60.0  # over the open time again, for a dark frame of the body's own
_STORING, _READY = "storing", "ready"


@dataclass(frozen=True, slots=True)
class Brought:
    """`complete` when nothing of the frame is left to fetch; `trouble` says what is, and why.

    `fetch_s` is how long the lead was busy with `files`, without the writing and reading back on our side. `ended_s` is
    the time that its pictures tell, where that proves that the body closed before it was asked to.
    """

    files: tuple[StoredFile, ...]
    complete: bool
    trouble: str
    fetch_s: float = 0.0
    ended_s: float | None = None


def bring_home(
    station: Station, report: ShutterReport, role: Role, seen: Callable[[Message], None], leave: Callable[[], bool]
) -> Brought:
    """Fetch every new picture. What cannot be fetched stays on the card and is tried again at the next start."""
    habits, damaged = _habits(station)
    began_s, closed_ago_s = mono_now_s(), _closed_ago_s(report)
    try:
        pictures, promised = _wait_for_pictures(station, report, seen, leave, 0 if habits is None else habits.files)
    except (HolderRefused, HolderSilent) as error:
        if isinstance(error, HolderRefused) and error.code == StockUnknown.code:
            return Brought((), True, f"its pictures stay on the card ({error})")  # no later start knows it either
        return Brought((), False, f"its pictures are not fetched yet ({error})")
    except _Left:
        return Brought((), False, "left on request; its pictures are fetched at the next start")
    if not pictures:
        return Brought((), True, "no picture of this frame is on the card")
    busy_s = None if closed_ago_s is None else closed_ago_s + mono_now_s() - began_s
    folder = station.folders.session(_day(report).date())
    brought = _fetch_all(station, pictures, folder, report.frame_id, role)
    difference = differs(promised, [picture.name for picture in pictures])
    files, strange = own_first(brought.files, report.open_s)
    ended_s = None
    if report.denied and report.open_s:
        ended_s = ended_early_s(files, report.open_s)
        strange = strange if ended_s is None else f"its picture says {ended_s:.3g} s: the body had closed by itself"
    count = None if promised else len(pictures)
    seen_now = Seen(report.open_s or 0.0, busy_s, count, sum(file.bytes for file in files), brought.fetch_s)
    unlike = () if habits is None else unlike_bench(habits, seen_now)
    said = "; ".join(part for part in (brought.trouble, difference, strange, *unlike, damaged) if part)
    return replace(brought, files=files, trouble=said, ended_s=ended_s)


def _habits(station: Station) -> tuple[Habits | None, str]:
    """What the bench saw of this body; a file that cannot be read is said, and costs no picture."""
    try:
        identity = station.identity()
        return (None if identity is None else habits_of(station.folders, identity)), ""
    except HolderSilent:
        return None, ""  # whoever asks for the pictures next says it
    except ProfileDamaged as damaged:
        return None, str(damaged)


def _closed_ago_s(report: ShutterReport) -> float | None:
    """How long ago it closed, when that was just now: the wait for its files is the body's own. Else None."""
    if report.closed_utc is None:
        return None
    ago_s = (utc_now() - utc_from(report.closed_utc)).total_seconds()
    return max(0.0, ago_s) if abs(ago_s) < FRESH_S else None


class _Left(Exception):
    """The person wants to go."""


def _wait_for_pictures(
    station: Station,
    report: ShutterReport,
    seen: Callable[[Message], None],
    leave: Callable[[], bool],
    usual: int,
) -> tuple[list[Picture], tuple[str, ...]]:
    """The new pictures, once the body has stored everything it will, and what its settings promise.

    Where they promise nothing, `usual` is how many files the bench saw of a frame. A link lost meanwhile is waited for.
    """
    began_s = mono_now_s()
    give_up_s = began_s + STORING_MAX_S + report.about_s
    list_s = began_s + LIST_EVERY_S
    before: list[Picture] = []
    promised: tuple[str, ...] | None = None
    listings = 0
    while True:
        if leave():
            raise _Left
        state = station.link.state()
        seen(state)
        if state.get("trouble_code") == OTHER_BODY:
            raise HolderRefused(OTHER_BODY, str(state["trouble"]))
        is_ready = state["phase"] == _READY or mono_now_s() >= give_up_s
        if (is_ready and not listings) or (state["phase"] in (_READY, _STORING) and mono_now_s() >= list_s):
            now = station.link.new_pictures() if is_ready else _listed(station)
            if promised is None:
                promised = _promised(station)
            listings += is_ready
            names = [picture.name for picture in now]
            is_whole = bool(now) and promised is not None and not missing_files(promised, names)
            is_whole = is_whole and (bool(promised) or len(now) >= usual)
            if (is_whole and (is_ready or now == before)) or listings > MISSING_LISTINGS:
                return now, promised or ()  # the same twice while it stores: the word that it is complete was lost
            before, list_s = now, mono_now_s() + LIST_EVERY_S
        time.sleep(LOOK_EVERY_S)


def _promised(station: Station) -> tuple[str, ...] | None:
    """None when it could not be asked just now: a half of a pair must not be taken for the whole."""
    try:
        return promised_files(station.link.settings().get(Setting.QUALITY))
    except HolderRefused:
        return None


def _listed(station: Station) -> list[Picture]:
    try:
        return station.link.new_pictures()
    except HolderRefused:
        return []  # still busy: its next answer counts


def _fetch_all(station: Station, pictures: list[Picture], folder: Path, frame_id: str, role: Role) -> Brought:
    files: list[StoredFile] = []
    trouble: list[str] = []
    fetch_s = 0.0
    for picture in pictures:
        try:
            file, took_s = _fetch(station, picture, folder, frame_id, role)
            files.append(file)
            fetch_s += took_s
        except (HolderRefused, HolderSilent, StoreError, OSError) as error:
            trouble.append(f"{picture.name} is still on the card ({error})")
    return Brought(tuple(files), not trouble, "; ".join(trouble), fetch_s)


def _fetch(station: Station, picture: Picture, folder: Path, frame_id: str, role: Role) -> tuple[StoredFile, float]:
    """The file, and how long the lead took for it."""
    reserve_bytes = station.settings.limits.disk_reserve_mb * 1_000_000
    ensure_room(folder, picture.size_bytes, reserve_bytes // 2)  # a frame that exists may use the half of it
    name = file_name(frame_id, role, picture.name)
    with Arrival(folder, name, role, picture.size_bytes) as arrival:
        began_s = mono_now_s()
        station.link.fetch(picture, arrival.descriptor)
        took_s = mono_now_s() - began_s
        return arrival.keep(), took_s


def _day(report: ShutterReport) -> datetime:
    return utc_from(report.opened_utc) if report.opened_utc else utc_now()
