"""Who holds a device that is claimed: found among the open files of the processes that this user may look at."""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

from duskhold.camera.port import CameraClaimed, CameraError, LinkHung, PermissionMissing

_USB_PORT = re.compile(r"usb:(\d{3}),(\d{3})")
_MODULE = "duskhold.shutter.holding"
_OWN = "duskhold itself"


def name_claimant(error: CameraError, port: str) -> CameraError:
    """The same error, with the name of who holds the device when that is what is wrong and can be seen.

    The library has one number for a device that may not be opened and for one that fails to answer: its file tells.
    """
    device = device_of(port)
    if isinstance(error, PermissionMissing) and device is not None and os.access(device, os.R_OK | os.W_OK):
        return LinkHung("the camera is there and may be opened, but begins no session: switch it off and on")
    if not isinstance(error, CameraClaimed) or device is None:
        return error
    holders = who_holds(device)
    if not holders:
        return error
    own = [holder for holder in holders if holder.startswith(_OWN)]
    ends = "it lets go a minute after its last use" if own else "end it first"
    return CameraClaimed(f"the camera is held by {', '.join(own or holders)}; {ends}")


def device_of(port: str) -> Path | None:
    """The device file of a port as the library writes it (`usb:001,014`), or None."""
    found = _USB_PORT.fullmatch(port)
    return Path("/dev/bus/usb") / found.group(1) / found.group(2) if found else None


def who_holds(device: Path, processes: Path = Path("/proc")) -> list[str]:
    """Names and process ids of those that have the device open; others may hold it without being seen."""
    holders = []
    for process in sorted(processes.glob("[0-9]*"), key=lambda each: int(each.name)):
        # Processes of other users, and those that end while they are looked at, are passed over.
        with suppress(OSError):
            if any(each.readlink() == device for each in (process / "fd").iterdir()):
                holders.append(f"{_name(process)} ({process.name})")
    return holders


def _name(process: Path) -> str:
    """What it is called; one of ours with the address that it was given."""
    words = (process / "cmdline").read_text(encoding="utf-8", errors="replace").split("\0")
    if _MODULE in words and "--camera" in words:
        return f"{_OWN}, as {words[words.index('--camera') + 1]}"
    return (process / "comm").read_text(encoding="utf-8").strip()
