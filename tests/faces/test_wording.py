"""Numbers, times and places in the form that people read."""

import os
import pty
import sys
import termios
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from duskhold.faces import wording
from duskhold.faces.answer import Wrong
from duskhold.faces.voice import ForPeople
from duskhold.light.place import Place


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.25, "0.25 s"), (9.99, "9.99 s"), (20.1, "20.1 s"), (59.94, "59.9 s"), (59.96, "1:00.0"),
        (283.64, "4:43.6"), (3599.97, "1:00:00"), (3723.0, "1:02:03"),
    ],
)  # fmt: skip
def test_duration(seconds: float, text: str) -> None:
    assert wording.duration(seconds) == text


@pytest.mark.parametrize(
    ("dial", "planned_s", "text"),
    [("1/15", 1 / 16, "1/15 s"), ("0.0667s", 1 / 16, "1/15 s"), ("4.0000s", 4.0, "4 s"), ("30", 32.0, "30 s")],
)
def test_a_frame_by_the_dial_is_told_as_the_dial_has_it(dial: str, planned_s: float, text: str) -> None:
    decision = {"asked": {"dial": dial}}
    record = {"decision": decision, "outcome": "complete", "planned_s": planned_s, "open_s": planned_s}
    assert wording.open_time(record) == text
    assert wording.open_time(record | {"outcome": "cut_short", "open_s": 2.0}) == "2 s"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (11_120.0, "11,100"), (758.6, "759"), (99.95, "100"), (3.412, "3.41"), (6.447e-4, "0.000645"), (0.0, "0"),
    ],
)  # fmt: skip
def test_amount(value: float, text: str) -> None:
    assert wording.amount(value) == text


@pytest.mark.parametrize(("value", "text"), [(0.612, "+0.61"), (-0.48, "−0.48"), (-0.001, "0.00")])
def test_signed(value: float, text: str) -> None:
    assert wording.signed(value, 2) == text


def test_degrees_and_places() -> None:
    assert wording.degrees(-0.83) == "−0.8°"
    assert wording.degrees(12.0) == "12.0°"
    assert wording.where(Place(-33.9, 18.4)) == "33.9° S 18.4° E"
    assert wording.where(Place(57.35, -5.55)) == "57.35° N 5.55° W"


def test_clocks_round_to_the_second() -> None:
    moment = datetime(2026, 10, 14, 23, 59, 59, 600_000, tzinfo=UTC)
    assert wording.clock_utc(moment) == "00:00:00"
    assert wording.day_utc(moment) == "2026-10-15"
    assert wording.clock_local(moment, ZoneInfo("Europe/London")) == "01:00:00 BST"


@pytest.mark.parametrize(
    ("columns", "cut"), [(80, "  1   16:55:53   20.0 s   complete"), (24, "1  opened 16:55:53\n  open 20.0 s")]
)
def test_a_narrow_terminal_gets_every_value(
    columns: int, cut: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wording, "NOT_A_TERMINAL_COLUMNS", columns)
    wording.print_table("Frames", ("n", "opened", "open", "outcome"), [["1", "16:55:53", "20.0 s", "complete"]])
    said = capsys.readouterr().out
    assert cut in said and all(cell in said for cell in ("16:55:53", "20.0 s", "complete"))
    assert max(len(line) for line in said.splitlines()) <= columns


def test_what_is_longer_than_a_row_breaks_between_words(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wording, "NOT_A_TERMINAL_COLUMNS", 24)
    note = "six stops in place of ten, the look changes"
    wording.print_table("", ("", "set", ""), [["filter", "six and three", note]])
    said = capsys.readouterr().out.splitlines()
    assert max(map(len, said)) < 24 and set(note.split()) <= set(" ".join(said).split())


def test_a_table_in_a_window_of_one_letter_is_told_letter_by_letter(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wording, "NOT_A_TERMINAL_COLUMNS", 1)
    wording.print_table("", ("", ""), [("six", "on")])
    assert "".join(capsys.readouterr().out.split()) == "sixon"


@pytest.mark.parametrize("columns", [40, 80])
def test_a_complaint_breaks_between_words_at_a_terminal(columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    mine, theirs = pty.openpty()
    path = "/" + "a-long-folder/" * 8
    with os.fdopen(mine, "rb", buffering=0) as reader, os.fdopen(theirs, "w") as terminal:
        termios.tcsetwinsize(theirs, (24, columns))
        monkeypatch.setattr(sys, "stderr", terminal)
        said = "There is nobody to ask whether the filter that was named is fitted"
        hint = f"--wait SECONDS gives a person the time to fit it.\n  Or look into {path} for what was kept."
        ForPeople().complain(Wrong("usage", said, field="--fitted", hint=hint))
        told = ""
        while "was kept." not in told:  # a terminal hands on what it has, in parts
            told += reader.read(4096).decode()
    rows = told.rstrip().split("\r\n")
    assert all(len(row) < columns for row in rows if path not in row)
    assert rows[0].startswith("duskhold: --fitted: There is nobody") and rows[1].startswith("  ")
    assert [row for row in rows if path in row]  # whole, to be copied
    assert " ".join(" ".join(rows).split()) == f"duskhold: --fitted: {said} {' '.join(hint.split())}"


def test_what_is_no_terminal_gets_rows_as_they_are(capsys: pytest.CaptureFixture[str]) -> None:
    long = "word " * 500
    wording.say(f"{long}\n  {long}")
    assert capsys.readouterr().out == f"{long}\n  {long}\n"
