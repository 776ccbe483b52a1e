"""When the process that holds the camera has served long enough: it ends between frames, and the keeper starts it anew.

The camera library leaks and slows down over hundreds of frames; a new process costs half a second.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

FRAMES_MAX = 200  # common practice, no source: bodies and libraries were seen to turn busy after several hundred
GROWTH_MAX_BYTES = 200_000_000
_STATM = Path("/proc/self/statm")


@dataclass(frozen=True, slots=True)
class Wear:
    """What one life of the process may spend."""

    frames_max: int = FRAMES_MAX
    growth_max_bytes: int = GROWTH_MAX_BYTES

    def reason(self, frames: int, grown_bytes: int) -> str | None:
        """Why a process that took `frames` and grew by `grown_bytes` should be followed by a new one, or None."""
        if frames >= self.frames_max:
            return f"{frames} frames in one process"
        if grown_bytes > self.growth_max_bytes:
            return f"its memory grew by {grown_bytes // 1_000_000} MB"
        return None


USUAL_WEAR = Wear()


def resident_bytes() -> int:
    """The memory of this process that is in use now; 0 where the system does not tell."""
    try:
        pages = int(_STATM.read_text(encoding="ascii").split()[1])
    except (OSError, ValueError, IndexError):
        return 0
    return pages * os.sysconf("SC_PAGE_SIZE")
