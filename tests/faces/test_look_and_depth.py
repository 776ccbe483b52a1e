"""`duskhold look` and `duskhold depth`: worked figures through the command line, and refusals."""

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from duskhold.faces import cli

Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def no_settings(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("DUSKHOLD_SETTINGS", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def answer(capsys: Capture, *words: str, status: int = 0) -> dict[str, Any]:
    assert cli.main([*words, "--json"]) == status
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def test_the_table_of_looks_and_ones_own(capsys: Capture, tmp_path: Path) -> None:
    file = tmp_path / "own.yaml"
    file.write_text("looks: [{name: weir, shortest_s: 1, longest_s: 3}, {name: silk, shortest_s: 5, longest_s: 9}]\n")
    looks = {one["name"]: one for one in answer(capsys, "look", "--settings", str(file))["looks"]}
    assert looks["weir"]["longest_s"] == 3.0 and looks["silk"]["shortest_s"] == 5.0
    assert looks["cloud-streaks"]["tolerance_share"] == 0.25
    assert answer(capsys, "look")["cloud"] is None
    file.write_text("looks: [{name: weir, shortest_s: 4, longest_s: 3}]\n")
    assert "longest_s" in answer(capsys, "look", "--settings", str(file), status=2)["error"]["message"]


def test_streaks_from_a_shift(capsys: Capture) -> None:
    # Worked by hand: 96 px in 20 s is 4.8 px/s; 15 % of 8256 px is 1238 px, 258 s, and 268.1 s are 15.6 %
    words = ("look", "--shift", "96", "--between", "20", "--frame-px", "8256", "--open", "268.1s")
    cloud = answer(capsys, *words)["cloud"]
    assert cloud["px_per_s"] == pytest.approx(4.8)
    assert (cloud["open_s"], cloud["shortest_s"], cloud["longest_s"]) == pytest.approx((258.0, 193.5, 322.5))
    assert cloud["share_at_open"] == pytest.approx(0.156, abs=5e-4)


def test_streaks_from_two_pictures(capsys: Capture, tmp_path: Path) -> None:
    chance = np.random.default_rng(4)
    cloud = cv2.GaussianBlur(chance.normal(128.0, 900.0, (600, 1400)).astype(np.float32), (0, 0), 9.0)
    for name, left in (("a.png", 40), ("b.png", 16)):
        cv2.imwrite(str(tmp_path / name), np.clip(cloud[:, left : left + 1300], 0, 255).astype(np.uint8))
    files = (str(tmp_path / "a.png"), str(tmp_path / "b.png"))
    found = answer(capsys, "look", "--files", *files, "--between", "12")["cloud"]
    assert found["px_per_s"] == pytest.approx(2.0, abs=0.05) and found["frame_px"] == 1300
    blank = tmp_path / "c.png"
    cv2.imwrite(str(blank), chance.integers(0, 255, (600, 1300), dtype=np.uint8))
    error = answer(capsys, "look", "--files", files[0], str(blank), "--between", "12", status=2)["error"]
    assert error["code"] == "no_shift"


def test_wind_stars_moon_and_lighthouse(capsys: Capture) -> None:
    lens = ("--focal", "24", "--pixel", "4.36")
    body = answer(capsys, "look", "--wind", "10", "--frame-px", "8256", *lens, "--open", "4:00", "--period", "15")
    assert body["cloud"]["open_s"] == pytest.approx(99.0, abs=0.6)
    assert body["sky"]["star_px_per_s"] == pytest.approx(0.40, abs=0.005)
    assert body["sky"]["star_loose_s"] == pytest.approx(20.8, abs=0.05) and body["waves"] is None
    assert body["sky"]["star_trail_px"] == pytest.approx(96.3, abs=0.2)
    assert body["sky"]["moon_widths"] == pytest.approx(1.9, abs=0.05)
    assert body["people"]["walker_share"] == pytest.approx(0.0015, abs=2e-5)
    assert body["lighthouse"]["nearest_s"] == 240.0 and 120.0 in body["lighthouse"]["multiples_s"]
    assert cli.main(["look", "--shift", "96", "--between", "20", *lens, "--open", "4:00", "--period", "15"]) == 0
    said = capsys.readouterr().out
    assert "star trails" in said and "whole flashes" in said and "--want streak:0.15 --cloud 4.8/6000" in said


def test_water_by_the_waves(capsys: Capture) -> None:
    waves = answer(capsys, "look", "--waves", "8")["waves"]
    assert [one["name"] for one in waves] == ["wash", "foam-streaks", "soft-water", "mist"]
    assert (waves[2]["shortest_s"], waves[2]["longest_s"]) == (8.0, 16.0)
    assert cli.main(["look", "--waves", "8"]) == 0
    assert "8 s to 16.0 s" in capsys.readouterr().out


def test_depth_for_a_print(capsys: Capture, tmp_path: Path) -> None:
    body = answer(capsys, "depth", "--focal", "24", "--aperture", "=8", "--blur", "0.03", "--focus", "2")
    assert (body["hyperfocal_m"], body["near_m"], body["far_m"]) == pytest.approx((2.424, 1.097, 11.321), abs=6e-4)
    assert body["airy_um"] == pytest.approx(10.74, abs=0.01)
    target = tmp_path / "depth.png"
    words = ("--near", "1.5", "--print-width", "600", "--picture", str(target))
    fits = answer(capsys, "depth", "--focal", "16", *words)
    assert fits["apertures"]["marks"] == ["f/8"] and fits["far_m"] is None and fits["reason"]
    assert target.stat().st_size > 5000
    never = answer(capsys, "depth", "--focal", "50", "--near", "1", "--print-width", "600")["apertures"]
    assert never["widest"] is None and "stack" in never["reason"]
    assert cli.main(["depth", "--focal", "16", "--near", "1.5", "--print-width", "600"]) == 0
    assert "infinity" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("look", "--shift", "96"), "--between"),
        (("look", "--shift", "0", "--between", "20"), "--shift"),
        (("look", "--shift", "nan", "--between", "20"), "--shift"),
        (("look", "--shift", "6001", "--between", "20"), "--shift"),
        (("look", "--shift", "96", "--between", "20", "--frame-px", "-5"), "--frame-px"),
        (("look", "--shift", "96", "--between", "20", "--frame-px", "0"), "--frame-px"),
        (("look", "--shift", "9", "--wind", "9", "--between", "20"), "--shift"),
        (("look", "--wind", "9"), "--focal"),
        (("look", "--wind", "0", "--focal", "24", "--pixel", "4.36"), "--wind"),
        (("look", "--wind", "1e-9", "--focal", "24", "--pixel", "4.36"), "--wind"),
        (("look", "--focal", "24"), "--pixel"),
        (("look", "--open", "soon"), "--open"),
        (("look", "--waves", "0"), "--waves"),
        (("depth", "--focal", "0"), "--focal"),
        (("depth", "--focal", "24", "--focus", "0.01"), "--focus"),
        (("depth", "--focal", "24", "--aperture", "=1e-300"), "--aperture"),
        (("depth", "--focal", "24", "--blur", "0.03", "--print-width", "600"), "--blur"),
        (("depth", "--focal", "24", "--picture", "x.doc"), "--picture"),
    ],
)
def test_bad_input(capsys: Capture, words: tuple[str, ...], field: str) -> None:
    assert answer(capsys, *words, status=2)["error"]["field"] == field
