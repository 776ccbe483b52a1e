"""The evening's own clock, and what becomes of the computer's: steps and sleeps are noticed within a second.

The evening's time is an anchor in UTC plus what CLOCK_BOOTTIME counted since. When the computer's clock is set, that
is an event, and the anchor moves with it.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from duskhold.plan.evening_words import ClockStepped, Event, Woke
from duskhold.shutter.clock import mono_now_s

LOOK_EVERY_S = 1.0
STEP_LEAST_S = 2.0  # slower ones add up to it, so the evening's clock is never further off than that
SLEEP_LEAST_S = 1.0
_APART_MAX_S = 0.05


class EveningClock:
    """UTC that a step of the computer's clock does not move, to the millisecond that the journal keeps."""

    def __init__(
        self, anchor_utc: datetime, now_s: Callable[[], float] = mono_now_s, anchor_s: float | None = None
    ) -> None:
        """It was `anchor_utc` at `anchor_s` of CLOCK_BOOTTIME, or is now."""
        self._now_s = now_s
        self._anchor_utc, self._anchor_s = anchor_utc, now_s() if anchor_s is None else anchor_s

    def now_s(self) -> float:
        """CLOCK_BOOTTIME."""
        return self._now_s()

    def now_utc(self) -> datetime:
        moment = self._anchor_utc + timedelta(seconds=self._now_s() - self._anchor_s)
        return moment.replace(microsecond=moment.microsecond // 1000 * 1000)

    def until_s(self, moment_utc: datetime) -> float:
        """Seconds from now to a moment of the evening; negative when it has passed."""
        return (moment_utc - self.now_utc()).total_seconds()

    def shift(self, step_s: float) -> None:
        """The computer's clock was set by so much."""
        self._anchor_utc += timedelta(seconds=step_s)


@dataclass(frozen=True, slots=True)
class ClockLook:
    """The kernel's clocks at one instant, in seconds."""

    real_s: float
    boot_s: float
    mono_s: float

    @property
    def utc(self) -> datetime:
        return datetime.fromtimestamp(self.real_s, UTC)


def look_at_clocks() -> ClockLook:
    """All three as near to one instant as a busy machine lets them be read."""
    for _ in range(5):
        before_s = time.clock_gettime(time.CLOCK_BOOTTIME)
        real_s, mono_s = time.time(), time.monotonic()
        apart_s = time.clock_gettime(time.CLOCK_BOOTTIME) - before_s
        if apart_s < _APART_MAX_S:
            break
    return ClockLook(real_s, before_s + apart_s / 2.0, mono_s)


def step_between(before: ClockLook, now: ClockLook) -> float:
    """By how much the wall clock was set between two looks, in seconds, positive forwards."""
    return (now.real_s - now.boot_s) - (before.real_s - before.boot_s)


def slept_between(before: ClockLook, now: ClockLook) -> float:
    """For how long the computer slept between two looks, in seconds."""
    return (now.boot_s - now.mono_s) - (before.boot_s - before.mono_s)


class ClockWatch:
    """Looks every second. `post` gets `Woke` and `ClockStepped`; `also` is called at every look, such as for the
    system's word on the time."""

    def __init__(
        self, post: Callable[[Event], None], also: Callable[[], None], look: Callable[[], ClockLook] = look_at_clocks
    ) -> None:
        self._post, self._also, self._look = post, also, look
        self._known = look()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="clock watch", daemon=True)

    def look_once(self) -> None:
        """Compare with what was known, and tell. A sleep is told before a step that it brought about."""
        now, known = self._look(), self._known
        slept_s, step_s = slept_between(known, now), step_between(known, now)
        if slept_s >= SLEEP_LEAST_S:
            self._post(Woke(slept_s))
        if abs(step_s) >= STEP_LEAST_S:
            self._post(ClockStepped(step_s))
        if slept_s >= SLEEP_LEAST_S or abs(step_s) >= STEP_LEAST_S:
            self._known = now
        self._also()

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._over.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        while not self._over.wait(LOOK_EVERY_S):
            self.look_once()
