"""How wide the rows are: as the terminal, or as one says it is."""

import io
import os
import pty
import termios

import pytest

from duskhold.faces.telling import USUAL_COLUMNS, columns_of


def test_a_terminal_says_its_width_now_whatever_was_exported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    mine, theirs = pty.openpty()
    with os.fdopen(mine), os.fdopen(theirs, "w") as terminal:
        for columns in (40, 61):
            termios.tcsetwinsize(theirs, (24, columns))
            assert columns_of(terminal) == columns


@pytest.mark.parametrize(
    ("said", "columns"),
    [("44", 44), ("", USUAL_COLUMNS), ("0", USUAL_COLUMNS), ("-3", USUAL_COLUMNS), ("wide", USUAL_COLUMNS)],
)
def test_where_there_is_no_terminal_the_environment_may_say(
    said: str, columns: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", said)
    assert columns_of(io.StringIO()) == columns
