"""The loop: journal before step before effects, late and lost alarms, the heartbeat, clock steps, the end."""

from __future__ import annotations

import threading
import time
from datetime import datetime, timedelta

import pytest
from evening_bench import BEGUN_UTC, VIEW, LoopBench

from duskhold.app.alarms import Alarms, Miss
from duskhold.app.evening_loop import (
    HEARTBEAT_S,
    LEAVE_WITHIN_S,
    LONGEST_ARM_S,
    LOOK_S,
    OVERDUE_S,
    Call,
    EveningLoop,
    FieldEnded,
    Happened,
    Heard,
    Inbox,
)  # fmt: skip
from duskhold.journal.database import JournalUnwritable
from duskhold.plan.evening_words import (
    ClockStepped,
    CloseNow,
    Ended,
    Event,
    ReadMeans,
    Ring,
    Said,
    Tell,
    Ticked,
    Urgency,
    Word,
)  # fmt: skip


@pytest.fixture
def bench() -> LoopBench:
    return LoopBench()


def test_an_event_is_kept_then_stepped_then_followed(bench: LoopBench) -> None:
    bench.machine.script = lambda _event: [Tell("person", "done", {}), ReadMeans()]
    bench.inbox.post(Said(Word.DONE))
    bench.turn()
    assert bench.order == ["keep Said", "step Said", "note person", "do Tell", "do ReadMeans", "follow"]


def test_nothing_follows_from_what_the_journal_does_not_have(bench: LoopBench) -> None:
    def full(event: Event, now_utc: datetime) -> None:
        raise JournalUnwritable("the disk is full")

    bench.pen.keep = full  # type: ignore[method-assign]
    bench.inbox.post(Said(Word.DONE))
    with pytest.raises(JournalUnwritable):
        bench.turn()
    assert bench.machine.seen == [] and bench.field.asked == []


def test_an_alarm_ticks_and_its_lateness_is_in_the_journal(bench: LoopBench) -> None:
    bench.due_in(30.0)
    bench.inbox.post(Said(Word.RESUME))
    bench.turn()
    in_s, _ = bench.ringer.armed["deadline"]
    assert in_s == pytest.approx(30.0, abs=0.001)
    bench.now_s += 33.25
    bench.ringer.ring("deadline")
    bench.turn()
    assert isinstance(bench.machine.seen[-1][0], Ticked)
    assert bench.pen.notes[-1][0] == "alarm"
    assert bench.pen.notes[-1][2]["late_s"] == pytest.approx(3.25, abs=0.002)
    assert bench.loop.worst_late_s == pytest.approx(3.25, abs=0.002)


def test_an_alarm_that_nobody_rings_is_noticed_and_said(bench: LoopBench) -> None:
    bench.due_in(5.0)
    bench.inbox.post(Said(Word.RESUME))
    bench.turn()
    bench.now_s += 5.0 + OVERDUE_S - 0.1
    bench.turn()
    assert len(bench.machine.seen) == 1
    bench.now_s += 0.2
    bench.turn()
    assert isinstance(bench.machine.seen[-1][0], Ticked)
    assert bench.pen.words() == ["alarm_overdue"]


def test_an_alarm_that_rings_early_is_armed_again_and_ticks_nothing(bench: LoopBench) -> None:
    bench.due_in(3600.0)
    bench.inbox.post(Said(Word.RESUME))
    bench.turn()
    assert bench.ringer.armed["deadline"][0] == LONGEST_ARM_S  # long waits are armed piece by piece
    bench.now_s += 1.0  # the wall clock jumped: the scheduler thinks that it is time
    bench.ringer.ring("deadline")
    bench.turn()
    assert len(bench.machine.seen) == 1
    assert "deadline" in bench.ringer.armed


def test_an_alarm_armed_for_something_else_meanwhile_ticks_nothing(bench: LoopBench) -> None:
    bench.due_in(5.0)
    bench.inbox.post(Said(Word.RESUME))
    bench.turn()
    _, ring = bench.ringer.armed["deadline"]
    bench.due_in(50.0)
    bench.inbox.post(Said(Word.RESUME))
    bench.turn()
    bench.now_s += 5.0
    ring()
    bench.turn()
    assert not any(isinstance(event, Ticked) for event, _ in bench.machine.seen)


def test_a_deadline_that_stays_in_the_past_does_not_spin(bench: LoopBench) -> None:
    bench.due_in(-10.0)
    bench.inbox.post(Said(Word.RESUME))
    bench.turn()
    assert bench.ringer.armed["deadline"][0] >= 1.0


def test_the_evening_counts_on_through_a_step_of_an_hour_and_every_alarm_is_armed_anew(bench: LoopBench) -> None:
    bench.due_in(60.0)
    bench.inbox.post(Said(Word.RESUME))
    bench.turn()
    bench.now_s += 10.0
    bench.ringer.times.clear()
    bench.inbox.post(ClockStepped(-3600.0))
    bench.turn()
    # It is told by the old clock, and the new one holds from then on: time never goes back without that event.
    assert bench.machine.seen[-1][1] == BEGUN_UTC + timedelta(seconds=10.0)
    assert bench.clock.now_utc() == BEGUN_UTC + timedelta(seconds=10.0 - 3600.0)
    assert set(bench.ringer.times) == {"deadline", "heartbeat"}


def test_the_watchdog_is_told_only_of_a_beat_that_came_while_the_cameras_thread_lives(bench: LoopBench) -> None:
    bench.inbox.post(ClockStepped(0.0))  # arms the heartbeat as `run` does
    bench.turn()
    assert bench.ringer.armed["heartbeat"][0] == HEARTBEAT_S
    bench.turn()
    assert bench.beats == 0  # time alone is no beat
    bench.ringer.ring("heartbeat")
    assert bench.beats == 0  # nor is a ring that the loop has not come to
    bench.turn()
    assert bench.beats == 1
    bench.field.is_alive = False
    bench.ringer.ring("heartbeat")
    with pytest.raises(FieldEnded):
        bench.turn()
    assert bench.beats == 1


def test_a_beat_that_found_no_room_is_armed_again_and_is_no_sign_of_life(bench: LoopBench) -> None:
    bench.inbox.post(ClockStepped(0.0))
    bench.turn()
    while bench.inbox.offer(Call()):
        pass
    bench.now_s += HEARTBEAT_S
    bench.ringer.ring("heartbeat")
    bench.turn()
    assert bench.ringer.armed == {}
    bench.now_s += OVERDUE_S + 0.1
    bench.turn()
    assert bench.ringer.armed["heartbeat"][0] == HEARTBEAT_S and bench.beats == 0
    bench.ringer.ring("heartbeat")
    for _ in range(3):
        bench.turn()
    assert bench.beats == 1


def test_a_missed_alarm_is_in_the_journal_and_armed_again(bench: LoopBench) -> None:
    bench.due_in(30.0)
    bench.inbox.offer(Miss("deadline", "failed: no memory"))
    bench.turn()
    assert bench.pen.notes[0][0] == "alarm_missed"
    assert {"deadline", "heartbeat"} <= set(bench.ringer.armed)


def test_whoever_said_a_word_gets_what_was_answered(bench: LoopBench) -> None:
    heard: list[Heard] = []
    bench.machine.script = lambda _event: [Ring(Urgency.DO, "fit the six"), Tell("person", "done", {})]
    bench.inbox.offer(Happened(Said(Word.DONE), heard.append))
    bench.turn()
    assert heard == [Heard(("fit the six", "done"), VIEW)]


def test_the_queue_is_bounded() -> None:
    inbox = Inbox(2)
    assert [inbox.offer(Call()) for _ in range(3)] == [True, True, False]


def test_it_ends_once_the_evening_has_ended_and_the_camera_rests(bench: LoopBench) -> None:
    bench.machine.script = lambda _event: [Ended("frames_done", "all 3 frames are taken")]
    bench.inbox.post(Said(Word.RESUME))
    assert bench.loop.run() is VIEW
    assert bench.loop.ended == Ended("frames_done", "all 3 frames are taken")
    assert bench.ringer.armed == {}


def test_left_in_the_middle_it_closes_and_asks_for_nothing_more(bench: LoopBench) -> None:
    bench.machine.script = lambda _event: [ReadMeans(), Tell("frame", "long complete", {})]
    bench.loop.leave("told to end")
    bench.inbox.post(Said(Word.RESUME))
    bench.loop.run()
    assert bench.field.asked == [CloseNow(LEAVE_WITHIN_S), Tell("frame", "long complete", {})]
    assert "keep Said" in bench.order  # what happened is kept all the same
    assert bench.loop.ended is None


def test_told_to_leave_while_the_queue_is_full_it_leaves_all_the_same(bench: LoopBench) -> None:
    bench.machine.script = lambda _event: [ReadMeans()]
    while bench.inbox.offer(Happened(Said(Word.HEARD))):
        pass
    bench.loop.leave("told to end")
    bench.loop.run()
    assert bench.field.asked == [CloseNow(LEAVE_WITHIN_S)]
    assert bench.pen.words() == ["left"]


def test_with_the_real_scheduler_a_deadline_is_met() -> None:
    """Real time: the scheduler, the queue and the loop together."""
    bench = LoopBench()
    bench.now_s = time.clock_gettime(time.CLOCK_BOOTTIME)
    alarms = Alarms(lambda miss: pytest.fail(str(miss)))
    clock = bench.clock.__class__(BEGUN_UTC)
    loop = EveningLoop(bench.machine, clock, bench.pen, bench.field, alarms, bench.inbox)
    bench.machine.deadline = clock.now_utc() + timedelta(seconds=0.2)
    bench.machine.script = lambda event: [Ended("frames_done", "over")] if isinstance(event, Ticked) else []
    alarms.start()
    try:
        began_s = time.monotonic()
        loop.run()
        took_s = time.monotonic() - began_s
    finally:
        alarms.stop()
    assert 0.17 < took_s < LOOK_S / 2.0  # rung, and not looked for


def test_nobody_waits_for_room_in_the_queue_of_a_loop_that_has_ended() -> None:
    inbox = Inbox(1)
    inbox.post(Ticked())
    poster = threading.Thread(target=inbox.post, args=(Ticked(),), daemon=True)
    poster.start()
    poster.join(0.1)
    assert poster.is_alive(), "what the camera did must not be lost"
    inbox.close()
    poster.join(5.0)
    assert not poster.is_alive()
    inbox.post(Ticked())
