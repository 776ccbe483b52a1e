"""Alarms that only ring: APScheduler with a store in memory, one job an alarm, armed anew each time.

The scheduler reads the wall clock and sleeps on its own idea of it; whoever arms an alarm looks at how late it came,
and arms it anew after every step of the clock. By itself a late job would be dropped without a word: here it always
runs, and every kind of miss is told.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from apscheduler.events import (
    EVENT_JOB_ERROR,
    EVENT_JOB_MAX_INSTANCES,
    EVENT_JOB_MISSED,
    EVENT_SCHEDULER_SHUTDOWN,
    SchedulerEvent,
)  # fmt: skip
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.base import JobLookupError
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.date import DateTrigger

_RINGERS = 2
_WORDS = {
    EVENT_JOB_MISSED: "missed",
    EVENT_JOB_ERROR: "failed",
    EVENT_JOB_MAX_INSTANCES: "still ringing",
    EVENT_SCHEDULER_SHUTDOWN: "the scheduler ended",
}


@dataclass(frozen=True, slots=True)
class Miss:
    """An alarm that did not ring as it should; `name` is empty when it concerns all of them."""

    name: str
    what: str


class Alarms:
    """`missed` is called in the scheduler's own threads and must do no more than put it into a queue."""

    def __init__(self, missed: Callable[[Miss], None]) -> None:
        self._missed = missed
        self._stopping = False
        self._scheduler = BackgroundScheduler(
            jobstores={"default": MemoryJobStore()},
            executors={"default": ThreadPoolExecutor(_RINGERS)},
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
            timezone=UTC,
        )
        mask = 0
        for event in _WORDS:
            mask |= event
        self._scheduler.add_listener(self._heard, mask)

    @property
    def is_running(self) -> bool:
        return bool(self._scheduler.running)

    def start(self) -> None:
        self._scheduler.start()

    def stop(self) -> None:
        """No alarm rings after this."""
        self._stopping = True
        if self._scheduler.running:
            # Ended in the middle of a look at its jobs, its thread would die of one that is no longer found.
            self._scheduler.pause()
            self._scheduler.get_jobs()  # waits for the look that is under way
            self._scheduler.shutdown(wait=True)

    def arm(self, name: str, in_s: float, ring: Callable[[], None]) -> None:
        """Ring once in so many seconds, in place of what `name` was armed for before. `ring` only queues."""
        at_utc = datetime.now(UTC) + timedelta(seconds=max(0.0, in_s))
        self._scheduler.add_job(ring, DateTrigger(at_utc, UTC), id=name, name=name, replace_existing=True)

    def disarm(self, name: str) -> None:
        with suppress(JobLookupError):  # it is ringing just now, or was never armed
            self._scheduler.remove_job(name)

    def _heard(self, event: SchedulerEvent) -> None:
        if self._stopping:
            return
        error = getattr(event, "exception", None)
        what = _WORDS[event.code] + (f": {error}" if error is not None else "")
        self._missed(Miss(str(getattr(event, "job_id", "")), what))
