"""The card as PTP objects: folders and files with handles that stay theirs while the body is on."""

from __future__ import annotations

from pathlib import PurePosixPath

from duskhold.camera.card import Card, CardFile
from duskhold.camera.ptp_codes import ObjectFormat
from duskhold.camera.ptp_dataset import ObjectInfo

STORAGE = 0x0001_0001
_FORMATS = {".JPG": ObjectFormat.EXIF_JPEG, ".DNG": ObjectFormat.DNG}
_ROOT = PurePosixPath("/")


def format_of(name: str) -> ObjectFormat:
    """What a file is, by the end of its name."""
    return _FORMATS.get(PurePosixPath(name).suffix, ObjectFormat.UNDEFINED)


class NoSuchObject(KeyError):
    """No folder or file has this handle."""


class ObjectTable:
    """Handles for what is on the card. 0 is the card's root and no object."""

    def __init__(self, card: Card) -> None:
        self._card = card
        self._handles: dict[PurePosixPath, int] = {}
        self._files: dict[int, CardFile] = {}
        self._last_read: tuple[int, bytes] = (0, b"")

    def refresh(self) -> None:
        """Give handles to what has come onto the card."""
        for file in self._card.files() if self._card.present else []:
            self.handle(file)

    def handle(self, file: CardFile) -> int:
        """The file's handle, a new one the first time; its folders get theirs too."""
        path = PurePosixPath(file.folder) / file.name
        if path not in self._handles:
            for folder in reversed([each for each in path.parents if each != _ROOT]):
                self._handle_of(folder)
            self._files[self._handle_of(path)] = file
        return self._handles[path]

    def everything(self) -> list[int]:
        return list(self._handles.values())

    def children(self, parent: int) -> list[int]:
        """What lies directly in a folder, or in the root (0). Raises `NoSuchObject`."""
        folder = self._path(parent)
        return [handle for path, handle in self._handles.items() if path.parent == folder]

    def info(self, handle: int) -> ObjectInfo:
        """Raises `NoSuchObject`."""
        path = self._path(handle) if handle else None
        if path is None:
            raise NoSuchObject(handle)
        parent = self._handles.get(path.parent, 0)
        file = self._files.get(handle)
        if file is None:
            return ObjectInfo(STORAGE, parent, path.name, ObjectFormat.ASSOCIATION, 0)
        return ObjectInfo(STORAGE, parent, path.name, format_of(path.name), self._card.size_bytes(file))

    def read(self, handle: int) -> bytes:
        """A file's bytes. Raises `NoSuchObject`."""
        if handle not in self._files:
            raise NoSuchObject(handle)
        if self._last_read[0] != handle:
            self._last_read = (handle, self._card.read(self._files[handle]))
        return self._last_read[1]

    def _path(self, handle: int) -> PurePosixPath:
        if handle == 0:
            return _ROOT
        for path, known in self._handles.items():
            if known == handle:
                return path
        raise NoSuchObject(handle)

    def _handle_of(self, path: PurePosixPath) -> int:
        return self._handles.setdefault(path, len(self._handles) + 1)
