"""Pictures put in their place, byte for byte as the camera made them, and read back before they count.

A picture is written beside its place under a hidden name, flushed, read again from the disk, compared, and
only then given its name. Nothing that is there is ever replaced.
"""

import fcntl
import glob
import hashlib
import os
import re
import secrets
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from duskhold.frames.rename import rename_to_free_name
from duskhold.plan.role import Role

_OWN_NAME_MAX = 120
_SAME_NAME_MAX = 1000
_OURS = re.compile(r"(\d{8}-\d{6}-[0-9a-f]{4})-")


@dataclass(frozen=True, slots=True)
class StoredFile:
    path: Path
    role: Role
    bytes: int
    sha256: str

    def record(self) -> dict[str, object]:
        """As it stands in a frame's record."""
        return {
            "path": str(self.path),
            "role": self.role.value,
            "bytes": self.bytes,
            "sha256": self.sha256,
        }


class StoreError(Exception):
    """A picture could not be put in its place; it is still on the camera's card. `code` is for programs."""

    code = "store_failed"


class DiskShort(StoreError):
    """Too little room on the disk; `but_for_reserve` where it would do if none had to stay free."""

    code = "disk_short"

    def __init__(self, message: str, *, but_for_reserve: bool = False) -> None:
        super().__init__(message)
        self.but_for_reserve = but_for_reserve


class PictureIncomplete(StoreError):
    """More or fewer bytes came than the camera had announced."""

    code = "picture_incomplete"


class PictureChanged(StoreError):
    """The disk gave back other bytes than were written."""

    code = "picture_changed"


def file_name(frame_id: str, role: Role, camera_name: str) -> str:
    """`20261014-172110-3f2a-long-CAP_0001.DNG`: sorts by time, tells the role, keeps the camera's own name."""
    own = re.sub(r"[^A-Za-z0-9._-]", "_", camera_name)[-_OWN_NAME_MAX:].lstrip(".") or "picture"
    return f"{frame_id}-{role.value}-{own}"


def frame_of(name: str) -> str | None:
    """The reverse: whose picture a file of that name is, or None for a name that is not one of ours."""
    found = _OURS.match(name)
    return None if found is None else found.group(1)


def ensure_room(folder: Path, needed_bytes: int, reserve_bytes: int) -> None:
    """Raises `DiskShort` unless `needed_bytes` fit on the folder's disk and leave `reserve_bytes` free."""
    there = folder
    while not there.exists():
        there = there.parent
    disk = os.statvfs(there)
    free_bytes = disk.f_bavail * disk.f_frsize
    if free_bytes < needed_bytes + reserve_bytes:
        raise DiskShort(
            f"{there} has {free_bytes / 1e6:.0f} MB free; {needed_bytes / 1e6:.0f} MB are needed "
            f"and {reserve_bytes / 1e6:.0f} MB must stay free.",
            but_for_reserve=free_bytes >= needed_bytes,
        )


class Arrival:
    """A picture on its way in: whoever fetches it writes into `descriptor`; then `keep` it.

    Left without `keep`, its hidden file is removed and nothing is there. `size_bytes` is what the camera
    announced. All methods may raise `OSError`; the disk being full is one.
    """

    def __init__(self, folder: Path, name: str, role: Role, size_bytes: int) -> None:
        assert Path(name).name == name, name
        self._place, self._role, self._size_bytes = folder / name, role, size_bytes
        self._hidden = folder / f".{name}.{secrets.token_hex(4)}.part"
        _ensure_folder(folder)
        self.descriptor = os.open(self._hidden, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o666)
        with suppress(OSError):  # a disk that cannot lock keeps what is unfinished
            fcntl.flock(self.descriptor, fcntl.LOCK_EX)  # as long as somebody writes into it

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.close(self.descriptor)
        self._hidden.unlink(missing_ok=True)

    def keep(self) -> StoredFile:
        """Check, and give the picture its name; durable when this returns. Raises `StoreError`."""
        came_bytes = os.fstat(self.descriptor).st_size
        if came_bytes != self._size_bytes:
            raise PictureIncomplete(f"{self._place.name}: {came_bytes} bytes came, {self._size_bytes} were announced.")
        came_sha256 = _sha256(self._hidden)
        os.fsync(self.descriptor)
        sha256 = sha256_on_disk(self._hidden)
        if sha256 != came_sha256:
            raise PictureChanged(f"{self._place.name}: the disk gave back other bytes than were written.")
        place = self._named(sha256)
        _forget_unfinished(place.parent, self._place.name)
        _flush_folder(place.parent)
        return StoredFile(place, self._role, came_bytes, sha256)

    def _named(self, sha256: str) -> Path:
        place = self._place
        for number in range(2, _SAME_NAME_MAX):
            try:
                rename_to_free_name(self._hidden, place)
            except FileExistsError:
                if _is_picture(place, self._size_bytes, sha256):
                    return place  # the same picture, fetched once more
            else:
                return place
            place = self._place.with_name(f"{self._place.stem}-{number}{self._place.suffix}")
        raise StoreError(f"{self._place} and {_SAME_NAME_MAX} names after it are taken.")


def sha256_on_disk(path: Path) -> str:
    """SHA-256 of what the disk holds: the system is asked to forget its copy in memory first."""
    with path.open("rb") as file:
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    return _sha256(path)


def _forget_unfinished(folder: Path, name: str) -> None:
    """Take away what a process that was killed had begun to write of a picture that has its place now."""
    for hidden in folder.glob(f".{glob.escape(name)}.*.part"):
        with suppress(OSError), hidden.open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            hidden.unlink(missing_ok=True)


def _sha256(path: Path) -> str:
    with path.open("rb", buffering=0) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _is_picture(place: Path, size_bytes: int, sha256: str) -> bool:
    return place.is_file() and place.stat().st_size == size_bytes and sha256_on_disk(place) == sha256


def _ensure_folder(folder: Path) -> None:
    if not folder.is_dir():
        _ensure_folder(folder.parent)
        folder.mkdir(exist_ok=True)
        _flush_folder(folder.parent)


def _flush_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
