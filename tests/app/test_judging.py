"""Verdicts on files, as `duskhold one` and the evening machine ask for them: which act follows, and from what words.

Pictures come with scikit-image; the measuring process is the real one.
"""

import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from bundled import Light, bundled, image_of, light_of, moved

from duskhold.app.judging import ACTS, DEW_ENDS_AT, Judge, Standards, act_of, judge, light_in_frame
from duskhold.frames.motion import Motion
from duskhold.frames.standards import FrameLimits, Rig
from duskhold.frames.verdict import CODES, Finding
from duskhold.light.reading import Reading
from duskhold.plan.evening_words import Act

BASE_UTC = datetime(2026, 10, 14, 17, 14, tzinfo=UTC)


def save(folder: Path, name: str, light: Light, seed: int) -> Path:
    path = folder / f"{name}.png"
    assert cv2.imwrite(str(path), np.ascontiguousarray(image_of(light, 1.5, seed)[..., ::-1]))
    return path


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("frames")
    scene = light_of(bundled("coffee")) * np.float32(0.6)
    blurred = np.asarray(cv2.GaussianBlur(scene, (0, 0), 1.0), dtype=np.float32)
    lights = {
        "burnt": scene * 40,
        "base": scene,
        "good": scene * 0.95,
        "moved": moved(scene, Motion(3.2, 0)),
        "bumped": blurred,
    }
    lights |= {"bare": scene * 1.6, "capped": scene * 0.0005, "dim": scene * 0.5}
    return {name: save(folder, name, light, seed) for seed, (name, light) in enumerate(lights.items())}


@pytest.fixture(scope="module")
def watching() -> Iterator[Judge]:
    with Judge(Standards(rig=Rig(24.0, 4.36, 0.9))) as judging:
        yield judging


def test_every_code_has_an_act() -> None:
    assert ACTS.keys() == CODES.keys()


def test_the_sands_a_sunk_leg_is_told_after_the_long_frame(watching: Judge, files: dict[str, Path]) -> None:
    # Merrow Sands (a): 3.2 px of 4.36 um at 24 mm over 0.9 m is 0.52 mm (small-angle geometry).
    verdict = watching.judge(files["base"], files["moved"])
    assert verdict.line == "moved 3.2 px: a leg has sunk about half a millimetre; push the feet in, take it again"
    assert (verdict.good, verdict.act) == (False, Act.RETAKE)
    assert verdict.crops_jpeg is not None and verdict.crops_jpeg.startswith(b"\xff\xd8")
    crops = cv2.imdecode(np.frombuffer(verdict.crops_jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert crops is not None and crops.shape == (244, 368, 3)


def test_the_sands_a_bumped_ring_is_found_on_the_scout(watching: Judge, files: dict[str, Path]) -> None:
    verdict = watching.judge_scout(files["base"], files["bumped"], 0.0)
    assert [finding.code for finding in verdict.findings] == ["soft"]
    assert "not the tripod" in verdict.line
    assert verdict.act is Act.ASK
    assert verdict.crops_jpeg is not None


@pytest.mark.parametrize(
    ("name", "expected_stops", "codes", "act"),
    [
        ("good", 0.0, [], Act.KEEP),
        ("bare", 0.0, ["filter"], Act.ASK),
        ("bare", float(np.log2(1.6)), [], Act.KEEP),
        ("bare", None, [], Act.KEEP),
        ("burnt", 0.0, ["filter", "clipped"], Act.ASK),
        ("capped", 0.0, ["cap_on"], Act.ASK),
    ],
)
def test_scouts(
    watching: Judge, files: dict[str, Path], name: str, expected_stops: float | None, codes: list[str], act: Act
) -> None:
    verdict = watching.judge_scout(files["base"], files[name], expected_stops)
    assert ([finding.code for finding in verdict.findings], verdict.act) == (codes, act)
    assert verdict.good is (not codes)


def test_the_level_that_was_wanted(watching: Judge, files: dict[str, Path]) -> None:
    dim = watching.judge(files["base"], files["dim"])
    assert ([finding.code for finding in dim.findings], dim.act) == (["level"], Act.CORRECT)
    assert dim.level_error_stops == pytest.approx(-1.0, abs=0.02)
    wanted = watching.judge(files["base"], files["dim"], expected_stops=-1.0)
    assert wanted.good is True
    assert wanted.level_error_stops == pytest.approx(0.0, abs=0.02)


def test_both_at_once(files: dict[str, Path]) -> None:
    verdict = judge(files["base"], files["good"], files["bumped"], standards=Standards(FrameLimits(level_stops=0.02)))
    assert [finding.code for finding in verdict.findings] == ["level"]
    assert [finding["code"] for finding in verdict.measured["scout"]["verdict"]] == ["soft"]


def test_what_cannot_be_measured_is_asked_about(watching: Judge, files: dict[str, Path], tmp_path: Path) -> None:
    (tmp_path / "cut.jpg").write_bytes(b"\xff\xd8\xff\xe0\0\x10")
    verdict = watching.judge(files["base"], tmp_path / "cut.jpg")
    assert (verdict.good, verdict.act, verdict.findings) == (None, Act.ASK, ())
    assert verdict.trouble is not None and "cut.jpg ends" in verdict.trouble
    assert verdict.body()["reason"] == verdict.trouble


def test_the_base_frame_is_read_ahead_and_once(watching: Judge, files: dict[str, Path], tmp_path: Path) -> None:
    base = tmp_path / "base.png"
    base.write_bytes(files["base"].read_bytes())
    watching.look_ahead(base)
    watching.look_ahead(base)
    assert watching.judge(base, files["good"]).good is True
    # Another picture under the same name is another base frame.
    base.unlink()
    base.write_bytes(files["bare"].read_bytes())
    assert watching.judge(base, files["good"]).level_error_stops == pytest.approx(np.log2(0.95 / 1.6), abs=0.05)


def test_a_measuring_process_that_was_ended_is_followed_by_another(files: dict[str, Path]) -> None:
    with Judge() as judging:
        judging.look_ahead(files["base"])
        process = judging._worker._process
        assert process is not None
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        assert judging.judge(files["base"], files["good"]).good is True
        process = judging._worker._process
        assert process is not None and process.poll() is None
    assert process.poll() is not None


def test_the_strongest_act_counts() -> None:
    level, cast, shift = (Finding(code, "", 1.0, 0.5) for code in ("level", "cast", "moved"))
    assert act_of([cast]) is Act.KEEP
    assert act_of([level, cast]) is Act.CORRECT
    assert act_of([level, shift, cast]) is Act.RETAKE
    assert act_of([Finding("dew", "", DEW_ENDS_AT + 0.05, 0.9), level]) is Act.ASK
    assert act_of([Finding("dew", "", DEW_ENDS_AT - 0.05, 0.9)]) is Act.STOP


def test_a_long_frame_tells_of_the_light(watching: Judge, files: dict[str, Path]) -> None:
    # 1/4 s at the base frame, 240 s through 10 stops: 2^-0.1 of its light; half the level is then 0.9 stop less light.
    base = Reading(BASE_UTC, 5.0, 0.01, "base", 0.25)
    verdict = watching.judge(files["base"], files["dim"])
    exposure_stops = float(np.log2(240 / 0.25)) - 10
    found = light_in_frame(base, verdict, exposure_stops, BASE_UTC, 240.0)
    assert found is not None
    assert found.level_stops == pytest.approx(5.0 - 1.0 - exposure_stops, abs=0.02)
    assert (found.taken_utc - BASE_UTC).total_seconds() == 120.0
    assert (found.span_s, found.at_least, found.source) == (240.0, False, "long")
    assert light_in_frame(base, replace(verdict, measured={}), 0.0, BASE_UTC, 240.0) is None


def test_the_readme_has_every_code_and_what_follows() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    said = {Act.KEEP: "keep", Act.CORRECT: "correct", Act.RETAKE: "the same frame again", Act.ASK: "ask"}
    for code, means in CODES.items():
        assert f"| `{code}` | {means} | {said[ACTS[code]]}" in readme
