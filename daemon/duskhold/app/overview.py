"""What is going on and what has been: every camera with a shutter process, and both journals."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from duskhold.app.folders import Folders, camera_key
from duskhold.journal.entry import Frame, Unfinished
from duskhold.journal.journal import Journal
from duskhold.shutter.holder_link import HolderLink, HolderSilent

_MOST_FRAMES = 100_000


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


def journal_states(folders: Folders, latest: int) -> tuple[JournalState, ...]:
    """The journals that are there, real frames first. Makes none. Raises `JournalError`."""
    paths = (folders.journal, folders.simulated().journal)
    return tuple(_journal_state(path, latest) for path in paths if path.exists())


def latest_frames(folders: Folders, limit: int) -> tuple[Frame, ...]:
    """The latest frames of both journals, newest first. Raises `JournalError`."""
    frames = [frame for state in journal_states(folders, limit) for frame in state.latest]
    return tuple(sorted(frames, key=lambda frame: frame.written.utc, reverse=True)[:limit])


def checksums_of(folders: Folders, paths: Iterable[str]) -> dict[str, str]:
    """The SHA-256 that these files had when they came home, of those that did. Raises `JournalError`."""
    own = {path for path in paths if Path(path).is_relative_to(folders.data.absolute())}
    if not own:
        return {}
    frames = latest_frames(folders, _MOST_FRAMES)
    files = [file for frame in frames if frame.outcome is not None for file in frame.outcome.files]
    return {str(file["path"]): str(file["sha256"]) for file in files if str(file["path"]) in own and "sha256" in file}


def camera_states(folders: Folders, addresses: Iterable[str]) -> tuple[CameraState, ...]:
    """Every camera with a shutter process now; `addresses` gives back their names to those it knows."""
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
        camera=camera,
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
