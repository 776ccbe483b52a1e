"""`note` and `weather`: what people say stands in the journal, in a frame's record, and in all that is written."""

import csv
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from duskhold.app.folders import folders_for
from duskhold.app.record import frame_record
from duskhold.app.writing_down import told_frame
from duskhold.faces.cli import main
from duskhold.frames.evening import Evening
from duskhold.frames.ledger import log_line, table_head, table_line
from duskhold.frames.page import page_html
from duskhold.frames.sidefile import facts_of, side_file
from duskhold.journal.entry import Intent, Outcome, Refusal, Stamp
from duskhold.journal.journal import Journal

START = datetime(2026, 10, 14, 17, 21, 10, tzinfo=UTC)
FIRST, LAST = "20261014-172110-0001", "20261014-173200-0002"
Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def quiet_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("DUSKHOLD_RUNTIME", str(tmp_path / "run"))
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "DUSKHOLD_SETTINGS"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A real frame, and a later one of the simulated camera."""
    folder = tmp_path / "data"
    folders = folders_for(str(folder), {})
    for journal_path, name, after_s in ((folders.journal, FIRST, 0.0), (folders.simulated().journal, LAST, 650.0)):
        stamp = Stamp(START + timedelta(seconds=after_s), after_s, "boot")
        with Journal.open(journal_path) as journal:
            journal.intend(Intent(name, "usb", "long", "held", 10.0, 12.0), stamp)
            journal.conclude(Outcome(name, "complete", 10.0, None, None, None, "closed", True, ""), stamp)
    return folder


def said(capsys: Capture, *words: str, status: int = 0) -> dict[str, Any]:
    assert main([*words, "--json"]) == status
    body = json.loads(capsys.readouterr().out)
    assert isinstance(body, dict)
    return body


def test_the_latest_frame_unless_one_is_named(data: Path, capsys: Capture) -> None:
    found = said(capsys, "note", "the", " gull\n", "left", "--keep", "--data", str(data))
    assert found["frame_id"] == LAST
    assert [(each["text"], each["keep"], each["stars"]) for each in found["remarks"]] == [("the gull left", True, None)]
    found = said(capsys, "note", "--frame", FIRST, "--stars", "4", "--data", str(data))
    assert (found["frame_id"], found["remarks"][0]["stars"]) == (FIRST, 4)
    frames = said(capsys, "frames", "--data", str(data))["frames"]
    assert [len(frame["remarks"]) for frame in frames] == [1, 1]


def test_it_stands_in_log_table_page_and_side_file(data: Path, capsys: Capture) -> None:
    said(capsys, "note", "the gull <left>", "--keep", "--stars", "4", "--data", str(data))
    said(capsys, "note", "--reject", "soft after all", "--data", str(data))
    with Journal.open(folders_for(str(data), {}).simulated().journal) as journal:
        frame = journal.frame(LAST)
    assert frame is not None
    told = told_frame(frame_record(frame), None)
    assert "said of it: reject, 4 stars; said of it: the gull <left>; said of it: soft after all" in log_line(told)
    row = next(csv.DictReader([table_head(), table_line(told)]))
    assert (row["keep"], row["stars"], row["remarks"]) == ("False", "4", "the gull <left>; soft after all")
    assert main(["note", "a " * 500, "--data", str(data)]) == 0
    assert main(["frames", "--data", str(data)]) == 0
    assert "a a…" in capsys.readouterr().out.replace("\n", " ")
    page = page_html(Evening("Evening", (told,), (), ""))
    assert "Of these 1 rejected, as somebody said. " in page
    assert "“reject, 4 stars”" in page and "“the gull &lt;left&gt;”" in page
    packet = side_file(facts_of(told.record)).decode()
    assert "<xmp:Rating>-1<" in packet and ":Stars>4<" in packet and "soft after all" in packet
    assert main(["note", "again", "--data", str(data)]) == 0
    assert "soft after all\n" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "field"),
    [
        ([], "WORD"), (["--stars", "6"], "--stars"), (["x" * 2001], "WORD"),
        (["a", "--frame", "20261014-000000-ffff"], "--frame"), (["a", "--frame", ""], "--frame"),
        (["not UTF-8: \udcff"], "WORD"), (["\x1b[A"], "WORD"), (["--keep", "--reject"], "--reject"),
    ],
)  # fmt: skip
def test_what_cannot_be_noted_says_why(words: list[str], field: str, data: Path, capsys: Capture) -> None:
    error = said(capsys, "note", *words, "--data", str(data), status=2)["error"]
    assert error["field"] == field
    assert said(capsys, "frames", "--data", str(data))["frames"][0]["remarks"] == []


def test_what_was_refused_is_no_latest_frame(data: Path, capsys: Capture) -> None:
    refused = "20261014-174000-0003"
    with Journal.open(folders_for(str(data), {}).journal) as journal:
        stamp = Stamp(START + timedelta(hours=1), 3600.0, "boot")
        journal.refuse(Refusal(refused, "usb", "long", "held", 10.0, "battery_low", "it is weak"), stamp)
    assert said(capsys, "note", "the gull left", "--data", str(data))["frame_id"] == LAST
    assert said(capsys, "note", "weak", "--frame", refused, "--data", str(data))["remarks"][0]["text"] == "weak"


def test_darks_and_scouts_after_a_long_frame_are_not_meant(data: Path, capsys: Capture) -> None:
    with Journal.open(folders_for(str(data), {}).journal) as journal:
        for number, role in enumerate(("scout", "dark"), 3):
            stamp = Stamp(START + timedelta(minutes=20 + number), 3600.0, "boot")
            journal.intend(Intent(f"20261014-17{41 + number}00-000{number}", "usb", role, "held", 10.0, 12.0), stamp)
    assert said(capsys, "note", "too dark", "--data", str(data))["frame_id"] == LAST


def test_without_a_long_frame_the_latest_is_meant(tmp_path: Path, capsys: Capture) -> None:
    with Journal.open(folders_for(str(tmp_path), {}).journal) as journal:
        journal.intend(Intent(FIRST, "usb", "base", "dial", 1.0, 2.0), Stamp(START, 0.0, "boot"))
    assert said(capsys, "note", "hazy", "--data", str(tmp_path))["frame_id"] == FIRST


def test_a_frame_that_is_being_held_is_said_as_planned(data: Path, capsys: Capture) -> None:
    with Journal.open(folders_for(str(data), {}).journal) as journal:
        stamp = Stamp(START + timedelta(hours=1), 3600.0, "boot")
        journal.intend(Intent("20261014-174000-0003", "usb", "long", "held", 240.0, 245.0), stamp)
    assert main(["note", "the gull", "--data", str(data)]) == 0
    assert "long, 4:00.0 planned:" in capsys.readouterr().out


def test_the_log_has_the_reason_of_what_did_not_come(data: Path) -> None:
    with Journal.open(folders_for(str(data), {}).journal) as journal:
        refusal = Refusal("f", "usb", "long", "held", 240.0, "disk_short", "6 MB free.\nMake room.")
        journal.refuse(refusal, Stamp(START, 0.0, "boot"))
        frame = journal.frame("f")
    assert frame is not None
    assert "; refused: 6 MB free. Make room; no file" in log_line(told_frame(frame_record(frame), None))


def test_without_a_frame_nothing_is_noted(tmp_path: Path, capsys: Capture) -> None:
    folder = tmp_path / "empty"
    assert said(capsys, "note", "x", "--data", str(folder), status=2)["error"]["message"] == "There is no frame yet."
    assert not folder.exists()


def test_weather_is_said_and_asked(tmp_path: Path, capsys: Capture) -> None:
    folder = tmp_path / "data"
    assert set(said(capsys, "weather", "--data", str(folder)).values()) == {None}
    assert not folder.exists()
    said(capsys, "weather", "--air", "8", "--humidity", "85", "--data", str(folder))
    found = said(capsys, "weather", "--tide", " low at\n17:40 ", "--data", str(folder))
    assert found["dew_margin_c"] == 2.4 and found["tide"] == "low at 17:40" and found["wind_m_s"] is None
    assert main(["weather", "--data", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "2.4 °C below the air" in out and "look for dew" in out and "of the simulated camera" in out
    said(capsys, "weather", "--humidity", "60", "--data", str(folder))
    assert main(["weather", "--data", str(folder)]) == 0
    assert "look for dew" not in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [["--air", "99"], ["--humidity", "0"], ["--wind", "-1"], ["--tide", "  "], ["--tide", "\x01"], ["--air", "nan"]],
)
def test_weather_that_cannot_be(words: list[str], tmp_path: Path, capsys: Capture) -> None:
    error = said(capsys, "weather", *words, "--data", str(tmp_path / "data"), status=2)["error"]
    assert error["field"] == words[0]


def test_weather_of_a_real_camera_is_kept_with_its_frames_and_says_nothing_of_another(
    tmp_path: Path, capsys: Capture
) -> None:
    folder = str(tmp_path / "data")
    assert main(["weather", "--air", "4", "--camera", "usb", "--data", folder]) == 0
    assert "simulated" not in capsys.readouterr().out
    assert said(capsys, "weather", "--data", folder, "--camera", "usb")["air_c"] == 4.0
    assert said(capsys, "weather", "--data", folder)["air_c"] is None
