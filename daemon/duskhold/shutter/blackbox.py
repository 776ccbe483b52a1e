"""The black box: what the shutter was told and did, one JSON line at a time, on disk before it counts.

The next holder reads it before anything else. A line cut off by a power loss is passed over and said so.
"""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from duskhold.shutter.clock import boot_id, mono_now_s, utc_now

KEEP_LINES = 2000  # about 300 kB; older lines go when a holder starts with nothing outstanding


@dataclass(frozen=True, slots=True)
class BoxLine:
    """One line: a word, when it was written, the frame it is about, and what belongs to it."""

    word: str
    mono_s: float
    boot: str
    frame_id: str | None
    detail: Mapping[str, object]


class BlackBox:
    """Append-only file of `BoxLine`s. `write` returns only when the line is on disk.

    Making one never fails: a holder whose black box cannot be opened must still close the shutter. Writing says so.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._boot = boot_id()
        self._descriptor: int | None = None
        self._torn = False

    def write(self, word: str, frame_id: str | None = None, detail: Mapping[str, object] | None = None) -> None:
        """Append a line and flush it to the disk. One `write(2)`, so that two threads never mix their lines.

        Raises `OSError` when it is not on the disk.
        """
        line = {
            "word": word,
            "mono_s": round(mono_now_s(), 6),
            "utc": utc_now().isoformat(timespec="milliseconds"),
            "boot": self._boot,
            "pid": os.getpid(),
            "frame_id": frame_id,
            "detail": dict(detail or {}),
        }
        descriptor = self._opened()
        whole = ("\n" if self._torn else "") + json.dumps(line, allow_nan=False) + "\n"
        data = whole.encode()
        self._torn = True  # until all of it is there: a full disk takes a part of a line
        if os.write(descriptor, data) != len(data):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(self._path))
        self._torn = False
        os.fdatasync(descriptor)

    def lines(self) -> list[BoxLine]:
        """Every whole line, oldest first."""
        return list(_read(self._path)) if self._path.exists() else []

    def shorten(self) -> None:
        """Keep the newest lines only. Called when nothing is outstanding; a rename makes it all or nothing."""
        whole = self._path.read_bytes().splitlines(keepends=True) if self._path.exists() else []
        if len(whole) <= KEEP_LINES:
            return
        fresh = self._path.with_suffix(".new")
        with fresh.open("wb") as file:
            file.writelines(whole[-KEEP_LINES // 2 :])
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._path)
        self.close()

    def close(self) -> None:
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def _opened(self) -> int:
        if self._descriptor is None:
            self._path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC
            self._descriptor = os.open(self._path, flags, 0o600)
            self._torn = not _ends_whole(self._path)
        return self._descriptor


def _ends_whole(path: Path) -> bool:
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        if size == 0:
            return True
        file.seek(size - 1)
        return file.read(1) == b"\n"


def _read(path: Path) -> Iterator[BoxLine]:
    for raw in path.read_bytes().splitlines():
        try:
            line = json.loads(raw)
            yield BoxLine(line["word"], float(line["mono_s"]), line["boot"], line["frame_id"], dict(line["detail"]))
        except (ValueError, KeyError, TypeError):
            continue  # torn by a power loss: the line before it stands, and the shutter is closed first anyway
