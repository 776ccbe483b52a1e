"""Planned files put on the machine and taken away again, exactly: what is not ours is never touched.

A list of what was written, with digests, lies beside the rest of our state; only what still has that digest is
ours to replace or to remove.
"""

import hashlib
import json
import os
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from duskhold.app.arrangement import PlannedFile


class Done(Enum):
    """What became of a file."""

    WOULD_WRITE = "would_write"
    WRITTEN = "written"
    UNCHANGED = "unchanged"
    KEPT = "kept"  # somebody else's, or changed by hand since: left as it is
    WOULD_REMOVE = "would_remove"
    REMOVED = "removed"
    GONE = "gone"  # somebody has removed it already


@dataclass(frozen=True, slots=True)
class FileDone:
    path: Path
    what: str
    done: Done


@dataclass(frozen=True, slots=True)
class Installation:
    """The files under `root` (`/`, or a folder for trying out) that are listed in `manifest`."""

    root: Path
    manifest: Path

    def look(self, files: Iterable[PlannedFile]) -> list[FileDone]:
        """What `apply` would do."""
        return [FileDone(self._place(file.path), file.what, self._outlook(file)) for file in files]

    def apply(self, files: Iterable[PlannedFile]) -> list[FileDone]:
        """Write what is new or was written by us before. Raises `OSError`."""
        done = []
        for file in files:
            outlook = self._outlook(file)
            if outlook is Done.WOULD_WRITE:
                self._put(file)
                outlook = Done.WRITTEN
            done.append(FileDone(self._place(file.path), file.what, outlook))
        return done

    def undo(self) -> list[FileDone]:
        """Remove every listed file that is as we wrote it, and what folders we made for them. Raises `OSError`."""
        listed = self._list()
        done = [
            FileDone(Path(name), entry["what"], _remove(Path(name), entry["sha256"]))
            for name, entry in listed.files.items()
        ]
        self._place(self.manifest).unlink(missing_ok=True)
        for folder in sorted(listed.folders, reverse=True):
            _remove_if_empty(Path(folder))
        return done

    def look_back(self) -> list[FileDone]:
        """What `undo` would do."""
        return [
            FileDone(Path(name), entry["what"], _prospect(Path(name), entry["sha256"]))
            for name, entry in self._list().files.items()
        ]

    def _outlook(self, file: PlannedFile) -> Done:
        place = self._place(file.path)
        if not place.exists():
            return Done.WOULD_WRITE
        there = place.read_bytes()
        if there == file.text.encode():
            return Done.UNCHANGED
        ours = self._list().files.get(str(place))
        return Done.WOULD_WRITE if ours is not None and ours["sha256"] == _digest(there) else Done.KEPT

    def _put(self, file: PlannedFile) -> None:
        place, manifest = self._place(file.path), self._place(self.manifest)
        listed = self._list()
        files = listed.files | {str(place): {"what": file.what, "sha256": _digest(file.text.encode())}}
        folders = {*listed.folders, *_missing_folders(place), *_missing_folders(manifest)}
        # Listed first: a list with a file too many is harmless, a file that no list knows is not.
        _write(manifest, json.dumps({"files": files, "folders": sorted(folders)}, indent=1) + "\n")
        _write(place, file.text)

    def _place(self, path: Path) -> Path:
        return self.root / path.relative_to("/")

    def _list(self) -> "_List":
        manifest = self._place(self.manifest)
        if not manifest.exists():
            return _List({}, ())
        said = json.loads(manifest.read_text(encoding="utf-8"))
        return _List(said["files"], tuple(said["folders"]))


@dataclass(frozen=True, slots=True)
class _List:
    files: dict[str, dict[str, str]]
    folders: tuple[str, ...]


def _missing_folders(place: Path) -> list[str]:
    return [str(folder) for folder in place.parents if not folder.exists()]


def _remove_if_empty(folder: Path) -> None:
    if folder.is_dir() and not any(folder.iterdir()):
        folder.rmdir()


def _prospect(place: Path, sha256: str) -> Done:
    if not place.exists():
        return Done.GONE
    return Done.WOULD_REMOVE if _digest(place.read_bytes()) == sha256 else Done.KEPT


def _remove(place: Path, sha256: str) -> Done:
    prospect = _prospect(place, sha256)
    if prospect is Done.WOULD_REMOVE:
        place.unlink()
        return Done.REMOVED
    return prospect


def _write(place: Path, text: str) -> None:
    place.parent.mkdir(parents=True, exist_ok=True)
    hidden = place.with_name(f".{place.name}.{secrets.token_hex(4)}")
    with hidden.open("x", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    hidden.replace(place)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
