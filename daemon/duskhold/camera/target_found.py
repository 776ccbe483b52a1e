"""Where a body's pictures went before connecting sent them to the card: kept on disk, for whoever puts it back.

One file for each place of shutter processes, with the words of every body by its serial number.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

FOLDER = "library"
"""Below the state of the shutter processes, beside what the camera library keeps for itself."""
_NAME = "targets-found.json"


def keep_found(folder: Path, serial: str, word: str) -> None:
    """Keep `word` of this body, unless an earlier one is kept: what came after that was our own doing."""
    known = _read(folder)
    if serial not in known:
        _write(folder, {**known, serial: word})


def found_target(folder: Path, serial: str) -> str | None:
    """What this body said before it was changed; None when nothing was."""
    return _read(folder).get(serial)


def has_found(folder: Path) -> bool:
    """Whether any body's target waits to be put back."""
    return bool(_read(folder))


def forget_found(folder: Path, serial: str) -> None:
    """It was put back."""
    known = _read(folder)
    if serial in known:
        _write(folder, {name: word for name, word in known.items() if name != serial})


def _read(folder: Path) -> dict[str, str]:
    """Nothing where it cannot be read: a session must begin all the same, and what is lost is a word to put back."""
    try:
        known = json.loads((folder / _NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(serial): str(word) for serial, word in known.items()} if isinstance(known, dict) else {}


def _write(folder: Path, known: dict[str, str]) -> None:
    fresh = folder / f"{_NAME}.new"
    with fresh.open("w", encoding="utf-8") as file:
        json.dump(known, file)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(folder / _NAME)
