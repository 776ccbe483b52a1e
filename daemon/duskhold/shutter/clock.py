"""The three clocks and the only waits that end an exposure.

`_mono` is CLOCK_BOOTTIME: it counts through a suspend, so a frame that slept is seen to have slept.
`_utc` is the wall clock, for records only. `_cam` is whatever the body says; nothing here converts it.
"""

from __future__ import annotations

import ctypes
import errno
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

_TIMER_ABSTIME = 1


class _Timespec(ctypes.Structure):
    _fields_ = (("tv_sec", ctypes.c_long), ("tv_nsec", ctypes.c_long))


_libc = ctypes.CDLL(None, use_errno=True)
_libc.clock_nanosleep.argtypes = [ctypes.c_int, ctypes.c_int, ctypes.POINTER(_Timespec), ctypes.c_void_p]
_libc.clock_nanosleep.restype = ctypes.c_int


def mono_now_s() -> float:
    """Seconds on CLOCK_BOOTTIME: the same for every process of this boot."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def utc_now() -> datetime:
    """The wall clock. It may be wrong on a board without a battery clock; nothing is timed by it."""
    return datetime.now(UTC)


def sleep_until(mono_s: float) -> None:
    """Sleep to an absolute `_mono` instant; returns at once when it has passed.

    An absolute sleep does not add up lateness, and on CLOCK_BOOTTIME it ends right after a suspend that ran over it.
    """
    if mono_s <= mono_now_s():
        return
    whole = int(mono_s)
    request = _Timespec(whole, int((mono_s - whole) * 1e9))
    while True:
        status = _libc.clock_nanosleep(time.CLOCK_BOOTTIME, _TIMER_ABSTIME, ctypes.byref(request), None)
        if status != errno.EINTR:
            break
    if status != 0:
        raise OSError(status, os.strerror(status))


def boot_id() -> str:
    """Names this boot: `_mono` stamps of two processes compare only when theirs are the same."""
    return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()


@dataclass(frozen=True, slots=True)
class Clock:
    """A `_mono` clock and its absolute sleep: the real one, or a simulated one that jumps."""

    now_s: Callable[[], float]
    sleep_until: Callable[[float], None]


class SimulatedClock:
    """A clock that jumps to wherever somebody sleeps to, and does on the way what was set for an instant."""

    def __init__(self, start_s: float = 0.0) -> None:
        self._now_s = start_s
        self._set: list[tuple[float, Callable[[], None]]] = []

    def now_s(self) -> float:
        return self._now_s

    def sleep_until(self, mono_s: float) -> None:
        while self._set and self._set[0][0] <= mono_s:
            due_s, act = self._set.pop(0)
            self._now_s = max(self._now_s, due_s)
            act()
        self._now_s = max(self._now_s, mono_s)

    def at(self, mono_s: float, act: Callable[[], None]) -> None:
        """Have `act` done at an instant."""
        self._set.append((mono_s, act))
        self._set.sort(key=lambda entry: entry[0])

    def as_clock(self) -> Clock:
        return Clock(self.now_s, self.sleep_until)


class PacedClock(SimulatedClock):
    """Simulated time that somebody looks on at: `pace` is told of every stretch that goes by, in seconds."""

    def __init__(self, pace: Callable[[float], None]) -> None:
        super().__init__()
        self._pace = pace

    def sleep_until(self, mono_s: float) -> None:
        before_s = self.now_s()
        super().sleep_until(mono_s)
        self._pace(max(0.0, self.now_s() - before_s))


REAL_CLOCK = Clock(mono_now_s, sleep_until)
