"""What was learnt of one body: kept in the data folder, for this body and this version of the library only."""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import asdict, dataclass
from pathlib import Path

from duskhold.app.folders import Folders
from duskhold.camera.port import Identity


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


NOT_LEARNT = Latency(0.0, 0.1, 0, None, "not learnt: a starting value, no source")


class ProfileDamaged(Exception):
    """What was kept of a body cannot be read; the message names the file."""


def latency_of(folders: Folders, identity: Identity) -> Latency:
    """What is known of this body, or `NOT_LEARNT`. Raises `ProfileDamaged`."""
    path = _path(folders, identity)
    if not path.exists():
        return NOT_LEARNT
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return Latency(**kept["latency"])
    except (ValueError, KeyError, TypeError) as error:
        raise ProfileDamaged(f"{path} cannot be read ({error}); move it away and learn the body again") from error


def keep_latency(folders: Folders, identity: Identity, latency: Latency) -> Path:
    """Keep it for later runs; the file is there whole or not at all."""
    path = _path(folders, identity)
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_suffix(".new")
    with fresh.open("w", encoding="utf-8") as file:
        json.dump({"body": asdict(identity), "latency": asdict(latency)}, file, indent=2, allow_nan=False)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    return path


def _path(folders: Folders, identity: Identity) -> Path:
    words = re.sub(r"[^a-z0-9]+", "-", f"{identity.model} {identity.serial}".lower()).strip("-")[:48]
    whole = "\n".join((identity.model, identity.serial, identity.family, identity.library))
    return folders.data / "bodies" / f"{words}-{hashlib.sha256(whole.encode()).hexdigest()[:8]}.json"
