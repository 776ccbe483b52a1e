"""Whether the computer's clock may be trusted: by a person, by the system's synchronisation, or by the camera's clock.

A small board without a battery clock starts with a time that may be wrong by hours; nothing that hangs on sun or
clock runs on it.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from datetime import tzinfo

from duskhold.app.check import clock_offset_s
from duskhold.app.station import Station
from duskhold.camera.port import Setting
from duskhold.light.sign import signed
from duskhold.shutter.holder_link import HolderRefused

SYSTEM = "the system's time synchronisation"
CAMERA = "the camera's clock"
CAMERA_APART_MAX_S = 60.0
_WHOLE_HOUR_WITHIN_S = 120.0
# adjtimex(2): the state of a clock that nobody keeps right, the flag for the same, and a call that changes nothing.
_TIME_ERROR = 5
_STA_UNSYNC = 0x0040
_READ_ONLY = 0


@dataclass(frozen=True, slots=True)
class ClockWord:
    """What one source says: `confirmed`, and a line that says by what, or why not."""

    confirmed: bool
    line: str

    @property
    def sentence(self) -> str:
        return f"the time is right, says {self.line}" if self.confirmed else self.line


class _Timex(ctypes.Structure):
    # struct timex of linux/timex.h as far as `status`; the rest is room enough for what the kernel writes.
    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_byte * 256),
    )


def system_word() -> ClockWord:
    """The kernel's word by adjtimex(2), which every time service of Linux keeps up."""
    timex = _Timex(modes=_READ_ONLY)
    state = ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.byref(timex))
    return judge_system(state, timex.status)


def judge_system(state: int, status: int) -> ClockWord:
    """What adjtimex(2) returned, and its status flags."""
    if state < 0 or state == _TIME_ERROR or status & _STA_UNSYNC:
        return ClockWord(False, f"{SYSTEM} does not say that the time is right")
    return ClockWord(True, SYSTEM)


def camera_word(station: Station, zone: tzinfo | None, otherwise: ClockWord) -> ClockWord:
    """The body's clock read in the stated zone; `otherwise` where it has nothing to add. Raises `HolderSilent`."""
    if zone is None:
        return otherwise
    try:
        said = station.link.settings().get(Setting.CLOCK)
    except HolderRefused:
        return otherwise
    return judge_camera(clock_offset_s(said, zone), str(zone))


def judge_camera(offset_s: float | None, zone: str | None) -> ClockWord:
    """The body's clock minus ours, read in the stated zone; a clock an hour off says that one of them is wrong."""
    if zone is None:
        return ClockWord(False, f"{CAMERA} tells no zone, and the settings name none")
    if offset_s is None:
        return ClockWord(False, f"{CAMERA} cannot be asked")
    if abs(offset_s) <= CAMERA_APART_MAX_S:
        return ClockWord(True, f"{CAMERA}, {signed(offset_s, 0)} s apart in {zone}")
    return ClockWord(False, f"{CAMERA} is {_apart(offset_s)} apart in {zone}: one of them is wrong")


def _apart(offset_s: float) -> str:
    hours = round(offset_s / 3600.0)
    if hours and abs(offset_s - hours * 3600.0) <= _WHOLE_HOUR_WITHIN_S:
        return f"a whole {signed(hours, 0)} h (a zone, or summer time)"
    return f"{signed(offset_s, 0)} s"
