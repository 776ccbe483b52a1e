"""`duskhold filters`: the bag listed, a filter measured from three frames of the simulated sensor, one checked."""

import hashlib
import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from duskhold.app.folders import Folders
from duskhold.app.measuring import Walked
from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.faces import cli, filters_walk

Capture = pytest.CaptureFixture[str]

PROFILE = BodyProfile(width=192, height=128)
STOPS = (10.05, 10.23, 10.30)
SETTINGS = """filters:
  - {name: strong, label: x1000, infrared: browns foliage}
  - {name: light, label: 3}
  - {name: round, label: 1.6, polariser: true}
"""
BARE = Shot(
    number=1, opened_s=0.0, closed_s=2.0**-6, taken=datetime.fromisoformat("2026-05-02T14:30:00"),
    exposure_rgb=(0.9, 0.9, 0.9), f_number=8.0, iso=100.0, aperture_mark="f/8", dial_s=2.0**-6, dark_frame=False,
    temperature_c=15.0, seed=9, spoiled=False,
)  # fmt: skip


@pytest.fixture(autouse=True)
def own_folders(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    settings = tmp_path / "settings.yaml"
    settings.write_text(SETTINGS, encoding="utf-8")
    monkeypatch.setenv("DUSKHOLD_SETTINGS", str(settings))


def frames(folder: Path, drift_stops: float = -0.045) -> list[Path]:
    """Bare, through the filter for 16 s, bare again: light falling by so much from the first to the last."""
    times = (("2026-05-02T14:30:00", 0.0), ("2026-05-02T14:30:50", 0.5), ("2026-05-02T14:31:56", 1.0))
    made = []
    for number, (taken, share) in enumerate(times, start=1):
        light = 2.0 ** (drift_stops * share)
        held_s = 16.0 if number == 2 else 2.0**-6
        through = STOPS if number == 2 else (0.0, 0.0, 0.0)
        red, green, blue = (0.6 * light * held_s * 64.0 * 2.0**-stops for stops in through)
        shot = replace(
            BARE, number=number, taken=datetime.fromisoformat(taken), closed_s=held_s, dial_s=held_s,
            exposure_rgb=(red, green, blue),
        )  # fmt: skip
        path = folder / f"frame{number}.dng"
        path.write_bytes(Negative(shot, PROFILE, PictureFault()).dng())
        made.append(path)
    return made


def answer(capsys: Capture, *words: str, status: int = 0) -> dict[str, Any]:
    assert cli.main(["filters", *words, "--json"]) == status
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def test_the_bag(capsys: Capture) -> None:
    body = answer(capsys)
    strong, light, polariser = body["filters"]
    assert strong["stops"] == pytest.approx(9.966, abs=0.001) and strong["infrared"] == "browns foliage"
    assert strong["sigma_stops"] == pytest.approx(0.575, abs=0.01) and strong["reason"]
    assert light["stops_rgb"] is None and polariser["polariser"]
    assert polariser["sigma_stops"] == 0.2  # 1.3 to 2 stops are quoted: half the range over the root of three
    assert "before the base frame" in body["caution"]
    assert cli.main(["filters"]) == 0
    assert "label only" in capsys.readouterr().out


def test_a_filter_is_measured_kept_and_used(capsys: Capture, tmp_path: Path) -> None:
    paths = frames(tmp_path)
    words = ("measure", "--name", "strong", "--files", *map(str, paths))
    body = answer(capsys, *words)
    stops = body["stops"]
    assert (stops["red"], stops["green"], stops["blue"]) == pytest.approx(STOPS, abs=0.03)
    assert body["drift_stops"] == pytest.approx(-0.045, abs=0.02)
    assert (body["cast"]["red"], body["cast"]["blue"]) == pytest.approx((0.884, 1.048), abs=0.02)
    for original, kept in zip(paths, body["evidence"], strict=True):
        assert Path(kept["path"]).read_bytes() == original.read_bytes()
        assert kept["sha256"] == hashlib.sha256(original.read_bytes()).hexdigest()
    assert (Path(body["folder"]) / "measurement.json").is_file()
    listed = answer(capsys)["filters"][0]
    assert listed["stops"] == stops["green"] and listed["measured_on"] == "2026-05-02"
    assert listed["sigma_stops"] < 0.03
    metered = ("--metered", "2026-10-14T17:20:00Z", "--opens", "2026-10-14T17:20:00Z")
    assert cli.main(["solve", "--base", "1/4", "--filters", "strong", "--rate", "0", *metered, "--json"]) == 0
    solved = json.loads(capsys.readouterr().out)
    assert solved["plain_s"] == pytest.approx(0.25 * 2.0 ** stops["green"])
    assert solved["budget"]["filter"] == listed["sigma_stops"] < 0.03
    assert cli.main(["filters", *words]) == 3  # nothing that is there is replaced
    capsys.readouterr()


@pytest.mark.parametrize(
    ("filters", "said"),
    [
        ("light,light", "named twice"),
        ("round,light", "polariser: it goes on before the base frame"),
        ("dim", "in the bag: strong, light, round"),
        ("light,3,x2", "at most 2"),
    ],
)
def test_what_is_not_fitted_together(capsys: Capture, filters: str, said: str) -> None:
    metered = ("--metered", "2026-10-14T17:20:00Z", "--opens", "2026-10-14T17:20:00Z")
    assert cli.main(["solve", "--base", "1/4", "--filters", filters, "--rate", "0", *metered, "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert error["field"] == "--filters" and said in error["message"]


def test_a_pair_is_checked(capsys: Capture, tmp_path: Path) -> None:
    first, filtered, last = map(str, frames(tmp_path, 0.0))
    off = answer(capsys, "check", "--name", "strong", "--files", first, filtered, status=3)
    assert off["off_stops"] == pytest.approx(10.23 - 9.966, abs=0.03)
    assert off["question"] == "is this the filter strong?"
    answer(capsys, "measure", "--name", "strong", "--files", first, filtered, last)
    assert answer(capsys, "check", "--name", "strong", "--files", first, filtered)["question"] is None


def test_times_that_the_files_do_not_know(capsys: Capture, tmp_path: Path) -> None:
    words = ("measure", "--name", "odd", "--files", *map(str, frames(tmp_path)), "--times")
    believed = answer(capsys, *words, "=0.0166667,=15,=0.0166667")
    assert believed["stops"]["green"] == pytest.approx(10.23 - 0.19, abs=0.03)
    assert believed["in_settings"] is False and believed["reason"]


def test_what_cannot_be_measured(capsys: Capture, tmp_path: Path) -> None:
    first, filtered, last = frames(tmp_path)
    text = tmp_path / "no.dng"
    text.write_text("nothing")
    bright = replace(BARE, exposure_rgb=(60.0, 60.0, 60.0))
    clipped = tmp_path / "clipped.dng"
    clipped.write_bytes(Negative(bright, PROFILE, PictureFault()).dng())
    cases = [
        (("--name", "s", "--files", str(first), str(filtered)), "--files", "3 raw files"),
        (("--files", str(first), str(filtered), str(last)), "--name", "Which filter"),
        (("--name", "s", "--files", str(filtered), str(first), str(last)), "--files", "order"),
        (("--name", "s", "--files", str(first), str(tmp_path / "gone.dng"), str(last)), "--files", "not there"),
        (("--name", "s", "--files", str(first), str(text), str(last)), "--files", "does not say"),
        (("--name", "s", "--files", str(clipped), str(filtered), str(last)), "--files", "clipped"),
        (("--name", "s", "--files", str(first), str(filtered), str(last), "--area", "0,0,2,1"), "--area", "rectangle"),
        (("--name", "s", "--files", str(first), str(filtered), str(last), "--times", "1,2"), "--times", "three"),
    ]
    for words, field, said in cases:
        assert cli.main(["filters", "measure", *words, "--json"]) == 2
        printed = capsys.readouterr()
        error = json.loads(printed.out)["error"]
        assert error["field"] == field and said in error["message"], words
        assert "recognized" not in printed.err  # the reader's own complaint
    assert not (tmp_path / "home" / "duskhold" / "filters").exists()


def test_a_simulated_measurement_is_kept_apart_and_says_so(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, filtered, last = frames(tmp_path)
    apart = Folders(tmp_path / "apart", tmp_path / "state", tmp_path / "run")
    walked = Walked((first, filtered, last), (2.0**-6, 16.0, 2.0**-6))
    monkeypatch.setattr(filters_walk, "walk_at_camera", lambda *_: (walked, apart))
    body = answer(capsys, "measure", "strong", "--camera", "simulated", "--fitted")
    assert body["in_settings"] is True and "kept apart" in body["reason"]
    assert Path(body["folder"]).is_relative_to(tmp_path / "apart")
    assert answer(capsys)["filters"][0]["measured_on"] is None
