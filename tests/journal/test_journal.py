"""The journal: append only, durable, honest about what is wrong with its file."""

import multiprocessing
import multiprocessing.connection
import os
import signal
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from duskhold.journal import database
from duskhold.journal.database import (
    JournalBusy,
    JournalDamaged,
    JournalError,
    JournalNewer,
    JournalRefused,
    JournalUnwritable,
    connect,
)
from duskhold.journal.entry import Intent, Note, Outcome, Refusal, Stamp
from duskhold.journal.journal import Journal

START = datetime(2026, 10, 14, 17, 21, 10, tzinfo=UTC)
TABLES = ("intent", "outcome", "refusal", "note")


def stamp(after_s: float = 0.0) -> Stamp:
    return Stamp(START + timedelta(seconds=after_s), 1000.0 + after_s, "boot-a")


def intent(frame_id: str = "20261014-172110-0001") -> Intent:
    return Intent(frame_id, "usb", "long", "held", 283.6, 290.0, {"rate_stops_per_min": -0.18})


def outcome(frame_id: str = "20261014-172110-0001", word: str = "complete") -> Outcome:
    return Outcome(
        frame_id=frame_id,
        outcome=word,
        open_s=283.6,
        open_s_range=None,
        opened_utc="2026-10-14T17:21:10.250Z",
        closed_utc="2026-10-14T17:25:53.850Z",
        shutter="closed",
        settled=True,
        reason="",
        files=({"path": "a.dng", "role": "long", "bytes": 3, "sha256": "00"},),
        report={"family": "0x000A"},
    )


def unknown(frame_id: str = "20261014-172110-0001") -> Outcome:
    return Outcome(frame_id, "link_lost", None, (10.0, 70.0), None, None, "unknown", False, "the link went away")


def refusal(frame_id: str) -> Refusal:
    return Refusal(frame_id, "usb", "long", "held", None, "never_finished", "The light never suffices.", {"r": -0.35})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "data" / "journal.sqlite"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    with Journal.open(path) as opened:
        yield opened


def test_what_is_written_is_read_back(journal: Journal, path: Path) -> None:
    journal.intend(intent(), stamp())
    journal.conclude(outcome(), stamp(284))
    journal.refuse(refusal("20261014-173000-0002"), stamp(500))
    journal.note(Note("started", {"family": "0x000A"}), stamp(501))
    with Journal.open(path) as again:
        refused, frame = again.frames(10)
        assert (frame.asked, frame.outcome, frame.written) == (intent(), outcome(), stamp())
        assert (refused.asked, refused.outcome) == (refusal("20261014-173000-0002"), None)
        assert again.notes(5) == [Note("started", {"family": "0x000A"})]
        assert again.frame("20261014-173000-0002") == refused
        assert again.frame(intent().frame_id) == frame
        assert again.frame("20261014-000000-ffff") is None
        assert again.count() == 2


def test_an_intent_without_an_outcome_is_unfinished(journal: Journal) -> None:
    journal.intend(intent(), stamp())
    (left,) = journal.unfinished()
    assert (left.intent, left.known, left.written) == (intent(), None, stamp())
    journal.conclude(outcome(), stamp(284))
    assert journal.unfinished() == []


def test_an_unknown_outcome_stays_unfinished_until_settled_and_is_kept(journal: Journal, path: Path) -> None:
    journal.intend(intent(), stamp())
    journal.conclude(unknown(), stamp(350))
    (left,) = journal.unfinished()
    assert left.known == unknown()
    journal.conclude(outcome(word="link_lost"), stamp(600))
    assert journal.unfinished() == []
    (frame,) = journal.frames(1)
    assert frame.outcome == outcome(word="link_lost")
    with sqlite3.connect(path) as raw:
        assert raw.execute("SELECT count(*) FROM outcome").fetchone() == (2,)
    raw.close()


def test_newest_first_up_to_the_limit(journal: Journal) -> None:
    for number in range(6):
        frame_id = f"20261014-17{number:02d}00-0000"
        if number % 2:
            journal.refuse(refusal(frame_id), stamp(number))
        else:
            journal.intend(intent(frame_id), stamp(number))
    assert [frame.asked.frame_id[9:13] for frame in journal.frames(4)] == ["1705", "1704", "1703", "1702"]


def test_frames_of_some_time_are_found_without_the_others(journal: Journal) -> None:
    for number in range(6):
        journal.intend(intent(f"f{number}"), stamp(60.0 * number))
    journal.refuse(Refusal("r", "usb", "long", "held", None, "never", "It never suffices."), stamp(150.0))
    assert journal.moments() == [stamp(seconds).utc for seconds in (0, 60, 120, 150, 180, 240, 300)]
    found = journal.frames_within(stamp(60.0).utc, stamp(180.0).utc)
    assert [frame.asked.frame_id for frame in found] == ["f1", "f2", "r", "f3"]


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize(
    "act", ["UPDATE {} SET boot_id = 'x'", "DELETE FROM {}", "INSERT OR REPLACE INTO {} SELECT * FROM {}"]
)
def test_nothing_is_changed_removed_or_replaced(journal: Journal, path: Path, table: str, act: str) -> None:
    journal.intend(intent(), stamp())
    journal.conclude(outcome(), stamp(1))
    journal.refuse(refusal("20261014-173000-0002"), stamp(2))
    journal.note(Note("started", {}), stamp(3))
    raw = sqlite3.connect(path)
    before = raw.execute(f"SELECT * FROM {table}").fetchall()
    assert len(before) == 1
    with pytest.raises(sqlite3.IntegrityError, match=r"append only|already"):
        raw.execute(act.format(table, table))
    assert raw.execute(f"SELECT * FROM {table}").fetchall() == before
    raw.close()


def test_one_frame_has_one_intent(journal: Journal) -> None:
    journal.intend(intent(), stamp())
    with pytest.raises(JournalRefused, match="already"):
        journal.intend(intent(), stamp(1))
    with pytest.raises(JournalRefused, match="already"):
        journal.refuse(refusal(intent().frame_id), stamp(1))


def test_an_outcome_needs_its_intent(journal: Journal) -> None:
    with pytest.raises(JournalRefused, match="FOREIGN KEY"):
        journal.conclude(outcome(), stamp())


def test_values_that_cannot_be_true_are_refused(journal: Journal) -> None:
    with pytest.raises(JournalRefused):
        journal.intend(Intent("f", "usb", "long", "held", 10.0, 5.0), stamp())
    with pytest.raises(JournalRefused):
        journal.intend(Intent("f", "usb", "portrait", "held", 10.0, 15.0), stamp())
    with pytest.raises(ValueError, match="Out of range float"):
        journal.note(Note("level", {"stops": float("nan")}), stamp())
    assert journal.count() == 0


def test_the_file_is_safe_as_promised(journal: Journal, path: Path) -> None:
    connection = connect(path)
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert connection.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL, sqlite.org/pragma.html
    assert connection.execute("PRAGMA user_version").fetchone() == (len(database.schema_files()),)
    connection.close()


def test_two_journals_write_into_one_file(journal: Journal, path: Path) -> None:
    with Journal.open(path) as other:
        other.intend(intent(), stamp())
        journal.intend(intent("20261014-172111-0002"), stamp(1))
        assert other.count() == journal.count() == 2


def test_a_locked_journal_says_so(journal: Journal, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "BUSY_TIMEOUT_S", 0.05)
    with Journal.open(path) as other:
        raw = sqlite3.connect(path, isolation_level=None)
        raw.execute("BEGIN IMMEDIATE")
        with pytest.raises(JournalBusy, match="locked by another program"):
            other.intend(intent(), stamp())
        raw.execute("ROLLBACK")
        raw.close()
        other.intend(intent(), stamp())


def test_a_journal_of_a_newer_version_is_left_alone(path: Path) -> None:
    Journal.open(path).close()
    raw = sqlite3.connect(path)
    raw.execute("PRAGMA user_version = 99")
    raw.close()
    before = path.read_bytes()
    with pytest.raises(JournalNewer, match="of version 99"):
        Journal.open(path)
    assert path.read_bytes() == before


def test_a_file_that_is_no_journal(path: Path) -> None:
    path.parent.mkdir()
    path.write_text("a shopping list, long enough to be no empty database " * 50)
    with pytest.raises(JournalDamaged, match="is damaged or is no journal"):
        Journal.open(path)


def test_a_database_of_another_program(path: Path) -> None:
    path.parent.mkdir()
    raw = sqlite3.connect(path)
    raw.execute("CREATE TABLE recipe (name TEXT)")
    raw.close()
    with pytest.raises(JournalDamaged, match="of another program"):
        Journal.open(path)


def test_a_damaged_page_is_found_at_opening(path: Path) -> None:
    with Journal.open(path) as journal:
        for number in range(200):
            journal.note(Note("filler", {"text": "x" * 200, "number": number}), stamp(number))
    raw = bytearray(path.read_bytes())
    middle = len(raw) // 2 // 4096 * 4096
    raw[middle : middle + 4096] = os.urandom(4096)
    path.write_bytes(raw)
    with pytest.raises(JournalDamaged):
        Journal.open(path)


def test_a_folder_that_cannot_be_written_to(path: Path) -> None:
    path.mkdir(parents=True)
    with pytest.raises(JournalUnwritable):
        Journal.open(path)


def test_every_error_has_a_code_and_a_hint() -> None:
    kinds = (JournalBusy, JournalDamaged, JournalNewer, JournalRefused, JournalUnwritable, JournalError)
    assert len({kind.code for kind in kinds}) == len(kinds)
    assert all(kind.hint.endswith(".") for kind in kinds)


def _write_until_killed(path: Path, ready: multiprocessing.connection.Connection) -> None:
    with Journal.open(path) as journal:
        for number in range(1_000_000):
            frame_id = f"20261014-172110-{number:04x}"
            journal.intend(intent(frame_id), stamp(number))
            ready.send(frame_id)


def test_what_was_written_survives_a_kill(path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    writer = context.Process(target=_write_until_killed, args=(path, theirs))
    writer.start()
    theirs.close()
    told = [ours.recv() for _ in range(20)]
    assert writer.pid is not None
    os.kill(writer.pid, signal.SIGKILL)
    writer.join()
    writer.close()
    with Journal.open(path) as journal:
        left = [one.intent.frame_id for one in journal.unfinished()]
    assert left[: len(told)] == told
    ours.close()
