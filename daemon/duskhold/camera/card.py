"""The simulated body's card: a folder on disk, or memory. Nothing is ever overwritten; numbering goes on."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

FOLDER = "/DCIM/100DUSKH"
_NAME = re.compile(r"DSK_(\d{4})\.")


@dataclass(frozen=True, slots=True, order=True)
class CardFile:
    """A file on the card. `folder` begins with a slash and is the same on every kind of card."""

    folder: str
    name: str


class Card(Protocol):
    """Where the body keeps its pictures."""

    present: bool
    capacity_shots: int

    def next_number(self) -> int:
        """The number that the next picture gets, 1 on an empty card."""

    def store(self, number: int, makers: Mapping[str, Callable[[], bytes]]) -> list[CardFile]:
        """Keep one picture: a maker of bytes for each suffix, called at once or when first read."""

    def files(self) -> list[CardFile]:
        """Every file, in order of name."""

    def read(self, file: CardFile) -> bytes:
        """The file's bytes. Raises `KeyError` when it is not there."""

    def size_bytes(self, file: CardFile) -> int:
        """The file's length. Raises `KeyError` when it is not there."""

    def shots_left(self) -> int:
        """How many more pictures fit; 0 without a card."""


class MemoryCard:
    """A card in memory; pictures are made when they are first read."""

    def __init__(self, capacity_shots: int = 2000) -> None:
        self.present = True
        self.capacity_shots = capacity_shots
        self._files: dict[CardFile, bytes | Callable[[], bytes]] = {}
        self._shots = 0

    def next_number(self) -> int:
        return self._shots + 1

    def store(self, number: int, makers: Mapping[str, Callable[[], bytes]]) -> list[CardFile]:
        stored = [CardFile(FOLDER, f"DSK_{number:04d}{suffix}") for suffix in makers]
        for file, make in zip(stored, makers.values(), strict=True):
            assert file not in self._files, file
            self._files[file] = make
        self._shots = number
        return stored

    def files(self) -> list[CardFile]:
        return sorted(self._files)

    def read(self, file: CardFile) -> bytes:
        held = self._files[file]
        content = held if isinstance(held, bytes) else held()
        self._files[file] = content
        return content

    def size_bytes(self, file: CardFile) -> int:
        return len(self.read(file))

    def shots_left(self) -> int:
        return _shots_left(self, self._shots)


class FolderCard:
    """A card that is a folder on disk, so that pictures outlive the body's process."""

    def __init__(self, path: Path, capacity_shots: int = 2000) -> None:
        self.present = True
        self.capacity_shots = capacity_shots
        self._folder = path / FOLDER.lstrip("/")
        self._folder.mkdir(parents=True, exist_ok=True)

    def next_number(self) -> int:
        return max(self._numbers(), default=0) + 1

    def store(self, number: int, makers: Mapping[str, Callable[[], bytes]]) -> list[CardFile]:
        return [self._write(f"DSK_{number:04d}{suffix}", make()) for suffix, make in makers.items()]

    def files(self) -> list[CardFile]:
        names = (each.name for each in self._folder.iterdir() if _NAME.match(each.name))
        return sorted(CardFile(FOLDER, name) for name in names if not name.endswith(".part"))

    def read(self, file: CardFile) -> bytes:
        return self._path(file).read_bytes()

    def size_bytes(self, file: CardFile) -> int:
        return self._path(file).stat().st_size

    def shots_left(self) -> int:
        return _shots_left(self, len(self._numbers()))

    def _numbers(self) -> set[int]:
        return {int(found.group(1)) for each in self._folder.iterdir() if (found := _NAME.match(each.name))}

    def _path(self, file: CardFile) -> Path:
        path = self._folder / file.name
        if file.folder != FOLDER or "/" in file.name or not path.is_file():
            raise KeyError(file)
        return path

    def _write(self, name: str, content: bytes) -> CardFile:
        part = self._folder / f"{name}.part"
        with part.open("xb") as out:
            out.write(content)
        # A link, unlike a rename, fails when the name is taken: what the camera made is never replaced.
        (self._folder / name).hardlink_to(part)
        part.unlink()
        return CardFile(FOLDER, name)


def _shots_left(card: Card, taken: int) -> int:
    return max(0, card.capacity_shots - taken) if card.present else 0
