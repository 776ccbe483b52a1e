"""Alarms: every kind of miss is told, and what is late rings all the same.

The library's own defaults (APScheduler 3.11 user guide, "Missed job executions and coalescing") drop a job that is a
second late. Real time, some tenths of a second: the scheduler reads the clock itself.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from apscheduler.events import EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED, JobExecutionEvent, JobSubmissionEvent
from apscheduler.triggers.date import DateTrigger

from duskhold.app.alarms import Alarms, Miss


@pytest.fixture
def missed() -> queue.Queue[Miss]:
    return queue.Queue()


@pytest.fixture
def alarms(missed: queue.Queue[Miss]) -> Iterator[Alarms]:
    made = Alarms(missed.put)
    made.start()
    yield made
    made.stop()


def test_it_rings_once_in_its_time(alarms: Alarms) -> None:
    rang: queue.Queue[float] = queue.Queue()
    began_s = time.monotonic()
    alarms.arm("deadline", 0.15, lambda: rang.put(time.monotonic()))
    assert rang.get(timeout=5.0) - began_s >= 0.14
    with pytest.raises(queue.Empty):
        rang.get(timeout=0.2)


def test_armed_anew_only_the_new_time_counts(alarms: Alarms) -> None:
    rang: queue.Queue[str] = queue.Queue()
    alarms.arm("deadline", 0.1, lambda: rang.put("old"))
    alarms.arm("deadline", 0.2, lambda: rang.put("new"))
    assert rang.get(timeout=5.0) == "new"
    assert rang.empty()


def test_disarmed_it_does_not_ring_and_twice_is_no_error(alarms: Alarms) -> None:
    rang: queue.Queue[str] = queue.Queue()
    alarms.arm("deadline", 0.1, lambda: rang.put("rang"))
    alarms.disarm("deadline")
    alarms.disarm("deadline")
    with pytest.raises(queue.Empty):
        rang.get(timeout=0.25)


def test_what_is_hours_late_rings_all_the_same(alarms: Alarms, missed: queue.Queue[Miss]) -> None:
    rang: queue.Queue[str] = queue.Queue()
    # As after a suspend or a step forwards: its time has long passed when the scheduler looks.
    long_ago = DateTrigger(datetime.now(UTC) - timedelta(hours=3), UTC)
    alarms._scheduler.add_job(lambda: rang.put("rang"), long_ago, id="late")
    assert rang.get(timeout=5.0) == "rang"
    assert missed.empty()


class Slow(DateTrigger):  # type: ignore[misc]
    """A trigger that takes its time whenever the scheduler asks it for the next."""

    asked = threading.Event()

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime | None:
        if previous_fire_time is not None:
            self.asked.set()
            time.sleep(0.2)  # the scheduler's own thread is what is tested
        found: datetime | None = super().get_next_fire_time(previous_fire_time, now)
        return found


def test_stopping_in_the_middle_of_a_look_leaves_no_dead_thread(missed: queue.Queue[Miss]) -> None:
    alarms = Alarms(missed.put)
    alarms.start()
    alarms._scheduler.add_job(lambda: None, Slow(datetime.now(UTC), UTC), id="slow")
    assert Slow.asked.wait(5.0)
    alarms.stop()  # pytest makes an error of a thread that ends by an exception


def test_a_ring_that_fails_is_told(alarms: Alarms, missed: queue.Queue[Miss]) -> None:
    def broken() -> None:
        raise ValueError("the queue is gone")

    alarms.arm("deadline", 0.0, broken)
    miss = missed.get(timeout=5.0)
    assert miss.name == "deadline" and "the queue is gone" in miss.what


def test_a_scheduler_that_ends_by_itself_is_told_and_one_that_is_stopped_is_not(missed: queue.Queue[Miss]) -> None:
    alarms = Alarms(missed.put)
    alarms.start()
    alarms._scheduler.shutdown()
    assert missed.get(timeout=5.0) == Miss("", "the scheduler ended")
    assert not alarms.is_running
    other = Alarms(missed.put)
    other.start()
    other.stop()
    assert missed.empty()


@pytest.mark.parametrize(
    ("event", "what"),
    [
        (JobExecutionEvent(EVENT_JOB_MISSED, "deadline", "default", datetime.now(UTC)), "missed"),
        (JobSubmissionEvent(EVENT_JOB_MAX_INSTANCES, "deadline", "default", []), "still ringing"),
    ],
)
def test_misses_that_cannot_happen_by_our_settings_would_be_told_too(
    alarms: Alarms, missed: queue.Queue[Miss], event: JobExecutionEvent, what: str
) -> None:
    alarms._scheduler._dispatch_event(event)
    assert missed.get(timeout=5.0) == Miss("deadline", what)
