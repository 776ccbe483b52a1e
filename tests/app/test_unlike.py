"""What is said of a frame that is not as the bench saw this body."""

from __future__ import annotations

from dataclasses import replace

import pytest

from duskhold.app.bodies import Habits
from duskhold.app.unlike import Seen, unlike_bench

PLAIN = Habits((), 1.2, 0.02, 2, 40_000_000, 20e6, "2026-10-14T17:00:00.000Z")
DARK = replace(PLAIN, busy_s=6.2, dark_frame_share=1.0)
USUAL = Seen(240.0, 2.0, 2, 40_000_000, 2.0)
BUSY = replace(USUAL, busy_s=241.0)


@pytest.mark.parametrize(
    ("habits", "seen", "says"),
    [
        (PLAIN, USUAL, None),
        (PLAIN, replace(USUAL, files=1), "1 file, where the bench saw 2"),
        (PLAIN, replace(USUAL, files=None), None),
        (PLAIN, BUSY, "busy for 241 s after it, where the bench saw no dark frame"),
        (PLAIN, replace(BUSY, busy_s=None), None),
        (PLAIN, replace(USUAL, open_s=4.0, busy_s=9.0), None),
        (PLAIN, replace(USUAL, open_s=12.0, busy_s=9.0), None),
        (DARK, BUSY, None),
        (DARK, USUAL, "busy for 2 s after it only"),
        (PLAIN, replace(USUAL, fetch_s=10.0), "brought home at 4.0 MB/s, where the bench saw 20.0"),
        (PLAIN, replace(USUAL, fetch_s=6.0), None),
        (PLAIN, replace(USUAL, bytes_home=1000, fetch_s=1.0), None),
        (replace(PLAIN, bytes_per_s=None), replace(USUAL, fetch_s=10.0), None),
    ],
)
def test_what_is_otherwise_is_said_and_nothing_else(habits: Habits, seen: Seen, says: str | None) -> None:
    said = list(unlike_bench(habits, seen))
    assert len(said) == (says is not None)
    assert says is None or said[0].startswith(says)
