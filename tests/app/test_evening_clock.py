"""The evening's clock against steps, sleeps and restarts; all of it in simulated time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from duskhold.app.clock_gate import ClockWord
from duskhold.app.evening_clock import ClockLook, ClockWatch, EveningClock, look_at_clocks, slept_between, step_between
from duskhold.app.evening_run import Last, Opening, resume_clock
from duskhold.journal.entry import Stamp
from duskhold.plan.evening_words import (
    Begun,
    ClockConfirmed,
    ClockStepped,
    Event,
    Fault,
    FaultSeen,
    Restarted,
    Woke,
)  # fmt: skip

UTC_0 = datetime(2027, 3, 9, 17, 0, tzinfo=UTC)
BEGIN = ClockLook(real_s=1_800_000_000.0, boot_s=500.0, mono_s=400.0)


def later(seconds: float, step_s: float = 0.0, slept_s: float = 0.0) -> ClockLook:
    """The kernel's clocks: a sleep counts for all but the monotonic one."""
    boot_s = BEGIN.boot_s + seconds + slept_s
    return ClockLook(BEGIN.real_s + seconds + slept_s + step_s, boot_s, BEGIN.mono_s + seconds)


def near(seconds: float) -> Any:
    """For a field of an event."""
    return pytest.approx(seconds)


def watched(*looks: ClockLook) -> list[Event]:
    told: list[Event] = []
    coming = iter([BEGIN, *looks])
    watch = ClockWatch(told.append, lambda: None, lambda: next(coming))
    for _ in looks:
        watch.look_once()
    return told


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 4.0 * 3600.0])
def test_a_step_of_the_clock_is_told_once(step_s: float) -> None:
    assert watched(later(1.0), later(2.0, step_s), later(3.0, step_s)) == [ClockStepped(near(step_s))]


def test_twenty_minutes_of_sleep_are_told_and_are_no_step() -> None:
    assert watched(later(1.0), later(2.0, slept_s=1200.0)) == [Woke(near(1200.0))]


def test_a_sleep_is_told_before_the_step_that_it_brought_about() -> None:
    assert watched(later(1.0, -30.0, 1200.0)) == [Woke(near(1200.0)), ClockStepped(near(-30.0))]


def test_a_slow_correction_adds_up_until_it_counts() -> None:
    # adjtimex(2) slews by up to 500 ppm: half a millisecond a second.
    looks = [later(float(hour) * 3600.0, step_s=hour * 3600.0 * 5e-4) for hour in range(1, 4)]
    assert watched(*looks) == [ClockStepped(near(3.6))]


def test_the_kernels_clocks_agree_with_themselves() -> None:
    first, second = look_at_clocks(), look_at_clocks()
    assert abs(step_between(first, second)) < 0.5
    assert abs(slept_between(first, second)) < 0.5


def test_the_evening_counts_on_whatever_the_wall_clock_does_and_to_the_millisecond() -> None:
    now_s = 100.0
    clock = EveningClock(UTC_0, lambda: now_s)
    now_s = 107.12345
    assert clock.now_utc() == UTC_0 + timedelta(seconds=7.123)
    assert clock.until_s(UTC_0 + timedelta(seconds=10)) == pytest.approx(2.877, abs=1e-6)
    clock.shift(-3600.0)
    assert clock.now_utc() == UTC_0 + timedelta(seconds=7.123 - 3600.0)


@pytest.mark.parametrize(
    ("wall_s", "boot", "now_s", "step_s"),
    [
        (90.0, "one", 90.0, 0.0),  # died and started again
        (90.0 - 3600.0, "one", 90.0, -3600.0),  # set while nobody looked
        (90.0 + 3600.0, "one", 90.0, 3600.0),
        (600.0, "two", 600.0, 0.0),  # another boot, time went on
        (-7200.0, "two", 0.0, -7200.0),  # another boot without a battery clock: never back unsaid
    ],
)
def test_a_start_in_the_middle_keeps_the_evenings_time(wall_s: float, boot: str, now_s: float, step_s: float) -> None:
    last = Stamp(UTC_0, 1000.0, "one")
    now = Stamp(UTC_0 + timedelta(seconds=wall_s), 1090.0 if boot == "one" else 30.0, boot)
    found_utc, found = resume_clock(UTC_0, last, now)
    assert found_utc == UTC_0 + timedelta(seconds=now_s)
    assert found.step_s == pytest.approx(step_s)
    assert found.other_boot == (boot == "two")


SURE, UNSURE = ClockWord(True, "a person"), ClockWord(False, "nobody says that the time is right")


def test_a_new_evening_begins_once() -> None:
    opening = Opening(None)
    assert opening(SURE, True) == [Begun(True), ClockConfirmed("a person")]
    assert opening(UNSURE, True) == []
    assert Opening(None)(UNSURE, False) == [Begun(False)]


def test_a_start_in_the_middle_says_so_first_and_then_what_the_clock_did() -> None:
    assert Opening(Last(-3600.0, other_boot=False))(SURE, True) == [
        Restarted(True), ClockStepped(-3600.0), ClockConfirmed("a person"),
    ]  # fmt: skip
    opening = Opening(Last(0.0, other_boot=True))
    restarted, doubted = opening(UNSURE, False)
    assert restarted == Restarted(False)
    assert isinstance(doubted, FaultSeen) and doubted.fault is Fault.CLOCK
    assert opening(UNSURE, True) == [Restarted(True)]  # the camera answers at last: the past is told
