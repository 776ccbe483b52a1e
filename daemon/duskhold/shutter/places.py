"""Where the shutter processes of one camera meet: its lock files, its socket and its black box."""

from __future__ import annotations

import fcntl
import os
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

_TRIES = 5
_TRY_EVERY_S = 0.05
_NUMBER_BYTES = 10


@dataclass(frozen=True, slots=True)
class Places:
    """`state` holds the black box and the locks: one folder a camera, whoever asks. `runtime` holds the socket."""

    runtime: Path
    state: Path

    @property
    def socket(self) -> Path:
        return self.runtime / "holder"

    @property
    def black_box(self) -> Path:
        return self.state / "blackbox.jsonl"

    @property
    def stock(self) -> Path:
        return self.state / "card.json"

    @property
    def log(self) -> Path:
        return self.state / "shutter.log"

    def ensure_there(self) -> None:
        for folder in (self.runtime, self.state):
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)


class Lock:
    """An advisory lock that the kernel drops when its process dies, with the owner's process id inside."""

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            self._descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError:
            # A disk that takes nothing any more, as a failing card does: what is there can be locked all the same.
            self._descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)

    def take(self) -> bool:
        """Whether this process has it now, named in it or, on a disk without room, not. Tries for a moment, since
        `owner` holds it for an instant too.
        """
        for _ in range(_TRIES):
            try:
                fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                time.sleep(_TRY_EVERY_S)
            else:
                break
        else:
            return False
        try:
            os.pwrite(self._descriptor, f"{os.getpid():<{_NUMBER_BYTES}}".encode(), 0)  # in place, without a gap
        except OSError:
            with suppress(OSError):
                os.ftruncate(self._descriptor, 0)  # a full disk: it is ours, and not whose it was before
        return True

    def owner(self) -> int | None:
        """The process id of who has it, or None when it is free or its owner found no room for its number."""
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            text = os.pread(self._descriptor, 32, 0).strip()
            return int(text) if text.isdigit() else None
        fcntl.flock(self._descriptor, fcntl.LOCK_UN)
        return None

    def close(self) -> None:
        os.close(self._descriptor)


def keeper_lock(places: Places) -> Lock:
    return Lock(places.state / "keeper.lock")


def holder_lock(places: Places) -> Lock:
    return Lock(places.state / "holder.lock")


def log_of(places: Places) -> BinaryIO:
    """The log of the shutter processes, to be written to; nowhere when there is no room even for its name."""
    try:
        return places.log.open("ab")
    except OSError:
        return Path(os.devnull).open("ab")  # the shutter comes first
