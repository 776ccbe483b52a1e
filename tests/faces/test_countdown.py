"""The line that is written over itself: in one row of its terminal, whatever it says."""

import os
import pty
import termios
from pathlib import Path

import pytest

from duskhold.faces.countdown import Countdown

OPEN = {"phase": "timed", "closes_in_s": 2.0}


@pytest.mark.parametrize(("columns", "ends"), [(100, "it cannot be stopped"), (40, "OPEN   2.0 s left"), (12, "…")])
def test_it_stays_in_its_row(columns: int, ends: str) -> None:
    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "w", encoding="utf-8") as stream:
        termios.tcsetwinsize(theirs, (20, columns))
        Countdown(stream).seen(OPEN)
        row = os.read(ours, 4096).decode().removeprefix("\r\x1b[K")
    os.close(ours)
    assert row.endswith(ends) and len(row) < columns


def test_a_log_has_none_of_it(tmp_path: Path) -> None:
    with (tmp_path / "log").open("w+", encoding="utf-8") as stream:
        Countdown(stream).seen(OPEN)
        assert stream.tell() == 0
