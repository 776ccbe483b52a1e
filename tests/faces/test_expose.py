"""`duskhold expose` as a command: what it refuses, computes and prints, on the simulated camera in real time."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from duskhold.app.folders import folders_for
from duskhold.faces.expose import show_frame
from duskhold.plan.stamp import utc_text
from duskhold.shutter.holder_link import HolderLink


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    """Folders of its own, shared by this file's frames so that one holder serves them; released at the end."""
    with tempfile.TemporaryDirectory(prefix="dh-") as name:
        yield Path(name)
        release(Path(name), "simulated")


def environment(folder: Path) -> dict[str, str]:
    return {
        "DUSKHOLD_RUNTIME": str(folder / "run"),
        "XDG_STATE_HOME": str(folder / "state"),
        "XDG_CONFIG_HOME": str(folder / "config"),
    }


def release(folder: Path, camera: str) -> None:
    """Let the holder of a camera go, if there is one."""
    socket = folders_for(None, environment(folder)).places(camera).socket
    if socket.exists():
        link = HolderLink(socket, patience_s=0.0)
        link.release()
        link.close()


def run(folder: Path, *words: str) -> tuple[int, dict[str, Any]]:
    line = [sys.executable, "-m", "duskhold", "expose", *words, "--json", "--data", str(folder / "data")]
    ran = subprocess.run(
        line, env=os.environ | environment(folder), capture_output=True, text=True, timeout=60, check=False
    )
    answer: dict[str, Any] = json.loads(ran.stdout)
    return ran.returncode, answer


def ago(seconds: float) -> str:
    return utc_text(datetime.now(UTC) - timedelta(seconds=seconds))


def test_a_given_time_is_held_and_recorded_under_simulated_data(folder: Path) -> None:
    status, record = run(folder, "--for", "1", "--camera", "simulated")
    assert status == 0
    assert record["outcome"] == "complete"
    assert record["open_s"] == pytest.approx(1.0, abs=0.05)
    assert record["timing"] == "held"
    assert record["closed_utc"] > record["opened_utc"]
    paths = [Path(file["path"]) for file in record["files"]]
    assert {path.suffix for path in paths} == {".DNG", ".JPG"}
    assert all(path.is_relative_to(folder / "data" / "simulated") for path in paths)


def test_a_computed_time_is_computed_for_the_real_opening(folder: Path) -> None:
    metered = ago(60.0)
    status, record = run(
        folder, "--camera", "simulated", "--base", "1/8", "--filters", "3", "--metered", metered, "--rate", "-0.3"
    )
    assert status == 0
    decision = record["decision"]
    assert decision["plain_s"] == pytest.approx(1.0)
    # A minute and the start-up of the command lie between metering and opening: 0.3 stop and a little more.
    assert 60.0 < decision["delay_s"] < 75.0
    assert 2**0.3 < record["planned_s"] < 2**0.4
    assert record["open_s"] == pytest.approx(record["planned_s"], abs=0.05)


def test_a_time_that_the_light_never_gives_is_refused_with_a_way_out(folder: Path) -> None:
    # Story of a fading dusk: 0.35 stop/min gathers at most 247.3 s (Tyson & Gal 1993, closed form); 8 min are asked.
    words = ("--camera", "simulated", "--base", "30", "--filters", "4", "--metered", ago(0.0), "--rate", "-0.35")
    status, record = run(folder, *words)
    assert status == 3
    assert record["outcome"] == "refused"
    assert record["open_s"] == 0
    assert record["files"] == []
    assert "aperture" in record["reason"]
    assert record["planned_s"] is None
    ways = record["decision"]["ways_out"]
    assert {"aperture", "iso", "accept"} <= {way["kind"] for way in ways}
    assert all(way["open_s"] > 0 for way in ways)
    assert record["decision"]["shortfall_stops"] > 0


def test_a_reading_that_is_too_old_is_refused(folder: Path) -> None:
    words = ("--camera", "simulated", "--base", "1/8", "--filters", "3", "--metered", ago(4000.0), "--rate", "0")
    status, record = run(folder, *words)
    assert status == 3
    assert "reading_age_max_s" in record["reason"]


@pytest.mark.parametrize(
    ("words", "field"),
    [
        ((), "--for"),
        (("--for", "0"), "--for"),
        (("--for", "nan"), "--for"),
        (("--for", "3", "--base", "1/4"), "--for"),
        (("--for", "3", "--readings", "auto"), "--for"),
        (("--for", "3", "--filters", "6"), "--for"),
        (("--for", "3", "--camera", "nowhere"), "--camera"),
        (("--base", "1/4"), "--metered"),
    ],
)
def test_what_cannot_be_asked_is_said_before_anything_starts(folder: Path, words: tuple[str, ...], field: str) -> None:
    status, answer = run(folder, *words)
    assert status == 2
    assert answer["error"]["field"] == field
    assert answer["error"]["message"]


def test_a_camera_that_is_not_there_is_refused_and_recorded(folder: Path) -> None:
    status, record = run(folder, "--for", "1", "--camera", "ptpip:127.0.0.1:1:1")
    assert status == 3
    assert record["outcome"] == "refused"
    assert "no camera answers" in record["reason"]
    release(folder, "ptpip:127.0.0.1:1:1")


def test_a_computed_time_on_the_dial_is_left_to_the_body_which_is_said(folder: Path) -> None:
    # 1/8 s through 3 stops of filter in steady light is 1 s, which is a mark of the dial.
    words = ("--camera", "simulated", "--base", "1/8", "--filters", "3", "--metered", ago(5.0), "--rate", "0")
    status, record = run(folder, *words)
    assert status == 0
    assert record["timing"] == "dial"
    assert record["decision"]["dial"] == {"mark": "1", "open_s": 1.0, "can_be_stopped": False}
    assert record["planned_s"] == 1.0
    assert record["open_s"] == pytest.approx(1.0, abs=0.05)
    status, record = run(folder, "--for", "1", "--camera", "simulated")
    assert (status, record["timing"]) == (0, "held")
    assert "dial" not in record["decision"]


def test_a_computed_time_between_two_marks_is_held(folder: Path) -> None:
    words = ("--camera", "simulated", "--base", "1/8", "--filters", "3.1", "--metered", ago(5.0), "--rate", "0")
    status, record = run(folder, *words)
    assert (status, record["timing"]) == (0, "held")
    assert record["planned_s"] == pytest.approx(2**0.1)


def test_a_time_that_the_dial_kept_is_not_said_to_be_known_to_0_ms(capsys: pytest.CaptureFixture[str]) -> None:
    body = dict.fromkeys(("open_s_range", "opened_utc", "closed_utc", "reason")) | {
        "frame_id": "20261014-172110-3f2a", "planned_s": 4.0, "decision": {"dial": {"mark": "4"}}, "open_s": 4.0,
        "outcome": "complete", "open_s_sigma_s": 0.0, "earlier": [], "files": [], "notices": [],
    }  # fmt: skip
    show_frame(body, None)
    assert "give or take" not in capsys.readouterr().out
    show_frame(body | {"open_s_sigma_s": 0.1}, None)
    assert "give or take 100 ms" in capsys.readouterr().out
