"""What was on the card when nothing was outstanding, kept on disk: after a frame, whatever is new is that frame's."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from duskhold.camera.port import Picture


class Stock:
    """Names on the card, remembered across processes (or, without a path, by this object only)."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._known = frozenset(() if path is None else _read(path))

    def take(self, pictures: Iterable[Picture]) -> None:
        """Remember these as old."""
        self._known = frozenset(_key(picture) for picture in pictures)
        if self._path is None:
            return
        fresh = self._path.with_suffix(".new")
        with fresh.open("w", encoding="utf-8") as file:
            json.dump(sorted(self._known), file)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._path)

    def new(self, pictures: Sequence[Picture]) -> list[Picture]:
        """Those of `pictures` that were not there."""
        return [picture for picture in pictures if _key(picture) not in self._known]


def _key(picture: Picture) -> str:
    return f"{picture.folder.rstrip('/')}/{picture.name}"


def _read(path: Path) -> list[str]:
    if not path.exists():
        return []
    names = json.loads(path.read_text(encoding="utf-8"))
    assert isinstance(names, list), path
    return [str(name) for name in names]
