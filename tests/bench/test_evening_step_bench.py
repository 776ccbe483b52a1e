"""A step of an evening, and its keeping, in a journal of 100,000 frames beside one that is empty.

    .venv/bin/pytest -s -m "slow or not slow" tests/bench/test_evening_step_bench.py

Aim: at most one and a half times the time. The figure is printed; the assertion allows twice the aim, for a machine
that does something else meanwhile. Time by the wall, since keeping waits for the disk; the best of several rounds.
In CI the journal has 5,000 frames.
"""

import sqlite3
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from duskhold.app.evening_record import EveningRecord
from duskhold.journal.entry import Intent, Outcome, Stamp
from duskhold.journal.journal import Journal
from duskhold.plan import evening_words as words
from duskhold.plan.bag import Setting
from duskhold.plan.evening import Evening
from duskhold.plan.evening_words import Event, Take, Word
from duskhold.plan.outing import Bounds, ClockStart, Kind, Outing, OutingKit, Want
from duskhold.plan.role import Role

AIM, ROOM = 1.5, 2.0
HAPPENINGS_A_FRAME, EVENINGS, ROUNDS = 3, 500, 3
BEGUN = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)
STAMP = Stamp(BEGUN, 0.0, "boot")
OUTING = Outing(
    "steps", ClockStart(BEGUN), Want(Kind.AGAIN, first_s=10.0), OutingKit((), (), Setting("f/8", 8.0),
    Setting("100", 100.0)), bounds=Bounds(frames=400),
)  # fmt: skip


def filled(path: Path, frames: int) -> Path:
    """A journal of many evenings: rows as the journal itself writes them, copied in one transaction."""
    with Journal.open(path) as journal:
        EveningRecord.begin(journal, "old", "camera", "text", STAMP).keep(words.Ticked(), BEGUN, STAMP)
        journal.intend(Intent("old", "camera", "long", "held", 60.0, 65.0, {"why": "x" * 300}), STAMP)
        journal.conclude(Outcome("old", "complete", 60.0, None, None, None, "closed", True, ""), STAMP)
    connection = sqlite3.connect(path)
    with connection:
        for table, count in (("intent", frames), ("outcome", frames), ("happening", HAPPENINGS_A_FRAME * frames)):
            names = [row[1] for row in connection.execute(f"PRAGMA table_info({table})") if row[1] != "number"]
            taken = {"frame_id": "'old-' || n", "evening_id": f"'old-' || (n % {EVENINGS})"}
            values = ", ".join(taken.get(name, name) for name in names)
            connection.execute(
                f"WITH RECURSIVE many(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM many WHERE n < {count}) "
                f"INSERT INTO {table} ({', '.join(names)}) SELECT {values} FROM {table}, many"
            )
    connection.close()
    return path


def events() -> list[tuple[datetime, Event]]:
    """What happens at three frames of an evening, found by playing it."""
    evening, now, found = Evening(OUTING, BEGUN), BEGUN, list[tuple[datetime, Event]]()
    waiting: list[Event] = [words.Begun(True)]
    frames = 0
    while frames < 3:
        event = waiting.pop(0) if waiting else words.Ticked()
        if not waiting and isinstance(event, words.Ticked):
            now = max(now, evening.deadline_utc() or now)
        found.append((now, event))
        for effect in evening.step(event, now):
            match effect:
                case Take():
                    frames += 1
                    closed = now + timedelta(seconds=effect.open_s)
                    waiting.append(
                        words.FrameTold(f"f{frames}", Role.LONG, "complete", effect.open_s, now, closed, True, "")
                    )
                    waiting.append(words.Measured(f"f{frames}", 8.0, 0.01))
                    now = closed
                case words.RunCheck():
                    waiting.append(words.Checked(()))
                case words.ReadMeans():
                    waiting.append(words.MeansTold(90.0, 10**12))
    return [*found, *((now + timedelta(seconds=n), words.Said(Word.HEARD)) for n in range(20))]


def seconds(path: Path, happened: list[tuple[datetime, Event]]) -> float:
    """Keeping and stepping all of it, in the best of several rounds."""
    best = float("inf")
    with Journal.open(path) as journal:
        for number in range(ROUNDS):
            record = EveningRecord.begin(journal, f"now-{number}-{time.monotonic_ns()}", "camera", "text", STAMP)
            evening = Evening(OUTING, BEGUN)
            began = time.perf_counter()
            for now, event in happened:
                record.keep(event, now, STAMP)
                evening.step(event, now)
            best = min(best, time.perf_counter() - began)
            again = record.go_over(OUTING)
            assert again is not None and again.state.frames_done == evening.state.frames_done
    return best


@pytest.mark.parametrize("frames", [5_000, pytest.param(100_000, marks=pytest.mark.slow)])
def test_a_step_in_a_full_journal(frames: int, tmp_path: Path) -> None:
    happened = events()
    full_path = filled(tmp_path / "full.sqlite", frames)
    with Journal.open(full_path) as journal:
        assert journal.count() == frames + 1
    empty_s, full_s = seconds(tmp_path / "empty.sqlite", happened), seconds(full_path, happened)
    each = 1000.0 / len(happened)
    print(
        f"\nkeep and step: {each * empty_s:.2f} ms in an empty journal, {each * full_s:.2f} ms beside {frames} frames "
        f"and {HAPPENINGS_A_FRAME * frames} happenings; ratio {full_s / empty_s:.2f} (aim {AIM})"
    )
    assert full_s < ROOM * AIM * empty_s
