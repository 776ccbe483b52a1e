"""Whether an evening's camera is ready, and what battery and disk are left, as the evening hears it."""

from __future__ import annotations

import shutil
from datetime import tzinfo
from pathlib import Path

from duskhold.app.check import NoBody, ask_facts, memory_path
from duskhold.app.check_memory import MemoryDamaged, read_memory
from duskhold.app.checklist import State, Wanted, judge
from duskhold.app.readiness import unproven
from duskhold.app.station import Station
from duskhold.camera.port import Setting
from duskhold.camera.words import battery_percent
from duskhold.plan.evening_words import Checked, MeansTold
from duskhold.plan.outing import Dark, Outing
from duskhold.shutter.clock import utc_now
from duskhold.shutter.holder_link import HolderRefused

_FRAMES_UNSAID = 10
_SET_BY_US = ("shutter", "iso", "clock")
"""Dial and ISO are set before each frame; what the body's clock is worth is the clock gate's business."""


def check_for(station: Station, outing: Outing, zone: tzinfo | None) -> Checked:
    """Every item that is wrong as far as the body says, and the bench that this family still needs.

    Raises `HolderSilent` or `ProfileDamaged`.
    """
    try:
        facts = ask_facts(station, zone)
    except (NoBody, HolderRefused) as error:
        return Checked((f"camera ({error})",))
    wanted = Wanted(
        frames=outing.frames_wanted or _FRAMES_UNSAID,
        iso=outing.kit.iso.name,
        dark_frame="on" if outing.dark is Dark.IN_CAMERA else "off",
        battery_percent=min(100, round(outing.bounds.battery_reserve_percent) + 1),
        disk_reserve_bytes=outing.bounds.disk_reserve_bytes,
    )
    try:
        memory = read_memory(memory_path(station.folders.places(station.camera).state, facts.identity.serial))
    except MemoryDamaged as error:
        return Checked((f"memory of the check ({error})",))
    items = judge(facts, wanted, memory.answers(utc_now()))
    bad = [item.item for item in items if item.state is State.BAD and item.item not in _SET_BY_US]
    return Checked((*bad, *(["bench"] if unproven(station) is not None else [])))


def means_of(station: Station) -> MeansTold:
    """Battery and disk now; None where nobody knows. Raises `HolderSilent`."""
    try:
        battery = battery_percent(station.link.settings().get(Setting.BATTERY))
    except HolderRefused:
        battery = None
    return MeansTold(None if battery is None else float(battery), free_bytes(station.folders.data))


def free_bytes(folder: Path) -> int:
    there = next(each for each in (folder, *folder.parents) if each.exists())
    return shutil.disk_usage(there).free
