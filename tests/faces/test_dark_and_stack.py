"""`dark` and `stack` at the command line: copies that other programs read, refusals by name, frames untouched."""

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import tifffile
from simulated_pairs import BASE_SHOT

from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.faces.cli import main

PROFILE = BodyProfile(width=384, height=256)
LONG = replace(BASE_SHOT, closed_s=240.0, dial_s=None, temperature_c=22.0)
BLACK = (0.0, 0.0, 0.0)


def raw(folder: Path, name: str, shot: Shot, fault: PictureFault | None = None) -> str:
    path = folder / name
    path.write_bytes(Negative(replace(shot, spoiled=fault is not None), PROFILE, fault or PictureFault()).dng())
    return str(path)


def asked(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict[str, Any]]:
    status = main([*words, "--json"])
    body = json.loads(capsys.readouterr().out)
    assert isinstance(body, dict)
    return status, body


def test_a_frame_without_its_darks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    light = raw(tmp_path, "light.DNG", LONG)
    darks = [raw(tmp_path, f"dark{n}.DNG", replace(LONG, exposure_rgb=BLACK, number=n)) for n in (2, 3)]
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    words = ("dark", light, *darks, "--temperature", "22")
    status, body = asked(capsys, *words)
    assert (status, body["path"]) == (0, str(tmp_path / "derived" / "light-cleaned.tif"))
    assert body["noise_in_black_factor"] == pytest.approx(1.225, abs=5e-4)  # the root of 1 + 1/2
    assert tifffile.imread(body["path"]).shape == (256, 384, 3)
    for program in (("exiftool", "-json"), ("exiv2", "-pa")):
        assert shutil.which(program[0]), "apt install libimage-exiftool-perl exiv2"
        read = subprocess.run([*program, body["path"]], capture_output=True, text=True, check=True)
        assert "dark subtracted" in read.stdout
    assert {path: path.read_bytes() for path in before} == before
    # Again: the copy that is there stays.
    assert asked(capsys, *words)[1]["error"]["code"] == "exists"
    (tmp_path / "derived" / "light-cleaned.tif").unlink()
    assert main(["dark", light, darks[0], "--temperature", "22"]) == 0
    assert "A copy with one dark taken off (in black 41 % noisier" in capsys.readouterr().out


def test_darks_that_do_not_match_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    light = raw(tmp_path, "light.DNG", LONG)
    dark = raw(tmp_path, "dark.DNG", replace(LONG, exposure_rgb=BLACK, number=2))
    short = raw(tmp_path, "short.DNG", replace(LONG, exposure_rgb=BLACK, number=3, closed_s=120.0))
    for words, said in (
        ((dark,), "temperature is not known"),
        ((dark, "--temperature", "22", "--dark-temperature", "27"), "warmer"),
        ((dark, short, "--temperature", "22"), "short.DNG is no dark for light.DNG: the dark is 120 s long"),
    ):
        status, body = asked(capsys, "dark", light, *words)
        assert (status, body["error"]["code"]) == (3, "dark_unsuited")
        assert said in body["error"]["message"]
    assert not (tmp_path / "derived").exists()


def test_a_stack_says_what_it_left_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frames = [raw(tmp_path, f"f{n}.DNG", replace(BASE_SHOT, number=n)) for n in (1, 2)]
    cut = tmp_path / "cut.DNG"
    cut.write_bytes((tmp_path / "f1.DNG").read_bytes()[:4000])
    status, body = asked(capsys, "stack", *frames, str(cut), "--out", str(tmp_path / "mean.tif"))
    assert (status, body["used"], [each["file"] for each in body["left_out"]]) == (0, ["f1.DNG", "f2.DNG"], ["cut.DNG"])
    assert tifffile.imread(body["path"]).shape == (256, 384, 3)
    status, body = asked(capsys, "stack", frames[0])
    assert (status, body["error"]["field"]) == (2, "FRAME")
    status, body = asked(capsys, "stack", frames[0], str(tmp_path / "none.DNG"))
    assert (status, body["error"]["code"]) == (2, "picture_missing")
