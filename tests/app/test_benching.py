"""What trial frames say of a body: bad holding is told by the picture's own time, a dark frame by the busy time."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from duskhold.app.benching import Trial, habits_from
from duskhold.app.learning import LearningFailed
from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.journal.entry import Outcome

SHOT = Shot(
    number=1, opened_s=0.0, closed_s=2.0, taken=datetime.fromisoformat("2026-03-20T12:00:00"),
    exposure_rgb=(0.1, 0.1, 0.1), f_number=8.0, iso=100.0, aperture_mark="f/8", dial_s=None, dark_frame=False,
    temperature_c=10.0, seed=3, spoiled=False,
)  # fmt: skip


def trial(folder: Path, held_s: float, really_s: float, busy_s: float) -> Trial:
    path = folder / f"{held_s}.DNG"
    path.write_bytes(Negative(replace(SHOT, closed_s=really_s), BodyProfile(width=96, height=64), PictureFault()).dng())
    files = ({"path": str(path), "bytes": 1000}, {"path": str(folder / "gone.JPG"), "bytes": 500})
    report = {"fetch_s": 0.5}
    outcome = Outcome("f", "complete", held_s, None, None, None, "closed", True, "", files=files, report=report)
    return Trial(outcome, busy_s)


def test_a_body_with_a_dark_frame_of_its_own_is_busy_as_long_again(tmp_path: Path) -> None:
    habits = habits_from([trial(tmp_path, 2.0, 2.0, 2.4), trial(tmp_path, 5.0, 5.0, 5.4)])
    assert habits.dark_frame_share == pytest.approx(1.0)
    assert habits.busy_s == 5.4
    assert (habits.files, habits.file_bytes) == (2, 1500)
    assert habits.bytes_per_s == 3000
    assert [one.exif_s for one in habits.told] == pytest.approx([2.0, 5.0], abs=0.05)


def test_a_slow_card_is_not_taken_for_a_dark_frame(tmp_path: Path) -> None:
    habits = habits_from([trial(tmp_path, 2.0, 2.0, 3.1), trial(tmp_path, 5.0, 5.0, 3.0)])
    assert habits.dark_frame_share == 0.0


def test_a_body_whose_pictures_are_of_another_time_has_not_passed(tmp_path: Path) -> None:
    # A press that toggles where one was held, say: the frame ends when it begins, or three times as late.
    with pytest.raises(LearningFailed, match="says 15"):
        habits_from([trial(tmp_path, 2.0, 2.0, 1.0), trial(tmp_path, 5.0, 15.0, 1.0)])
