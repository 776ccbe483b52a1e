"""The last step on a USB lead that answers to nothing: the kernel resets the device, as if it was plugged in anew.

A reset ends whatever the body was told to do. It is for a body of which nothing may be open, or for one whose shutter
did not close on any call.
"""

from __future__ import annotations

import errno
import fcntl
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from duskhold.camera.claimant import device_of
from duskhold.camera.port import CameraMissing
from duskhold.camera.usb_bus import list_cameras, pick_camera

USBDEVFS_RESET = 0x5514  # _IO('U', 20), linux/usbdevice_fs.h
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


def reset_camera(serial: str) -> Reset:
    """Reset the camera with this serial number or, without one, the only camera on USB."""
    try:
        picked = pick_camera(list_cameras(), serial)
    except CameraMissing as missing:
        return Reset(False, str(missing))
    device = None if picked is None else device_of(picked.port)
    return reset_device(device) if device is not None else Reset(False, "there is no camera on USB to be reset")
