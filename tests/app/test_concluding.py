"""A body that closed by itself behind its own dark frame: it denies that anything was open, and its picture (Exif
ExposureTime, CIPA DC-008) says when it had ended."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from io import BytesIO
from pathlib import Path
from typing import cast

import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from duskhold.app.concluding import conclude
from duskhold.app.folders import Folders
from duskhold.app.settings import Settings
from duskhold.app.station import Station, stamp_now
from duskhold.camera.port import Picture, Setting
from duskhold.journal.entry import Intent
from duskhold.journal.entry import Outcome as Concluded
from duskhold.journal.journal import Journal
from duskhold.plan.role import Role
from duskhold.shutter.holder_link import HolderLink
from duskhold.shutter.report import Kind, Outcome, ShutterReport, ShutterState

HELD_S = 240.0
REPORT = ShutterReport(
    "f1", Kind.HELD, Outcome.COMPLETE, HELD_S, HELD_S, 0.01, None, "2026-10-14T17:21:10.000Z",
    "2026-10-14T17:25:10.000Z", ShutterState.CLOSED, "the body answered with an error", "here", True, denied=True,
)  # fmt: skip


def jpeg(told_s: float) -> bytes:
    exif, file = Image.Exif(), BytesIO()
    exif.get_ifd(0x8769)[0x829A] = IFDRational(round(told_s * 1000), 1000)
    Image.new("RGB", (8, 8)).save(file, "JPEG", exif=exif)
    return file.getvalue()


@dataclass
class PaperLink:
    """A holder with one JPEG on its card."""

    content: bytes
    collected_ids: list[str] = field(default_factory=list)

    def state(self) -> dict[str, object]:
        return {"phase": "ready"}

    def settings(self) -> dict[Setting, str]:
        return {Setting.QUALITY: "jpeg"}

    def new_pictures(self) -> list[Picture]:
        return [Picture("/store", "P_1.JPG", len(self.content))]

    def fetch(self, picture: Picture, descriptor: int) -> int:
        return os.write(descriptor, self.content)

    def collected(self, frame_id: str) -> None:
        self.collected_ids.append(frame_id)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "journal.sqlite") as opened:
        opened.intend(Intent("f1", "usb", "long", "held", HELD_S, HELD_S + 5.0), stamp_now())
        yield opened


def concluded(journal: Journal, folder: Path, report: ShutterReport, told_s: float) -> Concluded:
    folders = Folders(folder / "data", folder / "state", folder / "run")
    link = PaperLink(jpeg(told_s))
    station = Station("usb", folders, journal, cast(HolderLink, link), Settings(), {})
    outcome = conclude(station, report, Role.LONG, lambda state: None, lambda: False)
    assert link.collected_ids == ["f1"]
    frame = journal.frame("f1")
    assert frame is not None and frame.outcome is not None
    assert (frame.outcome.outcome, frame.outcome.open_s) == (outcome.outcome, outcome.open_s)
    return outcome


def test_denied_and_short_by_its_picture_it_is_bounded_and_not_told_as_planned(
    journal: Journal, tmp_path: Path
) -> None:
    outcome = concluded(journal, tmp_path, REPORT, 95.0)
    assert (outcome.outcome, outcome.open_s, outcome.closed_utc) == ("cut_short", None, None)
    assert outcome.report["open_s_sigma_s"] is None  # nothing is known well of a time that is not known
    assert outcome.open_s_range is not None
    assert outcome.open_s_range[0] <= 95.0 <= outcome.open_s_range[1] == HELD_S
    assert "its picture says 95 s: the body had closed by itself" in outcome.reason
    assert len(outcome.files) == 1


def test_a_link_that_was_lost_stays_told(journal: Journal, tmp_path: Path) -> None:
    outcome = concluded(journal, tmp_path, replace(REPORT, outcome=Outcome.LINK_LOST), 95.0)
    assert (outcome.outcome, outcome.open_s) == ("link_lost", None)


@pytest.mark.parametrize(
    ("report", "told_s"),
    [
        (REPORT, 240.0),  # only the answer was wrong
        (REPORT, 256.0),  # rounded to a mark
        (replace(REPORT, denied=False), 95.0),  # the body confirmed that our call closed it: its picture is the liar
    ],
)
def test_else_the_time_of_the_call_stands(
    journal: Journal, tmp_path: Path, report: ShutterReport, told_s: float
) -> None:
    outcome = concluded(journal, tmp_path, report, told_s)
    assert (outcome.outcome, outcome.open_s, outcome.open_s_range) == ("complete", HELD_S, None)
