"""Where things live: frames and journal, and for each camera what is known of it and where its keeper listens."""

import hashlib
import os
import re
import stat
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from duskhold.shutter.places import Places

SIMULATED = "simulated"
"""Address of the body that is simulated in process."""
SOCKET_PATH_MAX_BYTES = 100  # sun_path holds 108 with its end (unix(7)); some room for a name beside it


class FolderUnsafe(Exception):
    """A folder that someone else could write to, or that is not a folder; the message says which and why."""


@dataclass(frozen=True, slots=True)
class Folders:
    """`data` holds frames and journal of one kind of run; `state` and `runtime` are the same for all runs."""

    data: Path
    state: Path
    runtime: Path

    @property
    def journal(self) -> Path:
        return self.data / "journal.sqlite"

    def simulated(self) -> "Folders":
        """The same for simulated runs, whose frames and journal never lie among real ones."""
        return Folders(self.data / "simulated", self.state, self.runtime)

    def of(self, address: str) -> "Folders":
        """Those of the frames of the camera at `address`."""
        return self.simulated() if address == SIMULATED else self

    def session(self, day: date) -> Path:
        """The folder of an outing's frames: one a day until an outing has a name."""
        return self.data / "frames" / day.isoformat()

    def places(self, address: str) -> Places:
        """Where the shutter processes of the camera at `address` meet, whatever the data folder."""
        key = camera_key(address)
        state = self.state / "cameras" / key
        # Beside its locks, where every command of this user finds it; a login's runtime folder goes with the login,
        # and the shutter does not. Only a path too long for a socket sends it there.
        fits = len(os.fsencode(state)) + len("/holder.new") <= SOCKET_PATH_MAX_BYTES
        return Places(runtime=state if fits else self.runtime / key, state=state)


def folders_for(data: str | None, environment: Mapping[str, str]) -> Folders:
    """Where everything lies for this user. Makes nothing; `data` is from the command line or the settings."""
    home = Path(environment.get("HOME", "~")).expanduser()
    own_data = _xdg(environment, "XDG_DATA_HOME", home / ".local" / "share") / "duskhold"
    return Folders(
        data=Path(data).expanduser().absolute() if data else own_data,
        state=_xdg(environment, "XDG_STATE_HOME", home / ".local" / "state") / "duskhold",
        runtime=_runtime(environment),
    )


def ensure_private(folder: Path) -> Path:
    """Make `folder` if needed, for this user alone. Raises `FolderUnsafe` for one that others may write to."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    seen = folder.lstat()
    if not stat.S_ISDIR(seen.st_mode):
        raise FolderUnsafe(f"{folder} is not a folder")
    if seen.st_uid != os.getuid():
        raise FolderUnsafe(f"{folder} belongs to user {seen.st_uid}, not to you ({os.getuid()})")
    if seen.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        raise FolderUnsafe(f"{folder} can be written to by others; `chmod 700 {folder}` makes it yours alone")
    return folder


def camera_key(address: str) -> str:
    """A short file name for an address: readable, and different for different addresses."""
    words = re.sub(r"[^a-z0-9]+", "-", address.lower()).strip("-")[:24]
    return f"{words}-{hashlib.sha256(address.encode()).hexdigest()[:8]}"


def _runtime(environment: Mapping[str, str]) -> Path:
    named = environment.get("DUSKHOLD_RUNTIME")
    if named:
        return Path(named).absolute()
    login = environment.get("XDG_RUNTIME_DIR")
    if login and len(os.fsencode(login)) + len("/duskhold/") + _NAME_MAX_BYTES <= SOCKET_PATH_MAX_BYTES:
        return Path(login) / "duskhold"
    return Path(tempfile.gettempdir()) / f"duskhold-{os.getuid()}"


_NAME_MAX_BYTES = 24 + 1 + 8 + len("/holder")


def _xdg(environment: Mapping[str, str], name: str, default: Path) -> Path:
    # The base directory specification: a relative path there is invalid and is passed over.
    given = environment.get(name, "")
    return Path(given) if given.startswith("/") else default
