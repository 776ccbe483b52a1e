"""`leak` at the command line: frames of the simulated camera, cap on, light let in and not."""

import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.faces.cli import main

PROFILE = BodyProfile(width=384, height=256)
CAPPED = Shot(
    number=1,
    opened_s=0.0,
    closed_s=120.0,
    taken=datetime.fromisoformat("2026-07-01T12:00:00"),
    exposure_rgb=(0.0, 0.0, 0.0),
    f_number=8.0,
    iso=100.0,
    aperture_mark="f/8",
    dial_s=None,
    dark_frame=False,
    temperature_c=10.0,
    seed=5,
    spoiled=False,
)


def raw(folder: Path, name: str, shot: Shot, leak_dn: float = 0.0) -> str:
    negative = Negative(shot, PROFILE, PictureFault())
    added: NDArray[np.uint16] = np.zeros((256, 384), np.uint16)
    added[192:, 128:256] = round(leak_dn)
    negative.__dict__["raw"] = negative.raw + added  # what the sensor made, and the light beside it
    (folder / name).write_bytes(negative.dng())
    return str(folder / name)


def asked(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict[str, Any]]:
    status = main([*words, "--json"])
    body = json.loads(capsys.readouterr().out)
    assert isinstance(body, dict)
    return status, body


def test_finder_open_and_covered(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Worked example: 46 DN in 120 s, 92 DN in 240 s, 3.7 % of 2500.
    dark = raw(tmp_path, "night.DNG", replace(CAPPED, number=2))
    opened = raw(tmp_path, "open.DNG", CAPPED, 46.0)
    covered = raw(tmp_path, "covered.DNG", replace(CAPPED, number=3))
    words = ("leak", opened, covered, "--against", dark, "--longest", "240", "--mid-tone", "2500")
    status, body = asked(capsys, *words)
    assert (status, body["good"], [each["good"] for each in body["frames"]]) == (0, False, [False, True])
    assert body["frames"][0]["longest_dn"] == pytest.approx(92, abs=3)
    assert body["frames"][0]["mid_tone_share"] == pytest.approx(0.037, abs=0.002)
    assert body["frames"][0]["worst_dn_per_min"] == pytest.approx(23, abs=1)
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "FAILS: worst tile 46 DN over the dark in 2:00.0; in a frame of 4:00.0 9" in said
    assert "nearest to the bottom" in said
    assert "passes: worst tile" in said
    assert "nobody looks at the sun through the finder" in said


def test_a_dark_of_another_length_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    dark = raw(tmp_path, "night.DNG", replace(CAPPED, number=2, closed_s=60.0))
    capped = raw(tmp_path, "open.DNG", CAPPED)
    status, body = asked(capsys, "leak", capped, "--against", dark, "--longest", "240")
    assert (status, body["error"]["field"]) == (3, "--against")
    assert "60 s long" in body["error"]["message"]
    status, body = asked(capsys, "leak", capped, "--against", str(tmp_path / "none.DNG"), "--longest", "240")
    assert (status, body["error"]["code"]) == (2, "picture_missing")
