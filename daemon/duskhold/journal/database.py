"""The journal's file: opened, brought to the newest schema and checked; every error of SQLite gets a name."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources
from pathlib import Path

APPLICATION_ID = 0x64736B68  # marks the file as ours; our own choice
BUSY_TIMEOUT_S = 5.0


class JournalError(Exception):
    """The journal cannot be used; the message says why. `code` is for programs, `hint` for people."""

    code = "journal_failed"
    hint = "Another data folder can be named with --data."


class JournalDamaged(JournalError):
    """The file is no journal, or SQLite's own check found it damaged."""

    code = "journal_damaged"
    hint = "Move the file away (do not delete it) to begin a new journal; the frames are not touched by this."


class JournalNewer(JournalError):
    """A newer version of this program wrote the file."""

    code = "journal_newer"
    hint = "Use the newer version, or name another data folder with --data."


class JournalBusy(JournalError):
    """Another process kept the file locked for longer than we wait."""

    code = "journal_busy"
    hint = "Another program has the journal open; try again when it is done."


class JournalUnwritable(JournalError):
    """The file or its folder cannot be written to, or the disk is full."""

    code = "journal_unwritable"
    hint = (
        "Make room or give yourself the right to write there, or name another data folder with --data. A frame that "
        "was taken meanwhile stays on the camera's card, and the next command that can write here fetches it."
    )


class JournalRefused(JournalError):
    """The entry contradicts what is written already, such as a second intent for one frame."""

    code = "journal_refused"
    hint = "This is a mistake of the program, not of yours."


def connect(path: Path) -> sqlite3.Connection:
    """Open or make the journal at `path`. Raises `JournalError`.

    WAL with `synchronous=FULL`: a commit is on the disk when it returns. That costs one flush of the disk,
    0.2 ms on a fast one and up to 0.5 s on a slow card, so nothing is committed while a closing is due.
    """
    with naming_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(path, timeout=BUSY_TIMEOUT_S, isolation_level=None)
        try:
            _prepare(connection, path)
        except BaseException:
            connection.close()
            raise
    return connection


@contextmanager
def naming_errors(path: Path) -> Iterator[None]:
    """SQLite's errors as `JournalError`s."""
    try:
        yield
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", "")
        kind = next((kind for start, kind in _KINDS.items() if name.startswith(start)), JournalError)
        raise kind(f"The journal {path} {_SENTENCES[kind]} ({error}).") from error


def schema_files() -> list[str]:
    """The text of every schema file, in order; the first makes version 1."""
    folder = resources.files("duskhold.journal") / "schema"
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".sql"))
    return [(folder / name).read_text(encoding="utf-8") for name in names]


_KINDS: dict[str, type[JournalError]] = {
    "SQLITE_BUSY": JournalBusy,
    "SQLITE_LOCKED": JournalBusy,
    "SQLITE_READONLY": JournalUnwritable,
    "SQLITE_CANTOPEN": JournalUnwritable,
    "SQLITE_PERM": JournalUnwritable,
    "SQLITE_FULL": JournalUnwritable,
    "SQLITE_IOERR": JournalUnwritable,
    "SQLITE_NOTADB": JournalDamaged,
    "SQLITE_CORRUPT": JournalDamaged,
    "SQLITE_CONSTRAINT": JournalRefused,
}

_SENTENCES: dict[type[JournalError], str] = {
    JournalBusy: "is locked by another program",
    JournalUnwritable: "cannot be written to",
    JournalDamaged: "is damaged or is no journal",
    JournalRefused: "does not take this entry",
    JournalError: "cannot be used",
}


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    for_us = _pragma(connection, "application_id")
    if for_us not in (0, APPLICATION_ID) or (for_us == 0 and _pragma(connection, "schema_version") != 0):
        raise JournalDamaged(f"{path} is a database of another program.")
    if _pragma(connection, "journal_mode = wal") != "wal":
        raise JournalUnwritable(f"{path} lies on a disk that cannot keep a journal safely (no shared memory).")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    assert _pragma(connection, "synchronous") == 2
    _bring_up_to_date(connection, path)
    found = _pragma(connection, "quick_check(1)")
    if found != "ok":
        raise JournalDamaged(f"The journal {path} is damaged ({found}).")


def _bring_up_to_date(connection: sqlite3.Connection, path: Path) -> None:
    files = schema_files()
    version = _pragma(connection, "user_version")
    assert isinstance(version, int)
    if version > len(files):
        raise JournalNewer(f"The journal {path} is of version {version}; this program knows up to {len(files)}.")
    if version == len(files):
        return
    connection.execute("BEGIN IMMEDIATE")  # and look again: another process may have been faster
    try:
        version = _pragma(connection, "user_version")
        assert isinstance(version, int)
        for text in files[version:]:
            for statement in _statements(text):
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(files)}")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def _statements(text: str) -> Iterator[str]:
    pending = ""
    for line in text.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            yield pending
            pending = ""
    assert not pending.strip(), pending


def _pragma(connection: sqlite3.Connection, words: str) -> object:
    return connection.execute(f"PRAGMA {words}").fetchone()[0]
