"""Close minus open latency, learnt from levels alone (the body rounds its Exif to a second), and then allowed for.

Real time: what is learnt is a latency of real calls.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from rig import Rig

from duskhold.frames.measure import measure_level

OPEN_S = 0.8


@pytest.mark.parametrize("frames", [6, pytest.param(20, marks=pytest.mark.slow)])
@pytest.mark.parametrize("bench", [("--filters", "none", "--base", "1.5", "--set", "shutter=1/8")], indirect=True)
def test_frames_are_open_as_long_as_planned_once_the_body_is_learnt(bench: Rig, frames: int) -> None:
    status, lesson = bench.run("body", "bench", "--frames", "6", "--dial", "0.5", within_s=90.0)
    assert status == 0, lesson
    # The body's own truth: it closes 35 ms after the call and opens 60 ms after it, each with 2 ms of jitter.
    assert lesson["latency_s"] == pytest.approx(-0.025, abs=0.01)
    assert 0.0 < lesson["latency_sigma_s"] < 0.01
    habits = lesson["habits"]
    assert [one["exif_s"] for one in habits["told"]] == pytest.approx([2.0, 5.0], abs=0.05)
    assert habits["files"] == 2
    assert habits["dark_frame_share"] < 0.1
    assert habits["bytes_per_s"] > 0
    assert bench.body.lines("set")[-1].detail == {"name": "shutter", "value": "1/8"}, "put back as found"
    dial = next((bench.folder / "data" / "frames").rglob("*-base-*.DNG"))
    before = len(bench.openings())
    levels = []
    for _ in range(frames):
        status, record = bench.run("expose", "--for", str(OPEN_S))
        assert status == 0
        levels.append(measure_level(Path(next(f["path"] for f in record["files"] if f["path"].endswith("DNG")))).green)
    opened = bench.openings()[before:]
    assert len(opened) == frames
    errors_s = [(closed_s or math.inf) - opened_s - OPEN_S for opened_s, closed_s in opened]
    print(f"worst {max(map(abs, errors_s)) * 1000:.1f} ms of {frames}")
    assert max(map(abs, errors_s)) < 0.030
    predicted = measure_level(dial).green * OPEN_S / 0.5
    assert max(abs(math.log2(level / predicted)) for level in levels) < 0.1
    assert bench.pictures_home()
