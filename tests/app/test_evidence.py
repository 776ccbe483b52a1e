"""Readings from the base frames on record: the journal's moments, the pictures' light."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest

from duskhold.app import evidence
from duskhold.app.evidence import readings_on_record
from duskhold.app.folders import Folders
from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.frames.measure import Area
from duskhold.journal.entry import Intent, Outcome, Stamp
from duskhold.journal.journal import Journal
from duskhold.plan.stamp import utc_text

START = datetime(2026, 3, 20, 19, 4, tzinfo=UTC)
PROFILE = BodyProfile(width=192, height=128)
SHOT = Shot(
    number=1, opened_s=0.0, closed_s=0.25, taken=datetime.fromisoformat("2026-03-20T12:00:00"),
    exposure_rgb=(1.0, 1.0, 1.0), f_number=8.0, iso=100.0, aperture_mark="f/8", dial_s=0.25, dark_frame=False,
    temperature_c=10.0, seed=3, spoiled=False,
)  # fmt: skip


def on_record(
    folders: Folders,
    minute: float,
    light: float,
    role: str = "base",
    picture: str = "whole",
    decision: dict[str, object] | None = None,
    question: str | None = None,
) -> None:
    frame_id, opened = f"frame-{minute:g}-{role}", START + timedelta(minutes=minute)
    path = folders.data / f"{frame_id}.dng"
    shot = replace(SHOT, number=int(minute) + 1, exposure_rgb=(light, light, light))
    path.write_bytes(Negative(shot, PROFILE, PictureFault()).dng() if picture == "whole" else b"torn")
    stamp = Stamp(opened, 100.0 + minute, "boot")
    with Journal.open(folders.journal) as journal:
        journal.intend(Intent(frame_id, "usb", role, "dial", 0.25, 5.0, decision or {}), stamp)
        files = [{"path": str(path), "role": role, "bytes": 1, "sha256": "0"}]
        report = {"filter_check": {"question": question}}
        journal.conclude(
            Outcome(frame_id, "complete", 0.25, None, utc_text(opened), None, "closed", True, "", files, report), stamp
        )


@pytest.fixture
def folders(tmp_path: Path) -> Folders:
    (tmp_path / "data").mkdir()
    return Folders(tmp_path / "data", tmp_path / "state", tmp_path / "run")


def test_base_frames_become_readings(folders: Folders) -> None:
    on_record(folders, 0, 1.0)
    on_record(folders, 6, 2072 / 4380)
    on_record(folders, 7, 0.3, role="long")
    on_record(folders, 8, 0.3, picture="torn")
    found = readings_on_record(folders, "usb", START - timedelta(minutes=5), START + timedelta(minutes=30))
    assert [one.taken_utc for one in found] == [START + timedelta(minutes=m, seconds=0.125) for m in (0, 6)]
    assert found[1].level_stops - found[0].level_stops == pytest.approx(math.log2(2072 / 4380), abs=0.02)
    assert readings_on_record(folders, "simulated", START, START + timedelta(minutes=30)) == ()
    assert len(readings_on_record(folders, "usb", START + timedelta(minutes=1), START + timedelta(minutes=30))) == 1


def test_a_long_frame_tells_the_light_through_the_filter_of_its_record(folders: Folders) -> None:
    on_record(folders, 0, 1.0)
    on_record(folders, 6, 0.7, role="long", decision={"filter_stops": 10.2, "filter_sigma_stops": 0.03})
    on_record(folders, 9, 0.7, role="long")  # through nobody knows what
    on_record(folders, 12, 0.7, role="long", decision={"asked": {"for_s": 4.0}})
    fitted: dict[str, object] = {"filter_stops": 10.2, "filter_sigma_stops": 0.03}
    on_record(folders, 15, 0.3, role="long", decision=fitted, question="is this the filter ten?")
    base, long = readings_on_record(folders, "usb", START, START + timedelta(minutes=30))
    assert (base.source, long.source) == ("base", "long")
    assert long.span_s == 0.25 and long.taken_utc == START + timedelta(minutes=6, seconds=0.125)
    assert long.level_stops - base.level_stops == pytest.approx(10.2 + math.log2(0.7), abs=0.02)
    assert 0.03 < long.sigma_stops < 0.05 and long.sigma_stops > base.sigma_stops
    # What is still open at the moment of asking tells nothing yet
    assert readings_on_record(folders, "usb", START, START + timedelta(minutes=6, seconds=0.1)) == (base,)


def test_pictures_are_read_once(folders: Folders, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the moment of an opening there is no time to read them again."""
    on_record(folders, 0, 1.0)
    first = readings_on_record(folders, "usb", START, START + timedelta(minutes=30))
    monkeypatch.setattr(evidence, "read_picture", None)
    assert readings_on_record(folders, "usb", START, START + timedelta(minutes=30)) == first


def test_light_is_that_of_the_chosen_area(folders: Folders, tmp_path: Path) -> None:
    on_record(folders, 0, 1.0)
    until = START + timedelta(minutes=30)
    halves = (Area(0.0, 0.0, 1.0, 0.5), Area(0.0, 0.5, 1.0, 1.0))
    (sky,), (land,) = (readings_on_record(folders, "usb", START, until, half) for half in halves)
    assert sky.level_stops > land.level_stops + 0.3
    grey = np.zeros((128, 192), np.uint8)
    grey[:64] = 255
    cv2.imwrite(str(tmp_path / "map.png"), grey)
    (mapped,) = readings_on_record(folders, "usb", START, until, tmp_path / "map.png")
    assert mapped.level_stops == pytest.approx(sky.level_stops, abs=0.02)
