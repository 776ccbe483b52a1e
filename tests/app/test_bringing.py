"""The files of a frame, waited for as the settings promise them; what is missing or too much is in the record."""

from __future__ import annotations

import os
from dataclasses import asdict, dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import cast

import pytest

from duskhold.app import bringing
from duskhold.app.bodies import Habits, Told, keep
from duskhold.app.bringing import Brought, bring_home
from duskhold.app.folders import Folders
from duskhold.app.settings import Settings
from duskhold.app.station import Station
from duskhold.camera.port import Identity, Picture, Setting
from duskhold.journal.journal import Journal
from duskhold.plan.role import Role
from duskhold.shutter.clock import utc_now
from duskhold.shutter.holder_link import HolderLink, HolderRefused
from duskhold.shutter.report import Kind, Outcome, ShutterReport, ShutterState
from duskhold.shutter.stock import StockUnknown

REPORT = ShutterReport(
    "f1", Kind.HELD, Outcome.COMPLETE, 1.0, 1.0, 0.01, None, "2026-10-14T17:21:10.000Z",
    "2026-10-14T17:21:11.000Z", ShutterState.CLOSED, "", "here", True,
)  # fmt: skip
BODY = Identity("body", "A1", 0, "open capture", "2.5.34")
PAIRS = Habits((Told(2.0, 2.0),), 1.0, 0.0, 2, 6, None, "2026-10-14T17:00:00.000Z")
RAW, JPEG, OTHER = (Picture("/store", name, 3) for name in ("P_1.DNG", "P_1.JPG", "P_2.DNG"))


@dataclass
class PaperLink:
    """A holder whose card shows one listing after the other; the last one stands."""

    listings: list[list[Picture]]
    quality: str | None = "raw+jpeg"
    phase: str = "ready"
    busy: int = 0
    asked: int = 0

    def state(self) -> dict[str, object]:
        return {"phase": self.phase, "identity": asdict(BODY)}

    def settings(self) -> dict[Setting, str]:
        self.busy -= 1
        if self.busy >= 0:
            raise HolderRefused("camera_busy", "the body is busy")
        return {} if self.quality is None else {Setting.QUALITY: self.quality}

    def new_pictures(self) -> list[Picture]:
        self.asked += 1
        return self.listings.pop(0) if len(self.listings) > 1 else self.listings[0]

    def fetch(self, picture: Picture, descriptor: int) -> int:
        return os.write(descriptor, b"abc")


@pytest.fixture(autouse=True)
def hurried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bringing, "LIST_EVERY_S", 0.02)
    monkeypatch.setattr(bringing, "LOOK_EVERY_S", 0.005)


def brought(folder: Path, link: PaperLink, report: ShutterReport = REPORT) -> Brought:
    folders = Folders(folder / "data", folder / "state", folder / "run")
    station = Station("usb", folders, cast(Journal, None), cast(HolderLink, link), Settings(), {})
    return bring_home(station, report, Role.LONG, lambda state: None, lambda: False)


def test_files_as_promised_are_asked_for_once(tmp_path: Path) -> None:
    link = PaperLink([[RAW, JPEG]])
    found = brought(tmp_path, link)
    assert (len(found.files), found.complete, found.trouble, link.asked) == (2, True, "", 1)
    assert found.fetch_s > 0.0


def test_a_file_that_comes_after_the_body_said_it_was_ready_is_waited_for(tmp_path: Path) -> None:
    found = brought(tmp_path, PaperLink([[RAW], [RAW, JPEG]]))
    assert (len(found.files), found.trouble) == (2, "")


def test_while_the_body_is_too_busy_to_say_what_it_promises_half_a_pair_is_not_the_whole(tmp_path: Path) -> None:
    found = brought(tmp_path, PaperLink([[RAW], [RAW, JPEG]], busy=1))
    assert (len(found.files), found.trouble) == (2, "")
    found = brought(tmp_path / "again", PaperLink([[RAW]], busy=9))
    assert (len(found.files), found.complete) == (1, True), "in the end what there is is taken"


def test_the_same_half_twice_while_it_stores_is_not_the_whole(tmp_path: Path) -> None:
    found = brought(tmp_path, PaperLink([[JPEG], [JPEG], [JPEG], [JPEG], [RAW, JPEG]], phase="storing"))
    assert (len(found.files), found.trouble) == (2, "")


def test_a_file_that_never_comes_is_said_and_the_other_brought_home(tmp_path: Path) -> None:
    link = PaperLink([[RAW]])
    found = brought(tmp_path, link)
    assert (len(found.files), found.complete) == (1, True)
    assert found.trouble == "the jpeg file that the settings promise never came"
    assert link.asked == 1 + bringing.MISSING_LISTINGS


def test_a_frame_of_which_nothing_came_is_said_to_be_one(tmp_path: Path) -> None:
    found = brought(tmp_path, PaperLink([[]]))
    assert (found.files, found.complete) == ((), True)
    assert "no picture of this frame" in found.trouble


def test_a_frame_whose_pictures_nobody_can_tell_from_older_ones_is_not_said_to_have_none(tmp_path: Path) -> None:
    class Forgetful(PaperLink):
        def new_pictures(self) -> list[Picture]:
            raise HolderRefused(StockUnknown.code, str(StockUnknown()))

    found = brought(tmp_path, Forgetful([]))
    assert (found.files, found.complete) == ((), True)
    assert found.trouble.startswith("its pictures stay on the card (which pictures on the card are new is not known")


def test_more_than_promised_is_brought_home_as_well_and_said(tmp_path: Path) -> None:
    found = brought(tmp_path, PaperLink([[RAW, JPEG, OTHER]]))
    assert len(found.files) == 3
    assert found.trouble == "1 more than the 2 that the settings promise"


def test_a_body_that_does_not_say_promises_nothing(tmp_path: Path) -> None:
    found = brought(tmp_path, PaperLink([[RAW]], quality=None))
    assert (len(found.files), found.trouble) == (1, "")


def test_where_the_settings_promise_nothing_as_many_files_are_waited_for_as_the_bench_saw(tmp_path: Path) -> None:
    keep(Folders(tmp_path / "data", tmp_path, tmp_path), BODY, PAIRS)
    found = brought(tmp_path, PaperLink([[RAW], [RAW, JPEG]], quality="Unknown value 0003"))
    assert (len(found.files), found.trouble) == (2, "")
    keep(Folders(tmp_path / "again" / "data", tmp_path, tmp_path), BODY, PAIRS)
    found = brought(tmp_path / "again", PaperLink([[RAW]], quality=None))
    assert (len(found.files), found.complete, found.trouble) == (1, True, "1 file, where the bench saw 2")


def test_a_body_is_busy_from_its_closing_on_and_not_from_when_somebody_looks(tmp_path: Path) -> None:
    keep(Folders(tmp_path / "data", tmp_path, tmp_path), BODY, replace(PAIRS, dark_frame_share=1.0))
    closed_utc = (utc_now() - timedelta(seconds=8.0)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    report = replace(REPORT, open_s=10.0, closed_utc=closed_utc)  # proving it took most of its dark frame
    assert brought(tmp_path, PaperLink([[RAW, JPEG]]), report).trouble == ""
    long = replace(report, open_s=30.0)
    assert "busy for 8 s after it only" in brought(tmp_path, PaperLink([[RAW, JPEG]]), long).trouble


def test_what_was_learnt_and_cannot_be_read_costs_no_picture(tmp_path: Path) -> None:
    keep(Folders(tmp_path / "data", tmp_path, tmp_path), BODY, PAIRS).write_text("{", encoding="utf-8")
    found = brought(tmp_path, PaperLink([[RAW, JPEG]]))
    assert len(found.files) == 2
    assert "cannot be read" in found.trouble and "learn the body again" in found.trouble
