"""A word from the system that a still-image device was plugged in: a hint to look again at once, never a proof.

Whoever waits for a camera looks again anyway when its time is up; without udev nothing is lost but a second.
"""

from __future__ import annotations

import select
import time
from contextlib import suppress
from typing import Any, Protocol

STILL_IMAGE = ":060101:"  # USB still image capture device definition: class 6, subclass 1, protocol 1 (PTP)
_INTERFACES = "ID_USB_INTERFACES"  # as systemd's udev writes them for the whole device


class Plug(Protocol):
    """What is used of an event."""

    action: str | None

    def get(self, name: str) -> str | None: ...


class Monitor(Protocol):
    """What is used of udev's monitor."""

    def fileno(self) -> int: ...

    def poll(self, timeout: float | None = None) -> Plug | None: ...


class PlugWatch:
    """Naps that end early when a camera was plugged in; used by one thread."""

    def __init__(self, monitor: Monitor) -> None:
        self._monitor: Monitor | None = monitor

    def nap(self, seconds: float) -> None:
        """Sleep so long, or until a still-image device was added; what came before this nap counts, too."""
        ends_s = time.monotonic() + seconds
        while self._monitor is not None and (left_s := ends_s - time.monotonic()) > 0.0:
            try:
                if select.select([self._monitor.fileno()], [], [], left_s)[0] and self._hears(self._monitor):
                    return
            except OSError:
                self._monitor = None  # the system's word is lost: from now on every nap has its full length
        time.sleep(max(0.0, ends_s - time.monotonic()))

    @staticmethod
    def _hears(monitor: Monitor) -> bool:
        plug = monitor.poll(0)
        return plug is not None and plug.action == "add" and STILL_IMAGE in (plug.get(_INTERFACES) or "")


def watch_plugs() -> PlugWatch | None:
    """A watch on this system's USB devices; None where udev cannot be listened to."""
    with suppress(ImportError, OSError):
        import pyudev

        monitor: Any = pyudev.Monitor.from_netlink(pyudev.Context())
        monitor.filter_by("usb", device_type="usb_device")
        monitor.start()
        return PlugWatch(monitor)
    return None
