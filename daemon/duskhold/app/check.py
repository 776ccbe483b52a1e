"""The check before the shot on a body: asking it, putting right what can be set, and putting back what was found."""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

from duskhold.app.bodies import habits_of, has_passed
from duskhold.app.check_memory import CheckMemory, MemoryDamaged, read_memory
from duskhold.app.checklist import FRAME_BYTES, Facts, Item, State, Wanted, judge
from duskhold.app.station import Station
from duskhold.camera.port import Setting
from duskhold.camera.target_found import FOLDER, forget_found, found_target, has_found
from duskhold.camera.words import same_meaning
from duskhold.shutter.clock import utc_now
from duskhold.shutter.holder_link import HolderRefused

FULLER = 1.5  # a scene with more in it than the wall of the bench makes larger files; common practice, no source
_NEVER_PUT_BACK = {Setting.SHOTS_LEFT, Setting.BATTERY, Setting.CLOCK}
_FIRST = (Setting.MODE, Setting.SHUTTER)
_LAST = {Setting.SHUTTER: 1, Setting.MODE: 2, Setting.TARGET: 3}
"""A body in another mode refuses what belongs to manual: the mode goes first when put right, and last when put back."""


class NoBody(Exception):
    """No body answers."""


@dataclass(frozen=True, slots=True)
class Change:
    """One setting that was set: what it was, what was asked, and what the body then said, or why it would not."""

    setting: Setting
    was: str | None
    asked: str
    now: str | None
    trouble: str | None = None


def ask_facts(station: Station, zone: tzinfo | None) -> Facts:
    """What is known now. Raises `NoBody`, `HolderRefused`, `HolderSilent`, `ProfileDamaged`."""
    station.await_body()
    began_utc = utc_now()
    said = station.link.settings()
    middle_utc = began_utc + (utc_now() - began_utc) / 2  # its clock is one of many settings, asked one by one
    identity = station.identity()
    if identity is None:
        raise NoBody(station.why_nobody())
    habits = habits_of(station.folders, identity)
    return Facts(
        identity=identity,
        said=said,
        disk_free_bytes=shutil.disk_usage(_existing(station.folders.data)).free,
        clock_offset_s=clock_offset_s(said.get(Setting.CLOCK), zone, middle_utc),
        leftovers=len(station.link.new_pictures()),
        dark_frame_share=None if habits is None else habits.dark_frame_share,
        bench_passed=has_passed(station.folders, identity),
        frame_bytes=FRAME_BYTES if habits is None else round(habits.file_bytes * FULLER),
    )


def fix(station: Station, facts: Facts, wanted: Wanted, memory: CheckMemory, zone: tzinfo | None) -> list[Change]:
    """Set what is bad and can be set, each read back. What was there before is written down first."""
    bad = [item for item in judge(facts, wanted, {}) if item.state is State.BAD and item.fix is not None]
    asked = {item.setting: item.fix for item in bad if item.setting is not None and item.fix is not None}
    if not asked:
        return []
    memory.keep_as_found(facts.identity.serial, facts.said, facts.clock_offset_s)
    memory.write()
    ordered = sorted(asked, key=lambda setting: setting not in _FIRST)
    return [_set(station, facts.said, each, _word(each, asked[each], zone)) for each in ordered]


def restore(station: Station, facts: Facts, memory: CheckMemory, zone: tzinfo | None) -> list[Change]:
    """Put the body's settings back as they were found; what was put back is forgotten.

    Where pictures go comes last, and the camera is let go of after it: this session would lose the next ones.
    """
    found = as_found(station, facts, memory)
    differs = [
        setting
        for setting, word in found.items()
        if setting in facts.said and not same_meaning(setting, facts.said[setting], word)
    ]
    ordered = sorted(set(differs) - _NEVER_PUT_BACK, key=lambda setting: (_LAST.get(setting, 0), setting.value))
    changes = [_set(station, facts.said, each, found[each]) for each in ordered]
    if memory.clock_offset_s is not None and abs(memory.clock_offset_s - (facts.clock_offset_s or 0.0)) > 2.0:
        offset = timedelta(seconds=memory.clock_offset_s)
        changes.append(_set(station, facts.said, Setting.CLOCK, _clock_word(utc_now() + offset, zone)))
    if not any(change.trouble for change in changes):
        memory.found, memory.found_serial, memory.clock_offset_s = {}, None, None
        memory.write()
        forget_found(_library_folder(station), facts.identity.serial)
    if Setting.TARGET in differs:
        station.link.release()
    return changes


def as_found(station: Station, facts: Facts, memory: CheckMemory) -> dict[Setting, str]:
    """The settings of this body before `check --fix`, and its target before connecting, as far as any was changed."""
    is_ours = memory.found_serial == facts.identity.serial
    found = {Setting(name): word for name, word in memory.found.items()} if is_ours else {}
    target = found_target(_library_folder(station), facts.identity.serial)
    return found if target is None else {**found, Setting.TARGET: target}


def unanswered(items: Sequence[Item]) -> list[Item]:
    """What a person has to be asked."""
    return [item for item in items if item.state is State.UNKNOWN]


def awaits_restore(station_state: Path) -> bool:
    """Whether settings of a body at this place of shutter processes were changed, and not put back as found."""
    try:
        changed = [read_memory(path).found for path in station_state.glob("check-*.json")]
    except MemoryDamaged:
        return True  # nobody knows: putting back will say what is wrong with it
    return any(changed) or has_found(station_state / FOLDER)


def memory_path(station_state: Path, serial: str) -> Path:
    """Each body has its own: what was said of one, or found on it, holds for no other at the same address."""
    words = re.sub(r"[^a-z0-9]+", "-", serial.lower()).strip("-")[:24]
    return station_state / f"check-{words}-{hashlib.sha256(serial.encode()).hexdigest()[:8]}.json"


def _set(station: Station, said: Mapping[Setting, str], setting: Setting, word: str) -> Change:
    try:
        now = station.link.change(setting, word)
    except HolderRefused as refused:
        return Change(setting, said.get(setting), word, None, str(refused))
    return Change(setting, said.get(setting), word, now)


def _word(setting: Setting, word: str, zone: tzinfo | None) -> str:
    return _clock_word(utc_now(), zone) if setting is Setting.CLOCK else word


def _library_folder(station: Station) -> Path:
    return station.folders.places(station.camera).state / FOLDER


def _clock_word(moment: datetime, zone: tzinfo | None) -> str:
    return moment.astimezone(zone).replace(tzinfo=None).isoformat(timespec="seconds")


def clock_offset_s(said: str | None, zone: tzinfo | None, asked_utc: datetime | None = None) -> float | None:
    """The body's clock minus ours, both cut to whole seconds; `asked_utc` is when it was asked, or now."""
    try:
        body = datetime.fromisoformat(said or "")
    except ValueError:
        return None
    ours = (asked_utc or utc_now()).astimezone(zone).replace(tzinfo=None, microsecond=0)
    return (body.replace(tzinfo=None) - ours).total_seconds()


def _existing(folder: Path) -> Path:
    return next(each for each in (folder, *folder.parents) if each.exists())
