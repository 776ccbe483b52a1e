"""The last step on a USB lead that answers to nothing: the kernel resets the device, as if it was plugged in anew.

A reset ends whatever the body was told to do. It is for a body of which nothing may be open, or for one whose shutter
did not close on any call.
"""

from __future__ import annotations

import errno
import fcntl
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

USBDEVFS_RESET = 0x5514  # _IO('U', 20), linux/usbdevice_fs.h
_STILL_IMAGE = ("06", "01", "01")  # USB still image capture device definition: class, subclass, protocol
_WHY = {
    errno.EACCES: "this user may not reset it: see the udev rule in hardware-notes",
    errno.EPERM: "this user may not reset it: see the udev rule in hardware-notes",
    errno.ENODEV: "it went away meanwhile",
    errno.ENOENT: "it went away meanwhile",
}


@dataclass(frozen=True, slots=True)
class Reset:
    """What came of it, as a sentence."""

    done: bool
    told: str


def reset_device(device: Path, order: Callable[[int, int], object] = fcntl.ioctl) -> Reset:
    """Have the kernel reset `device`, a file like /dev/bus/usb/001/014. Operating errors are part of the answer."""
    try:
        descriptor = os.open(device, os.O_WRONLY | os.O_CLOEXEC)
        try:
            order(descriptor, USBDEVFS_RESET)
        finally:
            os.close(descriptor)
    except OSError as error:
        return Reset(False, f"{device} was not reset: {_WHY.get(error.errno or 0, str(error))}")
    return Reset(True, f"{device} was reset")


def find_still_image_device(
    devices: Path = Path("/sys/bus/usb/devices"), files: Path = Path("/dev/bus/usb")
) -> Path | None:
    """The device file of the only still-image device, or None: with two of them it is not clear which."""
    found = {_device_file(interface, devices, files) for interface in devices.glob("*:*") if _is_still_image(interface)}
    found.discard(None)
    return found.pop() if len(found) == 1 else None


def reset_still_image_device() -> Reset:
    """Reset the only camera on USB."""
    device = find_still_image_device()
    return reset_device(device) if device is not None else Reset(False, "there is not exactly one camera on USB")


def _is_still_image(interface: Path) -> bool:
    names = ("bInterfaceClass", "bInterfaceSubClass", "bInterfaceProtocol")
    with suppress(OSError):  # it may go while it is looked at
        return tuple((interface / name).read_text(encoding="ascii").strip() for name in names) == _STILL_IMAGE
    return False


def _device_file(interface: Path, devices: Path, files: Path) -> Path | None:
    device = devices / interface.name.partition(":")[0]
    with suppress(OSError, ValueError):
        bus, number = (int((device / name).read_text(encoding="ascii")) for name in ("busnum", "devnum"))
        return files / f"{bus:03d}" / f"{number:03d}"
    return None
