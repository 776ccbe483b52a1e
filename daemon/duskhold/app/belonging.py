"""Which of the files that are new on the card are the frame's, by the time that each tells of its own exposure.

Somebody may press the release between two frames. Such a picture is brought home like every other; it is not measured
for the frame, and it is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from duskhold.frames.shooting import ExposureUnknown, written_s
from duskhold.frames.store import StoredFile

NEAR_S, NEAR_SHARE = (
    1.5,
    0.1,
)  # bodies round a held time to a second or to a mark of the dial; common practice, no source


def own_first(files: Sequence[StoredFile], open_s: float | None) -> tuple[tuple[StoredFile, ...], str]:
    """The files in order of how near their own time is to `open_s`, and a sentence for each picture that is not near.

    A raw and a JPEG of the same name stay together. Files that tell no time, or an unknown `open_s`, change nothing.
    """
    if open_s is None:
        return tuple(files), ""
    told = _told(files)
    ordered = sorted(files, key=lambda file: abs(told.get(file.path.stem, open_s) - open_s))
    far = [stem for stem, seconds in told.items() if abs(seconds - open_s) > _rounding_s(open_s)]
    said = [f"{stem} says {told[stem]:.3g} s of itself, and is perhaps not of this frame" for stem in far]
    return tuple(ordered), "; ".join(said)


def ended_early_s(files: Sequence[StoredFile], open_s: float) -> float | None:
    """The longest time that any of the pictures tells, when every one falls short of `open_s`; else None."""
    longest_s = max(_told(files).values(), default=open_s)
    return longest_s if open_s - longest_s > _rounding_s(open_s) else None


def least_s(told_s: float) -> float:
    """The shortest that an exposure can have been whose picture tells `told_s`."""
    return max(0.0, told_s - _rounding_s(told_s))


def _rounding_s(seconds: float) -> float:
    return max(NEAR_S, NEAR_SHARE * seconds)


def _told(files: Sequence[StoredFile]) -> dict[str, float]:
    """What each picture tells, by the name that its files share."""
    told: dict[str, float] = {}
    for file in files:
        seconds = _told_s(file)
        if seconds is not None:
            told.setdefault(file.path.stem, seconds)
    return told


def _told_s(file: StoredFile) -> float | None:
    try:
        seconds = written_s(file.path)
    except (ExposureUnknown, OSError):
        return None
    return seconds if math.isfinite(seconds) and seconds > 0.0 else None
