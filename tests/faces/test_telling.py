"""How wide the rows are: as the terminal, or as one says it is."""

import io
import json
import os
import pty
import termios
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from duskhold.faces.cli import main
from duskhold.faces.serve import _say
from duskhold.faces.telling import USUAL_COLUMNS, columns_of


def test_a_terminal_says_its_width_now_whatever_was_exported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    mine, theirs = pty.openpty()
    with os.fdopen(mine), os.fdopen(theirs, "w") as terminal:
        for columns in (40, 61):
            termios.tcsetwinsize(theirs, (24, columns))
            assert columns_of(terminal) == columns


def test_the_service_says_when_and_breaks_between_words_at_a_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    line = "ring: the first frame is burnt, and no tone to keep: look, then resume takes it once more"
    _say(line)
    stamp, said = capsys.readouterr().err.rstrip("\n").split("  ", 1)
    assert datetime.fromisoformat(stamp).utcoffset() == timedelta(0) and said == line
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    _say(line)
    rows = capsys.readouterr().err.splitlines()
    assert all(len(each) < 40 for each in rows) and " ".join(" ".join(rows).split()[1:]) == line


@pytest.mark.parametrize(("word", "code"), [("Leaving", "nothing_runs"), ("CLOSE", "nothing_runs"), ("leave", "usage")])
def test_a_word_counts_however_large_its_letters(
    word: str, code: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DUSKHOLD_RUNTIME", str(tmp_path))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    main(["tell", word, "--json"])
    assert json.loads(capsys.readouterr().out)["error"]["code"] == code


@pytest.mark.parametrize(
    ("said", "columns"),
    [("44", 44), ("", USUAL_COLUMNS), ("0", USUAL_COLUMNS), ("1", 2), ("-3", USUAL_COLUMNS), ("wide", USUAL_COLUMNS)],
)
def test_where_there_is_no_terminal_the_environment_may_say(
    said: str, columns: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", said)
    assert columns_of(io.StringIO()) == columns
