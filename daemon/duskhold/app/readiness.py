"""Whether a frame of some length may begin as far as disk, battery and card go; what cannot be asked is not known."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from duskhold.app.bodies import has_passed
from duskhold.app.check import clock_offset_s
from duskhold.app.station import Station
from duskhold.app.weather import weather_at
from duskhold.camera.port import Setting
from duskhold.camera.words import battery_percent
from duskhold.frames.store import DiskShort, ensure_room
from duskhold.shutter.clock import utc_now
from duskhold.shutter.holder_link import HolderRefused

FRAME_BYTES = 150_000_000  # a raw and a JPEG of the largest bodies


@dataclass(frozen=True, slots=True)
class Unready:
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Before:
    """`settings` is everything that the body says of itself and `conditions` what else is known, for the record;
    `trouble` is None when it may begin.
    """

    trouble: Unready | None
    settings: Mapping[str, str]
    conditions: Mapping[str, object] | None = None

    def told(self) -> dict[str, object]:
        """As the journal keeps it with the frame."""
        return {"settings": dict(self.settings), "conditions": self.conditions and dict(self.conditions)}


def look_before(station: Station) -> Before:
    """What the body says before a frame, and why the frame should not begin. Raises `HolderSilent`, `JournalError`."""
    limits = station.settings.limits
    try:
        ensure_room(station.folders.data, FRAME_BYTES, limits.disk_reserve_mb * 1_000_000)
    except DiskShort as short:
        advice = "Make room, or lower disk_reserve_mb in the settings." if short.but_for_reserve else "Make room."
        return Before(Unready(short.code, f"{short} {advice}"), {})
    began_utc = utc_now()
    try:
        said = station.link.settings()
    except HolderRefused:
        return Before(None, {})  # the shutter process says itself what is in the way, and until when
    trouble = _weak(said.get(Setting.BATTERY), limits.battery_reserve_percent) or _full(said.get(Setting.SHOTS_LEFT))
    middle_utc = began_utc + (utc_now() - began_utc) / 2  # its clock is one of many settings, asked one by one
    zone = ZoneInfo(station.settings.zone) if station.settings.zone else None
    conditions = {
        "clock_offset_s": clock_offset_s(said.get(Setting.CLOCK), zone, middle_utc),
        "battery_percent": battery_percent(said.get(Setting.BATTERY)),
        "free_bytes": shutil.disk_usage(station.folders.data).free,
        **weather_at(station.journal, middle_utc).told(),
    }
    return Before(trouble, {setting.value: value for setting, value in said.items()}, conditions)


def unproven(station: Station) -> Unready | None:
    """Why a frame that nobody watches should not begin on this body, or None.

    Raises `HolderSilent` or `ProfileDamaged`.
    """
    identity = station.identity()
    if identity is None or identity.proven or has_passed(station.folders, identity):
        return None
    reason = f"Its control family ({identity.family}, 0x{identity.vendor_extension:04X}) was never seen at work here."
    return Unready("unproven", f"{reason} Run `duskhold body bench` on it first, or expose from a terminal.")


def _weak(battery: str | None, reserve_percent: int) -> Unready | None:
    percent = battery_percent(battery)
    if percent is None or percent > reserve_percent:
        return None
    reason = f"The camera says of its battery: {battery}; battery_reserve_percent keeps {reserve_percent} %."
    return Unready("battery_low", f"{reason} Change it: a battery that dies with the shutter open loses the frame.")


def _full(shots_left: str | None) -> Unready | None:
    if shots_left is None or not shots_left.strip().isdigit() or int(shots_left) > 0:
        return None
    return Unready("card_full", "The camera's card has no room for another picture. Change it; nothing was erased.")
