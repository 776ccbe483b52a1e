"""Real-time priority and locked memory for the thread that closes the shutter, where the system allows it."""

from __future__ import annotations

import ctypes
import os

_MCL_CURRENT = 1  # not the future's pages: with a small limit, a large picture would then not fit into memory at all
PRIORITY = 20


def claim_real_time() -> str | None:
    """Ask for SCHED_FIFO for the calling thread. None when granted, else a sentence that says what is missing."""
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(PRIORITY))
    except PermissionError:
        return (
            "no real-time priority (RLIMIT_RTPRIO is 0 for this user): under load the shutter may close "
            "some milliseconds late; the limits file that set-up writes grants it from the next login on"
        )
    return None


def lock_memory() -> str | None:
    """Keep the pages that the process has now in memory. None when granted, else a sentence: what is missing."""
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.mlockall(_MCL_CURRENT) != 0:
        return f"memory not locked ({os.strerror(ctypes.get_errno())}): a swapped page may delay the closing"
    return None
