"""Small files written once and never over another; and lines added to those that grow."""

import fcntl
import os
import secrets
from collections.abc import Iterator
from pathlib import Path

from duskhold.frames.rename import rename_to_free_name

_SAME_NAME_MAX = 1000


def write_once(place: Path, content: bytes) -> Path:
    """Write the file, durably; where another of that name stands, under the next free one, `name-2`.

    The same content again adds nothing. Raises `OSError`.
    """
    place.parent.mkdir(parents=True, exist_ok=True)
    hidden = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        with hidden.open("xb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        for name in _names(place):
            try:
                rename_to_free_name(hidden, name)
            except FileExistsError:
                if name.read_bytes() == content:
                    return name
            else:
                return name
    finally:
        hidden.unlink(missing_ok=True)
    raise _taken(place)


def begun_with(place: Path, head: str) -> Path:
    """The file of this name that begins with `head`, else the next free name, `name-2`: lines under another head would
    not fit it. Raises `OSError`.
    """
    wanted = head.encode()
    for name in _names(place):
        try:
            with name.open("rb") as file:
                there = file.read(len(wanted))
        except FileNotFoundError:
            return name
        if there in (b"", wanted):
            return name
    raise _taken(place)


def append_once(place: Path, head: str, line: str) -> None:
    """Add a line, durably, unless the very same one is there; `head` begins a new file. Raises `OSError`.

    `line` ends with its own end of line. What is there is never changed.
    """
    place.parent.mkdir(parents=True, exist_ok=True)
    descriptor = os.open(place, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o666)
    with os.fdopen(descriptor, "r+b", buffering=0) as file:
        fcntl.flock(file, fcntl.LOCK_EX)  # two commands may end at once
        there = file.read()
        begun = b"" if there.endswith(b"\n") or not there else b"\n"  # a line that power cut off stays as it is
        if line.encode() in there:
            return
        file.write((b"" if there else head.encode()) + begun + line.encode())
        os.fsync(file.fileno())


def _names(place: Path) -> Iterator[Path]:
    yield place
    for number in range(2, _SAME_NAME_MAX):
        yield place.with_name(f"{place.stem}-{number}{place.suffix}")


def _taken(place: Path) -> FileExistsError:
    return FileExistsError(f"{place} and {_SAME_NAME_MAX} names after it are taken")
