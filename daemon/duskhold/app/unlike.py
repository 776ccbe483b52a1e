"""What a frame did otherwise than the bench had seen of this body: said in its record, and no more. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from duskhold.app.bodies import Habits

TELLING_S = 10.0  # a shorter frame says little of what follows it; common practice, no source
BUSIER_S = 10.0  # looking for its files takes some seconds by itself
SLOWER = 4.0
TELLING_BYTES = 1_000_000
_HALF = 0.5


@dataclass(frozen=True, slots=True)
class Seen:
    """One frame: held for `open_s`, its files complete `busy_s` later, and here after `fetch_s` of the lead.

    `busy_s` is None when nobody watched, `files` when the settings say how many there must be.
    """

    open_s: float
    busy_s: float | None
    files: int | None
    bytes_home: int
    fetch_s: float


def unlike_bench(habits: Habits, seen: Seen) -> Iterator[str]:
    """One sentence for each thing that is otherwise."""
    if seen.files is not None and seen.files != habits.files:
        yield f"{_files(seen.files)}, where the bench saw {habits.files}"
    if seen.busy_s is not None and seen.open_s >= TELLING_S:
        share = habits.dark_frame_share
        if share < _HALF and seen.busy_s > habits.busy_s + max(BUSIER_S, _HALF * seen.open_s):
            yield f"busy for {seen.busy_s:.0f} s after it, where the bench saw no dark frame of the body's own"
        if share >= _HALF and seen.busy_s < _HALF * share * seen.open_s:
            yield f"busy for {seen.busy_s:.0f} s after it only, where the bench saw a dark frame of the body's own"
    if habits.bytes_per_s and seen.bytes_home >= TELLING_BYTES and seen.fetch_s > 0.0:
        rate = seen.bytes_home / seen.fetch_s
        if rate * SLOWER < habits.bytes_per_s:
            yield (
                f"brought home at {rate / 1e6:.1f} MB/s, where the bench saw {habits.bytes_per_s / 1e6:.1f}: "
                "look at lead and hub"
            )


def _files(count: int) -> str:
    return "1 file" if count == 1 else f"{count} files"
