"""`duskhold plan`: its JSON against the trade's stories 4 and 12, its table, its picture, its refusals."""

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from duskhold.faces import cli

Capture = pytest.CaptureFixture[str]

OUTINGS = Path(__file__).parents[2] / "config" / "outings"
LOCH_VARRIN = """\
name: Tries at Loch Varrin
place: {latitude_deg: 57.32, longitude_deg: -5.61}
day: 2026-10-14
start:
  sun: {altitude_deg: -1, direction: down}
want: {kind: again, first_s: 240, between_s: 32}   # storing, then looking for 20 s
kit: {filters: [], aperture: f/8, iso: 100}
bounds: {sun_altitude_deg: -6}
dark: DARK
costs: {storing_s: 12}
"""
ALDERMOOR = """\
name: Aldermoor causeway
place: {latitude_deg: 54.90, longitude_deg: -1.90}
start: {clock: 2026-02-19T17:05:00Z}
want: {kind: again, first_s: 300, between_s: 12}
kit: {filters: [], aperture: f/8, iso: 100}
bounds:
  sun_altitude_deg: -6
  battery_reserve_percent: 12
  leave_by: {at: 2026-02-19T18:40:00Z, pack_min: 12}
dark: after
costs: {storing_s: 12, battery_percent_per_min: 0.62}
"""


@pytest.fixture(autouse=True)
def nothing_of_this_machine(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("DUSKHOLD_SETTINGS", raising=False)
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("TZ", "UTC")


def plan(capsys: Capture, outing: str | Path, *words: str, status: int = 0) -> dict[str, Any]:
    assert cli.main(["plan", str(outing), *words, "--json"]) == status
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def written(folder: Path, text: str) -> Path:
    path = folder / "outing.yaml"
    path.write_text(text)
    return path


def seconds_apart(utc: str, clock: str) -> float:
    moment = datetime.fromisoformat(utc)
    return abs((moment - datetime.fromisoformat(f"{moment:%Y-%m-%d}T{clock}Z")).total_seconds())


def test_a_dusk(capsys: Capture) -> None:
    """Story 5; the same numbers as the example, whose place and bag are those of the story."""
    body = plan(capsys, OUTINGS / "dusk-one-tone.yaml")
    frames = body["frames"]
    assert len(frames) == 25
    assert {"n", "opens_utc", "open_s", "closes_utc", "ready_utc", "filters", "sun_altitude_deg"} <= set(frames[0])
    assert (frames[0]["n"], frames[0]["filters"]) == (1, ["six"])
    assert frames[0]["open_s"] == pytest.approx(30.0, rel=0.001)
    assert frames[0]["sun_altitude_deg"] == pytest.approx(-2.0, abs=0.01)
    first, last = body["prompts"]
    assert set(first) == {"at_utc", "announce_utc", "remove", "fit"}
    assert (first["remove"], first["fit"], last["remove"], last["fit"]) == (["six"], ["three"], ["three"], [])
    assert seconds_apart(first["announce_utc"], "18:47:43") <= 60
    assert body["stop"]["reason"] == "longest_frame"
    assert seconds_apart(body["stop"]["at_utc"], "19:13:17") <= 60
    assert len(body["darks"]) == 2
    assert body["light"] == "clear_sky"
    assert body["ends"]["pack_utc"] == "2026-03-20T19:48:00.000Z"
    assert (body["battery"]["percent_at_end"], body["battery"]["reason"] is None) == (None, False)


@pytest.mark.parametrize(("dark", "taken"), [("in_camera", 4), ("after", 8), ("none", 8)])
def test_how_many_tries_are_left(capsys: Capture, tmp_path: Path, dark: str, taken: int) -> None:
    """Story 4: the same length every time, so the light is told to be steady."""
    body = plan(capsys, written(tmp_path, LOCH_VARRIN.replace("DARK", dark)), "--rate", "0")
    assert body["frames_left"] == {"in_camera_dark": 4, "without": 8}
    assert len(body["frames"]) == taken
    assert (body["light"], body["stop"]["reason"]) == ("rate", "sun_altitude")
    if dark == "after":
        assert seconds_apart(body["done_utc"], "18:07:32") <= 2


def test_a_winter_causeway(capsys: Capture, tmp_path: Path) -> None:
    """Story 12."""
    body = plan(capsys, written(tmp_path, ALDERMOOR), "--rate", "0", "--battery", "58")
    assert (len(body["frames"]), len(body["darks"]), body["darks_short"]) == (10, 2, None)
    assert seconds_apart(body["frames"][-1]["closes_utc"], "17:56:48") <= 2
    assert body["battery"] == {"percent_at_end": pytest.approx(20.8), "reserve_percent": 12, "reason": None}
    assert body["ends"]["pack_utc"] == "2026-02-19T18:28:00.000Z"
    poor = plan(capsys, written(tmp_path, ALDERMOOR), "--rate", "0", "--battery", "47")
    assert (len(poor["frames"]), len(poor["darks"]), poor["darks_short"]) == (10, 1, "battery_reserve")
    assert any(caution.startswith("Only 1 of 2 darks: the battery's reserve") for caution in poor["cautions"])


def test_the_table_fits_a_terminal(capsys: Capture) -> None:
    assert cli.main(["plan", str(OUTINGS / "dusk-one-tone.yaml"), "--battery", "60"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line.rstrip()) for line in lines) <= 80
    text = "\n".join(lines)
    assert lines[0] == "Dusk at Polvarrow Quay, 50.2° N 4.1° W"
    (last,) = (line.split() for line in lines if line.startswith("25 "))
    assert last[1:5] == ["19:10:36", "2:26.1", "19:13:02", "19:13:08"]  # opens, open, closes, ready
    assert last[5:] == ["−7.4°", "−8.1", "bare"]
    assert "told: take off six, fit three" in text
    assert "next would be longer than 4:00.0" in text
    assert "Frames: 25 without in-camera darks, 12 with (here: after the series)." in text
    assert "Pack from 19:48:00 UTC, be gone by 20:00:00 UTC." in text
    assert "Battery at the end 39." in text
    assert lines[-1].endswith("before this plan.")


def test_the_table_fits_a_narrow_terminal(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    assert cli.main(["plan", str(OUTINGS / "bracket.yaml")]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines) < 40
    assert any(line.startswith("scout 1  18:11:26     2 s  six, ISO") for line in lines)


@pytest.mark.parametrize("columns", ["1", "3", "29"])
def test_a_window_too_narrow_for_any_table_gets_one_nevertheless(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    assert cli.main(["plan", str(OUTINGS / "bracket.yaml")]) == 0
    assert "scout 1  18:11:26" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["bracket", "dawn", "fade-let-through"])
def test_without_darks_the_end_is_when_all_is_done(capsys: Capture, name: str) -> None:
    assert cli.main(["plan", str(OUTINGS / f"{name}.yaml")]) == 0
    text = capsys.readouterr().out
    (end,) = (line for line in text.splitlines() if line.startswith("end "))
    assert f"All done {end.split()[1]} UTC" in text


def test_what_is_told_of_the_light_and_the_place(capsys: Capture, tmp_path: Path) -> None:
    text = ALDERMOOR.replace("place: {latitude_deg: 54.90, longitude_deg: -1.90}\n", "")
    text = text.replace("  sun_altitude_deg: -6\n", "  frames: 2\n").replace(
        "  leave_by: {at: 2026-02-19T18:40:00Z, pack_min: 12}\n", ""
    )
    body = plan(capsys, written(tmp_path, text))
    assert body["light"] == "taken_for_steady"
    assert body["frames"][0]["sun_altitude_deg"] is None
    said = " ".join(body["cautions"])
    assert "the light is taken for steady" in said
    assert "No leave-by time is set" in said
    assert "people who know the place come before this plan" in said


def test_not_one_frame_is_said(capsys: Capture, tmp_path: Path) -> None:
    body = plan(capsys, written(tmp_path, ALDERMOOR.replace("17:05:00Z", "17:59:00Z")), "--rate", "0")
    assert body["frames"] == []
    assert body["frames_left"] == {"in_camera_dark": 0, "without": 0}
    assert any(caution.startswith("Not one frame of the series fits") for caution in body["cautions"])


@pytest.mark.parametrize("name", ["one-frame", pytest.param("dusk-one-tone", marks=pytest.mark.slow)])
def test_a_picture(capsys: Capture, tmp_path: Path, name: str) -> None:
    target = tmp_path / "plan.png"
    body = plan(capsys, OUTINGS / f"{name}.yaml", "--picture", str(target))
    assert body["picture"] == str(target)
    with Image.open(target) as picture:
        assert picture.size == (1430, 946)
        assert len(picture.convert("RGB").getcolors(1 << 24) or []) > 100


def test_a_picture_has_a_known_kind(capsys: Capture) -> None:
    body = plan(capsys, OUTINGS / "one-frame.yaml", "--picture", "plan.bmp", status=2)
    assert body["error"]["field"] == "--picture"


def test_a_bad_file_is_told_by_file_line_and_field(capsys: Capture, tmp_path: Path) -> None:
    path = written(tmp_path, ALDERMOOR.replace("17:05:00Z", "17:05:00"))
    error = plan(capsys, path, status=2)["error"]
    assert (error["code"], error["field"]) == ("bad_outing", "start.clock")
    assert f"{path}, line 3: start.clock: " in error["message"]
    assert plan(capsys, tmp_path / "none.yaml", status=2)["error"]["field"] == "OUTING"
    path.write_bytes(b"\xff")
    assert cli.main(["plan", str(path)]) == 2
    assert capsys.readouterr().err.startswith(f"duskhold: {path}, line 1: this is not text in UTF-8.")


@pytest.mark.parametrize(
    ("words", "field"),
    [(("--rate", "9"), "--rate"), (("--battery", "120"), "--battery"), (("--after", "now"), "--after")],
)
def test_bad_options(capsys: Capture, words: tuple[str, ...], field: str) -> None:
    assert plan(capsys, OUTINGS / "one-frame.yaml", *words, status=2)["error"]["field"] == field


def test_without_a_day_the_first_start_after_an_instant_counts(capsys: Capture, tmp_path: Path) -> None:
    path = written(tmp_path, LOCH_VARRIN.replace("DARK", "none").replace("day: 2026-10-14\n", ""))
    body = plan(capsys, path, "--after", "2026-10-14T17:30:00Z")
    assert body["begins_utc"].startswith("2026-10-15T17:20")
