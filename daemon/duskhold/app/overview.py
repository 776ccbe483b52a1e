"""What is going on and what has been: every camera with a shutter process, and both journals."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from duskhold.app.folders import Folders, camera_key
from duskhold.frames.store import frame_of
from duskhold.journal.entry import Frame, Unfinished
from duskhold.journal.journal import Journal
from duskhold.shutter.holder_link import HolderLink, HolderSilent


@dataclass(frozen=True, slots=True)
class CameraState:
    """What a camera's shutter process says; when it is silent, everything is unknown and `trouble` says so."""

    camera: str
    shutter: str
    phase: str | None
    frame_id: str | None
    open_for_s: float | None
    closes_in_s: float | None
    latched: bool | None
    trouble: str | None


@dataclass(frozen=True, slots=True)
class JournalState:
    path: Path
    frames: int
    latest: tuple[Frame, ...]
    unfinished: tuple[Unfinished, ...]


def journal_paths(folders: Folders) -> tuple[Path, ...]:
    """The journals that are there, that of real frames first."""
    return tuple(path for path in (folders.journal, folders.simulated().journal) if path.exists())


def journal_states(folders: Folders, latest: int) -> tuple[JournalState, ...]:
    """The journals that are there, real frames first. Makes none. Raises `JournalError`."""
    return tuple(_journal_state(path, latest) for path in journal_paths(folders))


def latest_frames(folders: Folders, limit: int) -> tuple[Frame, ...]:
    """The latest frames of both journals, newest first. Raises `JournalError`."""
    frames = [frame for state in journal_states(folders, limit) for frame in state.latest]
    return tuple(sorted(frames, key=lambda frame: frame.written.utc, reverse=True)[:limit])


def checksums_of(folders: Folders, paths: Iterable[str]) -> dict[str, str]:
    """The SHA-256 that these files had when they came home, of those that did. Raises `JournalError`."""
    own = {path: name for path in paths if (name := frame_of(Path(path).name)) is not None}
    found: dict[str, str] = {}
    for journal_path in journal_paths(folders) if own else ():
        with Journal.open(journal_path) as journal:
            for name in set(own.values()):
                frame = journal.frame(name)
                files = () if frame is None or frame.outcome is None else frame.outcome.files
                found |= {str(file["path"]): str(file["sha256"]) for file in files if "sha256" in file}
    return {path: sha256 for path, sha256 in found.items() if path in own}


def camera_states(folders: Folders, addresses: Iterable[str]) -> tuple[CameraState, ...]:
    """Every camera with a shutter process now; `addresses` gives back their names to those that do not answer."""
    names = {camera_key(address): address for address in addresses}
    sockets = sorted({*folders.runtime.glob("*/holder"), *(folders.state / "cameras").glob("*/holder")})
    return tuple(_camera_state(names.get(path.parent.name, path.parent.name), path) for path in sockets)


def _journal_state(path: Path, latest: int) -> JournalState:
    with Journal.open(path) as journal:
        return JournalState(path, journal.count(), tuple(journal.frames(latest)), tuple(journal.unfinished()))


def _camera_state(camera: str, socket: Path) -> CameraState:
    link = HolderLink(socket, patience_s=0.0)
    try:
        said = link.state()
    except HolderSilent as silent:
        return CameraState(camera, "unknown", None, None, None, None, None, str(silent))
    finally:
        link.close()
    return CameraState(
        camera=_text(said.get("camera")) or camera,  # one that an older version started does not say
        shutter=str(said["shutter"]),
        phase=_text(said["phase"]),
        frame_id=_text(said["frame_id"]),
        open_for_s=_number(said["open_for_s"]),
        closes_in_s=_number(said["closes_in_s"]),
        latched=bool(said["latched"]),
        trouble=_text(said["trouble"]),
    )


def _text(value: object) -> str | None:
    return None if value in (None, "") else str(value)


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None
