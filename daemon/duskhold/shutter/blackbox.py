"""The black box: what the shutter was told and did, one JSON line at a time, on disk before it counts.

The next holder reads it before anything else. A line cut off by a power loss is passed over and said so.
"""

from __future__ import annotations

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
    """Append-only file of `BoxLine`s. `write` returns only when the line is on disk."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._path = path
        self._boot = boot_id()
        self._descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o600)
        self._end_torn_line()

    def write(self, word: str, frame_id: str | None = None, detail: Mapping[str, object] | None = None) -> None:
        """Append a line and flush it to the disk. One `write(2)`, so that two threads never mix their lines."""
        line = {
            "word": word,
            "mono_s": round(mono_now_s(), 6),
            "utc": utc_now().isoformat(timespec="milliseconds"),
            "boot": self._boot,
            "pid": os.getpid(),
            "frame_id": frame_id,
            "detail": dict(detail or {}),
        }
        os.write(self._descriptor, (json.dumps(line, allow_nan=False) + "\n").encode())
        os.fdatasync(self._descriptor)

    def lines(self) -> list[BoxLine]:
        """Every whole line, oldest first."""
        return list(_read(self._path))

    def shorten(self) -> None:
        """Keep the newest lines only. Called when nothing is outstanding; a rename makes it all or nothing."""
        whole = self._path.read_bytes().splitlines(keepends=True)
        if len(whole) <= KEEP_LINES:
            return
        fresh = self._path.with_suffix(".new")
        with fresh.open("wb") as file:
            file.writelines(whole[-KEEP_LINES // 2 :])
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._path)
        os.close(self._descriptor)
        self._descriptor = os.open(self._path, os.O_WRONLY | os.O_APPEND | os.O_CLOEXEC)

    def close(self) -> None:
        os.close(self._descriptor)

    def _end_torn_line(self) -> None:
        size = self._path.stat().st_size
        if size and not self._path.read_bytes().endswith(b"\n"):
            os.write(self._descriptor, b"\n")


def _read(path: Path) -> Iterator[BoxLine]:
    for raw in path.read_bytes().splitlines():
        try:
            line = json.loads(raw)
            yield BoxLine(line["word"], line["mono_s"], line["boot"], line["frame_id"], line["detail"])
        except (ValueError, KeyError, TypeError):
            continue  # torn by a power loss: the line before it stands, and the shutter is closed first anyway
