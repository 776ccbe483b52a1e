"""What was on the card when nothing was outstanding, kept on disk: after a frame, whatever is new is that frame's."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from duskhold.camera.port import CameraError, Picture


class StockUnknown(CameraError):
    """What was on the card before the frame is not known, and the body told of no picture since."""

    code = "stock_unknown"

    def __init__(self) -> None:
        super().__init__("which pictures on the card are new is not known: the list of what was there cannot be read")


class Stock:
    """Names on the card, remembered across processes (or, without a path, by this object only)."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._known: frozenset[str] | None = frozenset() if path is None else _read(path)

    @property
    def is_known(self) -> bool:
        return self._known is not None

    def take(self, pictures: Iterable[Picture]) -> None:
        """Remember these as old."""
        known = frozenset(_key(picture) for picture in pictures)
        self._known = known
        if self._path is None:
            return
        fresh = self._path.with_suffix(".new")
        with fresh.open("w", encoding="utf-8") as file:
            json.dump(sorted(known), file)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._path)

    def add(self, picture: Picture) -> None:
        """Remember one more as old: it came while nothing was outstanding, from somebody's own hand."""
        if self._known is not None:
            self._known |= {_key(picture)}

    def new(self, pictures: Sequence[Picture]) -> list[Picture]:
        """Those of `pictures` that were not there; none when it is not known what was there."""
        if self._known is None:
            return []
        return [picture for picture in pictures if _key(picture) not in self._known]


def _key(picture: Picture) -> str:
    return f"{picture.folder.rstrip('/')}/{picture.name}"


def _read(path: Path) -> frozenset[str] | None:
    """None when it cannot be read: closing the shutter must not fail for it, and it is taken anew right after."""
    if not path.exists():
        return frozenset()
    try:
        names = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, OSError):
        return None
    return frozenset(map(str, names)) if isinstance(names, list) else None
