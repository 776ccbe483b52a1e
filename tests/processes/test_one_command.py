"""`duskhold one` on the served body and on the simulated camera: the real command, processes and camera library.

Real time. The light fades by 3 stop/min, ten times a fast dusk, so that seconds tell what minutes do outdoors; the
tolerance is that of a dusk by the sea: the long frame within 0.1 stop of the newest base frame.
"""

from __future__ import annotations

import json
import math
import time
from pathlib import Path
from typing import Any

import pytest
from rig import Rig

from duskhold.camera.serving import BodyLine
from duskhold.frames.measure import measure_level

FADING = ("--filters", "none", "--rate", "-3")
NAME = "--filters"


def one(bench: Rig, *words: str, settings: str = "") -> tuple[str, ...]:
    path = bench.folder / "settings.yaml"
    path.write_text(settings or "limits: {disk_reserve_mb: 50}\n", encoding="utf-8")
    camera = () if "--camera" in words else ("--camera", bench.body.address)
    return ("one", *words, *camera, "--settings", str(path))


def green(files: list[dict[str, Any]]) -> float:
    return measure_level(Path(next(file["path"] for file in files if file["path"].endswith("DNG")))).green


def closed(bench: Rig, count: int) -> list[BodyLine]:
    return bench.body.wait_for("closed", count, 20.0)


@pytest.mark.parametrize("bench", [FADING], indirect=True)
def test_two_base_frames_measure_the_drift_and_the_long_frame_has_their_level(bench: Rig) -> None:
    words = one(bench, NAME, "5.3", "--base", "1/15", "--bases", "2", "--between", "8", "--wait", "4", "--go-on")
    process = bench.start(*words)
    closed(bench, 2)
    bench.body.order("fit", filters="5.3")
    status, record = bench.finish(process, 60.0)
    assert status == 0, record
    bases, light = record["decision"]["base_frames"], record["decision"]["light"]
    assert len(bases) == 2
    assert light["measured_stops_per_min"] == pytest.approx(-3.0, abs=0.45)
    assert light["model_stops_per_min"] is None
    assert light["choice"] == "measured"
    assert light["reason"]
    # The delay counts from the newest base frame's own moment, and the time is that of the real opening.
    (_, _), (based_s, _), (opened_s, closed_s) = bench.openings()
    assert closed_s is not None
    assert record["decision"]["delay_s"] == pytest.approx(opened_s - based_s, abs=0.3)
    fades = -3.0 / 60.0 * math.log(2.0)
    wanted_s = 0.0625 * 2**5.3
    true_s = math.log1p(fades * wanted_s * math.exp(-fades * (opened_s - based_s))) / fades
    assert closed_s - opened_s == pytest.approx(true_s, rel=0.05)
    assert record["timing"] == "held"
    newest = measure_level(Path(bases[-1]["path"])).green
    off_stops = math.log2(green(record["files"]) / newest)
    assert off_stops == pytest.approx(0.0, abs=0.1)
    assert record["level"]["stops"] == pytest.approx(off_stops, abs=0.03)
    assert record["filter_check"]["seen_stops"] == pytest.approx(5.3, abs=0.2)
    assert record["filter_check"]["question"] is None
    assert record["decision"]["budget"]["total"] > 0.0
    assert [one["name"] for one in record["decision"]["alternatives"]] == [
        "plain time, no drift", "half a stop by habit"
    ]  # fmt: skip
    assert bench.pictures_home()


@pytest.mark.parametrize("bench", [("--filters", "none", "--base", "1")], indirect=True)
def test_the_dial_stands_at_the_base_frames_time_again_so_that_the_next_one_needs_nothing_typed(bench: Rig) -> None:
    first = one(bench, NAME, "none", "--base", "1", "--go-on")
    status, record = bench.run(*first, within_s=60.0)
    assert status == 0, record
    assert record["decision"]["light"]["choice"] == "steady"
    assert "light is taken for steady" in record["decision"]["light"]["reason"]
    status, again = bench.run(*one(bench, NAME, "none", "--go-on", "--readings", "auto"), within_s=60.0)
    assert status == 0, again
    # The frames of the first time tell the rate, the long one too; some seconds apart they tell it roughly.
    assert again["decision"]["light"]["choice"] == "measured", again["decision"]["light"]["reason"]
    assert again["decision"]["trend"]["readings_used"] == 3
    assert again["decision"]["light"]["measured_stops_per_min"] == pytest.approx(0.0, abs=0.6)
    assert again["decision"]["base_frames"][0]["open_s"] == 1.0
    status, frames = bench.run("frames")
    assert status == 0
    assert sorted(frame["role"] for frame in frames["frames"]) == ["base", "base", "long", "long"]


@pytest.mark.parametrize("bench", [FADING], indirect=True)
def test_what_the_light_never_finishes_is_not_opened_and_the_record_has_the_ways_out(bench: Rig) -> None:
    # 3 stop/min gathers at most 60 / (3 ln 2) = 28.9 s of the light at opening (closed form); 64 s are asked.
    words = one(
        bench, NAME, "strong", "--base", "1/15", "--bases", "2", "--between", "6", "--fitted", "--go-on",
        "--scout", "never",
        settings="filters: [{name: strong, label: 10}, {name: light, label: 3}]\n",
    )  # fmt: skip
    status, record = bench.run(*words, within_s=60.0)
    assert status == 3
    assert record["outcome"] == "refused"
    assert record["open_s"] == 0
    assert record["level"] is None
    assert len(bench.openings()) == 2
    decision = record["decision"]
    assert decision["shortfall_stops"] > 0
    assert [way["setting"] for way in decision["ways_out"] if way["kind"] == "filter"]
    assert {"aperture", "iso", "accept"} <= {way["kind"] for way in decision["ways_out"]}
    assert len(decision["base_frames"]) == 2


def test_a_dial_at_bulb_is_no_base_frame_and_is_said(bench: Rig) -> None:
    status, answer = bench.run(*one(bench, NAME, "none", "--go-on"))
    assert status == 4
    assert answer["error"]["field"] == "--base"
    assert bench.openings() == []


@pytest.mark.parametrize("bench", [("--filters", "none")], indirect=True)
def test_a_filter_that_was_never_fitted_is_found_on_the_scout_and_no_long_frame_opened(bench: Rig) -> None:
    words = ("--base", "1/15", "--fitted", "--scout", "always")
    status, answer = bench.run(*one(bench, NAME, "5.3", *words), within_s=60.0)
    assert status == 3
    assert (answer["error"]["code"], answer["error"]["field"]) == ("scout_objects", "--go-on")
    assert "stop brighter than the filter lets through" in answer["error"]["message"]
    assert len(bench.openings()) == 2
    status, frames = bench.run("frames")
    assert status == 0
    roles = {frame["role"]: frame for frame in frames["frames"]}
    assert (roles["long"]["outcome"], roles["long"]["decision"]["scout"]["codes"][0]) == ("refused", "filter")
    assert roles["scout"]["verdict"]["act"] == "ask"
    crops = Path(roles["scout"]["verdict"]["crops"])
    assert crops.read_bytes().startswith(b"\xff\xd8")
    log = (crops.parent / "log.txt").read_text(encoding="utf-8")
    assert "stop brighter than the filter lets through" in log


@pytest.mark.parametrize("bench", [("--set", "focus=single")], indirect=True)
def test_a_bad_item_stops_it_before_anything_is_opened(bench: Rig) -> None:
    status, answer = bench.run(*one(bench, NAME, "none", "--base", "1/15"))
    assert status == 3
    assert answer["error"]["code"] == "not_ready"
    assert "focus" in answer["error"]["message"]
    assert bench.openings() == []
    (refused,) = bench.run("frames")[1]["frames"]
    assert (refused["role"], refused["outcome"]) == ("long", "refused") and "focus" in refused["reason"]


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("--filters", "6"), "--fitted"),
        ((), "--filters"),
        (("--filters", "6", "--wait", "-1"), "--wait"),
        (("--filters", "6", "--fitted", "--bases", "9"), "--bases"),
        (("--filters", "6", "--fitted", "--base", "soon"), "--base"),
    ],
)
def test_what_cannot_be_asked_is_said_before_anything_starts(bench: Rig, words: tuple[str, ...], field: str) -> None:
    status, answer = bench.run(*one(bench, *words))
    assert (status, answer["error"]["field"]) == (2, field)
    assert bench.state() is None


def test_the_simulated_camera_is_bare_for_its_base_frame_and_as_before_afterwards(bench: Rig) -> None:
    words = one(
        bench, "--base", "1/15", "--fitted", "--camera", "simulated", "--scout", "always",
        settings="filters: [{name: strong, label: 5.3}]\nsimulated_camera: {rate_stops_per_min: -0.5}\n"
        "place: {latitude_deg: 57.3, longitude_deg: -5.6}\n",
    )  # fmt: skip
    try:
        status, record = bench.run(*words, within_s=60.0)
        assert status == 0, record
        assert record["decision"]["filters"] == ["strong"]
        light = record["decision"]["light"]
        assert light["choice"] == "model"
        assert light["model_stops_per_min"] is not None
        assert light["measured_stops_per_min"] is None
        assert record["level"]["stops"] == pytest.approx(0.0, abs=0.15)
        _check_verdicts(bench, record)
        (state,) = (bench.folder / "state" / "duskhold" / "cameras").glob("*/simulated-body.jsonl")
        until_s = time.monotonic() + 5.0
        while (stops := _fitted(state)) != [0.0, 5.3, 6.0] and time.monotonic() < until_s:
            bench.run("status")
        assert stops == [0.0, 5.3, 6.0]
    finally:
        _release(bench)


def _check_verdicts(bench: Rig, record: dict[str, Any]) -> None:
    """Scout and long frame are judged against the base frame, and all three written down."""
    verdict, scout = record["verdict"], record["decision"]["scout"]
    base_id = record["decision"]["base_frames"][0]["frame_id"]
    assert (verdict["good"], verdict["act"], verdict["base_frame_id"]) == (True, "keep", base_id)
    assert verdict["level_error_stops"] == pytest.approx(0.0, abs=0.15)
    assert verdict["measured"]["shift_px"] == pytest.approx([0.0, 0.0], abs=0.2)
    # 1/16 s through 5.3 stops is 2.5 s: at the dial 2 s, at the ISO of the base frame.
    assert (scout["good"], scout["open_s"], scout["iso"]) == (True, 2.0, 100.0)
    assert scout["expected_stops"] == pytest.approx(5.0 - 5.3, abs=0.1)
    assert scout["filter_check"]["seen_stops"] == pytest.approx(5.3, abs=0.1)
    folder = Path(record["files"][0]["path"]).parent / "record"
    assert {path.stem for path in folder.glob("*.xmp")} == {base_id, scout["frame_id"], record["frame_id"]}
    log = (folder / "log.txt").read_text(encoding="utf-8").splitlines()[4:]
    assert [line.split()[2] for line in log] == ["base:", "scout:", "long:"]
    assert len((folder / "frames.csv").read_text(encoding="utf-8").splitlines()) == 4


def _fitted(log: Path) -> list[float]:
    lines = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    return [round(line["detail"]["green"], 3) for line in lines if line["word"] == "fitted"]


def _release(bench: Rig) -> None:
    from duskhold.app.folders import folders_for
    from duskhold.shutter.holder_link import HolderLink

    link = HolderLink(folders_for(str(bench.folder / "data"), bench.environment).places("simulated").socket, 0.0)
    link.release()
    link.close()
