"""The journal: every intent before the act, every outcome after it, and nothing ever changed or removed.

An intent without a settled outcome is the report of a crash. A frame may get several outcomes, as more is
found out; the latest is the answer.
"""

import json
import sqlite3
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from duskhold.journal.database import connect, naming_errors
from duskhold.journal.entry import REMARK, Detail, Evening, Frame, Intent, Note, Outcome, Refusal, Stamp, Unfinished
from duskhold.plan.stamp import utc_from, utc_text


class Journal:
    """One open journal, for one thread. Every writing method returns when its entry is on the disk.

    All methods raise `JournalError`.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self._path = path

    @classmethod
    def open(cls, path: Path) -> Self:
        """Open or make the journal at `path`, bring it to the newest schema, and check it."""
        return cls(connect(path), path)

    def close(self) -> None:
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def intend(self, intent: Intent, stamp: Stamp) -> None:
        """Write what is about to be done. Only after this may the shutter be told."""
        self._insert(
            "intent",
            stamp,
            frame_id=intent.frame_id,
            camera=intent.camera,
            role=intent.role,
            timing=intent.timing,
            planned_s=intent.planned_s,
            cap_s=intent.cap_s,
            decision=_json(intent.decision),
        )

    def conclude(self, outcome: Outcome, stamp: Stamp) -> None:
        """Write what became of a frame, or what has since been found out about it."""
        least_s, most_s = outcome.open_s_range or (None, None)
        self._insert(
            "outcome",
            stamp,
            frame_id=outcome.frame_id,
            outcome=outcome.outcome,
            open_s=outcome.open_s,
            open_s_least=least_s,
            open_s_most=most_s,
            opened_utc=outcome.opened_utc,
            closed_utc=outcome.closed_utc,
            shutter=outcome.shutter,
            settled=int(outcome.settled),
            reason=outcome.reason,
            files=_json(list(outcome.files)),
            report=_json(outcome.report),
        )

    def refuse(self, refusal: Refusal, stamp: Stamp) -> None:
        """Write that a frame was asked for and not exposed."""
        self._insert(
            "refusal",
            stamp,
            frame_id=refusal.frame_id,
            camera=refusal.camera,
            role=refusal.role,
            timing=refusal.timing,
            planned_s=refusal.planned_s,
            code=refusal.code,
            reason=refusal.reason,
            decision=_json(refusal.decision),
        )

    def note(self, note: Note, stamp: Stamp) -> None:
        """Write anything else that should be known afterwards."""
        self._insert("note", stamp, frame_id=note.frame_id, word=note.word, detail=_json(note.detail))

    def begin_evening(self, evening: Evening, stamp: Stamp) -> None:
        """Write that an evening begins, with its outing's file as it is."""
        self._insert(
            "evening", stamp, evening_id=evening.evening_id, camera=evening.camera, outing=evening.outing
        )  # fmt: skip

    def happen(self, evening_id: str, now_utc: datetime, event: Detail, stamp: Stamp) -> None:
        """Write an event of an evening. Only after this may anything follow from it."""
        self._insert("happening", stamp, evening_id=evening_id, now_utc=utc_text(now_utc), event=_json(event))

    def happenings(self, evening_id: str) -> list[tuple[datetime, Detail]]:
        """The events of an evening in order, each with the evening's own time."""
        rows = self._rows("SELECT now_utc, event FROM happening WHERE evening_id = ? ORDER BY number", evening_id)
        return [(utc_from(row["now_utc"]), json.loads(row["event"])) for row in rows]

    def last_happening(self, evening_id: str) -> Stamp | None:
        """When the last event of an evening was written; None where there is none."""
        query = "SELECT * FROM happening WHERE evening_id = ? ORDER BY number DESC LIMIT 1"
        return next((_stamp(row) for row in self._rows(query, evening_id)), None)

    def last_moment(self, evening_id: str) -> datetime | None:
        """The latest of an evening's own times; None where nothing happened."""
        query = "SELECT max(now_utc) AS latest FROM happening WHERE evening_id = ?"
        return next((utc_from(row["latest"]) for row in self._rows(query, evening_id) if row["latest"]), None)

    def evenings(self, limit: int) -> list[Evening]:
        """The latest evenings, newest first."""
        rows = self._rows("SELECT * FROM evening ORDER BY written_utc DESC, rowid DESC LIMIT ?", limit)
        return [Evening(row["evening_id"], row["camera"], row["outing"]) for row in rows]

    def unfinished(self) -> list[Unfinished]:
        """Intents without a settled outcome, oldest first."""
        query = f"{_FRAMES_WITH_OUTCOMES} WHERE coalesce(o.settled, 0) = 0 ORDER BY i.number"
        return [Unfinished(_intent(row), _stamp(row), _outcome(row)) for row in self._rows(query)]

    def frames(self, limit: int) -> list[Frame]:
        """The latest frames and refusals, newest first."""
        latest = self._asked("ORDER BY i.number DESC LIMIT ?", limit)
        return sorted(latest, key=lambda one: one.written.utc, reverse=True)[:limit]

    def moments(self) -> list[datetime]:
        """When each frame was asked for, refusals among them, oldest first."""
        rows = self._rows("SELECT written_utc FROM intent UNION ALL SELECT written_utc FROM refusal ORDER BY 1")
        return [utc_from(row["written_utc"]) for row in rows]

    def frames_within(self, first_utc: datetime, last_utc: datetime) -> list[Frame]:
        """The frames and refusals that were asked for from one of these moments to the other, oldest first."""
        which = "WHERE i.written_utc BETWEEN ? AND ? ORDER BY i.number"
        return sorted(self._asked(which, utc_text(first_utc), utc_text(last_utc)), key=lambda one: one.written.utc)

    def frame(self, frame_id: str) -> Frame | None:
        """One frame by its name."""
        for row in self._rows(f"{_FRAMES_WITH_OUTCOMES} WHERE i.frame_id = ?", frame_id):
            return Frame(_intent(row), _stamp(row), _outcome(row), self._remarks().get(frame_id, ()))
        for row in self._rows("SELECT * FROM refusal WHERE frame_id = ?", frame_id):
            return Frame(_refusal(row), _stamp(row), None, self._remarks().get(frame_id, ()))
        return None

    def count(self) -> int:
        """How many frames were intended or refused since the journal began."""
        query = "SELECT (SELECT count(*) FROM intent) + (SELECT count(*) FROM refusal) AS frames"
        return int(self._rows(query)[0]["frames"])

    def notes(self, limit: int) -> list[Note]:
        """The latest notes, newest first."""
        rows = self._rows("SELECT * FROM note ORDER BY number DESC LIMIT ?", limit)
        return [Note(row["word"], json.loads(row["detail"]), row["frame_id"]) for row in rows]

    def notes_of(self, evening_id: str) -> list[tuple[Note, Stamp]]:
        """What an evening told, in order, and when it was written."""
        query = "SELECT * FROM note WHERE json_extract(detail, '$.evening_id') = ? ORDER BY number"
        return [
            (Note(row["word"], json.loads(row["detail"]), row["frame_id"]), _stamp(row))
            for row in self._rows(query, evening_id)
        ]

    def last_note(self, word: str) -> tuple[Note, Stamp] | None:
        """The latest note of this word, and when it was written."""
        query = "SELECT * FROM note WHERE word = ? ORDER BY number DESC LIMIT 1"
        for row in self._rows(query, word):
            return Note(row["word"], json.loads(row["detail"]), row["frame_id"]), _stamp(row)
        return None

    def notes_since(self, word: str, since_utc: datetime) -> list[Note]:
        """The notes of this word from a moment on, oldest first."""
        query = "SELECT * FROM note WHERE word = ? AND written_utc >= ? ORDER BY number"
        rows = self._rows(query, word, utc_text(since_utc))
        return [Note(row["word"], json.loads(row["detail"]), row["frame_id"]) for row in rows]

    def was_noted(self, word: str, evening_id: str) -> bool:
        """Whether an evening has a note of this word."""
        query = "SELECT 1 AS found FROM note WHERE word = ? AND json_extract(detail, '$.evening_id') = ? LIMIT 1"
        return bool(self._rows(query, word, evening_id))

    def _asked(self, which: str, *values: object) -> list[Frame]:
        """Frames, then refusals; `which` of each, as the end of a query that calls them i."""
        remarks = self._remarks()
        asked = [
            Frame(_intent(row), _stamp(row), _outcome(row), remarks.get(row["frame_id"], ()))
            for row in self._rows(f"{_FRAMES_WITH_OUTCOMES} {which}", *values)
        ]
        refused = [
            Frame(_refusal(row), _stamp(row), None, remarks.get(row["frame_id"], ()))
            for row in self._rows(f"SELECT i.* FROM refusal i {which}", *values)
        ]
        return asked + refused

    def _remarks(self) -> dict[str, tuple[Note, ...]]:
        """What people said of frames, by the frame's name; they type it, so it is not much."""
        found: dict[str, tuple[Note, ...]] = {}
        for row in self._rows("SELECT * FROM note WHERE word = ? ORDER BY number", REMARK):
            name = row["frame_id"]
            found[name] = (*found.get(name, ()), Note(row["word"], json.loads(row["detail"]), name))
        return found

    def _insert(self, table: str, stamp: Stamp, **columns: object) -> None:
        values = {
            "written_utc": utc_text(stamp.utc),
            "written_mono_s": stamp.mono_s,
            "boot_id": stamp.boot_id,
            **columns,
        }
        names = ", ".join(values)
        places = ", ".join(f":{name}" for name in values)
        with naming_errors(self._path):
            self._connection.execute(f"INSERT INTO {table} ({names}) VALUES ({places})", values)

    def _rows(self, query: str, *values: object) -> list[dict[str, Any]]:
        with naming_errors(self._path):
            cursor = self._connection.execute(query, values)
            names = [column[0] for column in cursor.description]
            return [dict(zip(names, row, strict=True)) for row in cursor]


_FRAMES_WITH_OUTCOMES = """
SELECT i.*, o.outcome, o.open_s, o.open_s_least, o.open_s_most, o.opened_utc, o.closed_utc, o.shutter,
       o.settled, o.reason, o.files, o.report
FROM intent i
LEFT JOIN outcome o ON o.number = (SELECT max(number) FROM outcome WHERE frame_id = i.frame_id)
"""


def _json(value: Detail | Sequence[Detail]) -> str:
    return json.dumps(value, allow_nan=False)


def _stamp(row: dict[str, Any]) -> Stamp:
    return Stamp(utc_from(row["written_utc"]), row["written_mono_s"], row["boot_id"])


def _intent(row: dict[str, Any]) -> Intent:
    names = ("frame_id", "camera", "role", "timing", "planned_s", "cap_s")
    return Intent(**{name: row[name] for name in names}, decision=json.loads(row["decision"]))


def _refusal(row: dict[str, Any]) -> Refusal:
    names = ("frame_id", "camera", "role", "timing", "planned_s", "code", "reason")
    return Refusal(**{name: row[name] for name in names}, decision=json.loads(row["decision"]))


def _outcome(row: dict[str, Any]) -> Outcome | None:
    if row["outcome"] is None:
        return None
    names = ("frame_id", "outcome", "open_s", "opened_utc", "closed_utc", "shutter", "reason")
    bounds = None if row["open_s_least"] is None else (row["open_s_least"], row["open_s_most"])
    return Outcome(
        **{name: row[name] for name in names},
        open_s_range=bounds,
        settled=bool(row["settled"]),
        files=tuple(json.loads(row["files"])),
        report=json.loads(row["report"]),
    )
