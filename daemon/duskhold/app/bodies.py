"""What was learnt of one body: kept in the data folder, for this body and this version of the library only."""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TypeVar

from duskhold.app.folders import Folders
from duskhold.camera.port import Identity

Kind = TypeVar("Kind")


@dataclass(frozen=True, slots=True)
class Latency:
    """Close minus open latency of a held exposure, in seconds, and how well it is known.

    The open time that the body really gave is the time between our two calls plus this.
    """

    seconds: float
    sigma_s: float
    frames: int
    learnt_utc: str | None
    method: str


@dataclass(frozen=True, slots=True)
class Told:
    """A frame held for `open_s`, and what its picture says of that; None where it says nothing."""

    open_s: float
    exif_s: float | None


@dataclass(frozen=True, slots=True)
class Habits:
    """How a body goes about a frame.

    `busy_s` is how long it was busy after the longest of `told`; `dark_frame_share` how much longer it is busy for
    each second of exposure, 1 with a dark frame of its own. `file_bytes` are those of one frame together.
    """

    told: tuple[Told, ...]
    busy_s: float
    dark_frame_share: float
    files: int
    file_bytes: int
    bytes_per_s: float | None
    learnt_utc: str


@dataclass(frozen=True, slots=True)
class Pulled:
    """What a lost lead does to an open shutter: `word` is "closes", "stays_open" or "unknown"."""

    word: str
    exif_s: float | None
    lost_after_s: float
    back_after_s: float
    learnt_utc: str


NOT_LEARNT = Latency(0.0, 0.1, 0, None, "not learnt: a starting value, no source")


class ProfileDamaged(Exception):
    """What was kept of a body cannot be read; the message names the file."""


def latency_of(folders: Folders, identity: Identity) -> Latency:
    """What is known of this body, or `NOT_LEARNT`. Raises `ProfileDamaged`."""
    kept = _read(folders, identity, "latency")
    return NOT_LEARNT if kept is None else _understood(folders, identity, Latency, kept)


def habits_of(folders: Folders, identity: Identity) -> Habits | None:
    """What the bench saw of this body, or None. Raises `ProfileDamaged`."""
    kept = _read(folders, identity, "habits")
    if kept is None:
        return None
    told = kept.get("told", ())
    frames = [_understood(folders, identity, Told, one) for one in told] if isinstance(told, list) else []
    return _understood(folders, identity, Habits, {**kept, "told": tuple(frames)})


def pulled_of(folders: Folders, identity: Identity) -> Pulled | None:
    """What a lost lead does to this body, or None where nobody tried. Raises `ProfileDamaged`."""
    kept = _read(folders, identity, "pulled")
    return None if kept is None else _understood(folders, identity, Pulled, kept)


def has_passed(folders: Folders, identity: Identity) -> bool:
    """Whether the bench saw this body hold frames as long as it was asked to. Raises `ProfileDamaged`."""
    habits = habits_of(folders, identity)
    if habits is None or not latency_of(folders, identity).frames:
        return False
    return bool(habits.told) and all(one.exif_s is not None for one in habits.told)


def keep(folders: Folders, identity: Identity, learnt: Latency | Habits | Pulled) -> Path:
    """Keep it for later runs, beside what is kept already; the file is there whole or not at all."""
    path = _path(folders, identity)
    path.parent.mkdir(parents=True, exist_ok=True)
    kept = _kept(path) | {"body": asdict(identity), _NAMES[type(learnt)]: asdict(learnt)}
    fresh = path.with_suffix(".new")
    with fresh.open("w", encoding="utf-8") as file:
        json.dump(kept, file, indent=2, allow_nan=False)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    return path


_NAMES = {Latency: "latency", Habits: "habits", Pulled: "pulled"}


def _read(folders: Folders, identity: Identity, name: str) -> Mapping[str, object] | None:
    path = _path(folders, identity)
    found = _kept(path).get(name)
    if found is not None and not isinstance(found, dict):
        raise _damaged(path, TypeError(f"{name} is no object"))
    return found


def _kept(path: Path) -> dict[str, object]:
    if not path.exists():
        return {}
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise _damaged(path, error) from error
    if not isinstance(kept, dict):
        raise _damaged(path, TypeError("it is no object"))
    return kept


def _understood(folders: Folders, identity: Identity, kind: type[Kind], kept: Mapping[str, object]) -> Kind:
    try:
        return kind(**kept)
    except TypeError as error:
        raise _damaged(_path(folders, identity), error) from error


def _damaged(path: Path, error: Exception) -> ProfileDamaged:
    return ProfileDamaged(f"{path} cannot be read ({error}); move it away and learn the body again")


def _path(folders: Folders, identity: Identity) -> Path:
    words = re.sub(r"[^a-z0-9]+", "-", f"{identity.model} {identity.serial}".lower()).strip("-")[:48]
    whole = "\n".join((identity.model, identity.serial, identity.family, identity.library))
    return folders.data / "bodies" / f"{words}-{hashlib.sha256(whole.encode()).hexdigest()[:8]}.json"
