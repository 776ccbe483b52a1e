"""Frames written down as they come: log and table only grow, side files are written once, trouble is said."""

import csv
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

from duskhold.app.folders import Folders
from duskhold.app.settings import Settings
from duskhold.app.station import Station
from duskhold.app.writing_down import record_folder, table_place, write_down_since
from duskhold.frames.once import append_once
from duskhold.journal.entry import Intent, Outcome, Refusal, Stamp
from duskhold.journal.journal import Journal

START = datetime(2026, 10, 14, 17, 21, 10, tzinfo=UTC)
CUT = Outcome("f1", "cut_short", 95.0, None, "2026-10-14T17:21:10.250Z", None, "closed", True, "closed on request")


def stamp(minute: float) -> Stamp:
    return Stamp(START + timedelta(minutes=minute), minute * 60, "boot")


@pytest.fixture
def station(tmp_path: Path) -> Station:
    folders = Folders(tmp_path / "data", tmp_path, tmp_path)
    folders.data.mkdir()
    journal = Journal.open(folders.journal)
    settings = Settings.model_validate({"place": {"latitude_deg": 57.32, "longitude_deg": -5.61}}, strict=False)
    made = SimpleNamespace(camera="usb", folders=folders, journal=journal, settings=settings)
    return cast(Station, made)


def test_log_and_table_grow_and_side_files_stay(station: Station) -> None:
    journal = station.journal
    journal.intend(Intent("f0", "usb", "base", "dial", 0.25, 5.0), stamp(-60))
    journal.intend(Intent("f1", "usb", "long", "held", 180.0, 185.0), stamp(0))
    journal.conclude(replace(CUT, settled=False, outcome="unknown", open_s=None), stamp(2))
    assert write_down_since(station, START, []) == []
    folder = record_folder(station.folders, date(2026, 10, 14))
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert set(first) == {"log.txt", "frames.csv", "f1.xmp"}
    journal.conclude(CUT, stamp(3))
    journal.refuse(Refusal("f2", "usb", "long", "held", None, "never", "It never suffices."), stamp(4))
    for _ in range(2):
        assert write_down_since(station, START, []) == []
    assert {path.name for path in folder.iterdir()} == {*first, "f1-2.xmp", "f2.xmp"}
    assert all((folder / name).read_bytes().startswith(content) for name, content in first.items())
    lines = (folder / "log.txt").read_text().splitlines()[4:]
    assert [line.split()[1] for line in lines] == ["f1", "f1", "opened"]
    assert "open 95.0 s of 180.0 s planned; cut short: closed on request; no file" in lines[1]
    rows = list(csv.DictReader((folder / "frames.csv").read_text().splitlines()))
    assert [(row["frame_id"], row["outcome"]) for row in rows] == [
        ("f1", "unknown"), ("f1", "cut_short"), ("f2", "refused")
    ]  # fmt: skip
    # Story of the sea loch (own arithmetic with NREL SPA): the sun stood near 1 degree under the horizon then.
    assert -2.0 < float(rows[1]["sun_altitude_open_deg"]) < 0.0
    journal.close()


def test_a_folder_that_cannot_be_written_is_said_and_nothing_else(station: Station) -> None:
    station.journal.intend(Intent("f1", "usb", "long", "held", 180.0, 185.0), stamp(0))
    station.folders.session(date(2026, 10, 14)).parent.mkdir(parents=True)
    station.folders.session(date(2026, 10, 14)).write_text("a file where a folder should be")
    (said,) = write_down_since(station, START, [])
    assert "could not be written" in said and "duskhold report" in said
    station.journal.close()


def test_a_line_that_was_cut_off_stays_and_the_next_begins_anew(tmp_path: Path) -> None:
    place = tmp_path / "log.txt"
    append_once(place, "head\n", "one\n")
    with place.open("ab") as file:
        file.write(b"tw")
    append_once(place, "head\n", "three\n")
    append_once(place, "head\n", "one\n")
    assert place.read_text() == "head\none\ntw\nthree\n"


def test_a_table_that_began_with_other_columns_stays_and_another_one_begins(station: Station) -> None:
    station.journal.intend(Intent("f1", "usb", "long", "held", 180.0, 185.0), stamp(0))
    folder = record_folder(station.folders, date(2026, 10, 14))
    folder.mkdir(parents=True)
    old = "frame_id,role\r\nf0,base\r\n"
    (folder / "frames.csv").write_bytes(old.encode())
    for _ in range(2):
        assert write_down_since(station, START, []) == []
    assert (folder / "frames.csv").read_bytes() == old.encode()
    table = table_place(folder)
    assert table.name == "frames-2.csv"
    rows = list(csv.DictReader(table.read_text().splitlines()))
    assert [(row["frame_id"], None in row) for row in rows] == [("f1", False)]
    station.journal.close()
