"""Where the shutter is in its life."""

from __future__ import annotations

from enum import Enum


class Phase(Enum):
    """One at a time; only `READY` lets anything be opened."""

    STARTING = "starting"  # not proven closed yet
    READY = "ready"
    OPENING = "opening"
    OPEN = "open"
    TIMED = "timed"  # open at a dial time; the body closes
    CLOSING = "closing"
    PROVING = "proving"  # the body says that nothing was open: its picture tells whether that call had closed it
    STORING = "storing"  # closed; the body stores, or takes its own dark frame
    LOST = "lost"  # no link
    RELEASED = "released"  # the camera is let go: nothing more happens in this process
