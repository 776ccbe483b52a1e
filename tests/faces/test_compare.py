"""`compare`: the fields of its JSON, what each kind of bad file gets, and what people read."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from duskhold.faces.cli import main

FIELDS = {
    "level_error_stops",
    "clipped_share",
    "sharpness_ratio",
    "shift_px",
    "rotation_deg",
    "scale",
    "leak_worst_share",
    "spots",
    "moved_during",
    "verdict",
    "good",
}


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    """A scene of blocks of our own, and the same moved by 4 px to the right and 3 down."""

    rng = np.random.default_rng(1)
    scene = np.repeat(np.repeat(rng.integers(60, 190, (60, 80, 3)), 8, 0), 8, 1).astype(np.uint8)
    base, long = tmp_path / "base.png", tmp_path / "long.png"
    Image.fromarray(scene[20:420, 20:580]).save(base)
    Image.fromarray(scene[17:417, 16:576]).save(long)
    return base, long


def asked(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict[str, Any]]:
    status = main(["compare", *words, "--json"])
    body = json.loads(capsys.readouterr().out)
    assert isinstance(body, dict)
    return status, body


def test_a_moved_frame_with_a_scout(pair: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    base, long = (str(each) for each in pair)
    rig = ("--lens-mm", "24", "--pixel-um", "4.36", "--leg-spread-m", "0.9")
    status, body = asked(capsys, base, long, "--scout", base, *rig)
    assert status == 0
    assert body.keys() >= FIELDS
    assert body["shift_px"] == pytest.approx([4, 3], abs=0.1)
    assert body["rotation_deg"] == pytest.approx(0, abs=0.01)
    assert body["scale"] == pytest.approx(1, abs=0.0002)
    assert (body["good"], body["moved_during"]) == (False, False)
    assert set(body["clipped_share"]) == {"r", "g", "b"}
    finding = body["verdict"][0]
    assert finding.keys() == {"code", "text", "value", "limit"}
    assert (finding["code"], finding["limit"]) == ("moved", 1.0)
    assert "a leg has sunk" in finding["text"]
    assert body["scout"]["good"] is True


def test_limits_and_rig_of_the_settings(
    pair: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = tmp_path / "settings.yaml"
    settings.write_text("verdict: {corner_px: 6}\nrig: {pixel_um: 4.36, leg_spread_m: 0.9, lens_mm: 24}\n")
    assert asked(capsys, *map(str, pair), "--settings", str(settings))[1]["good"] is True
    settings.write_text("rig: {pixel_um: 4.36, leg_spread_m: 0.9, lens_mm: 24}\n")
    text = asked(capsys, *map(str, pair), "--settings", str(settings))[1]["verdict"][0]["text"]
    assert text.startswith("moved 5.0 px: a leg has sunk about 0.8 mm")


def test_the_same_file_twice_is_good(pair: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    status, body = asked(capsys, str(pair[0]), str(pair[0]))
    assert (status, body["good"], body["verdict"], body["reason"]) == (0, True, [], None)
    assert body["level_error_stops"] == pytest.approx(0, abs=1e-6)


def test_what_people_read(pair: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", str(pair[0]), str(pair[1])]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Moved 5.0 px: the tripod was knocked or has sunk; push the feet in, take it again.")
    assert "sharpness" in said


@pytest.mark.parametrize(
    ("content", "code", "status"),
    [
        (b"", "picture_empty", 4),
        (b"not a picture, only some text of no use\n" * 9, "picture_foreign", 2),
        (b"\xff\xd8\xff\xe0\0\x10", "picture_truncated", 4),
    ],
)
def test_bad_files_are_said_and_left_alone(
    pair: tuple[Path, Path], capsys: pytest.CaptureFixture[str], content: bytes, code: str, status: int
) -> None:
    bad = pair[0].with_name("bad.jpg")
    bad.write_bytes(content)
    left, body = asked(capsys, str(pair[0]), str(bad))
    assert (left, body["error"]["code"]) == (status, code)
    assert "bad.jpg" in body["error"]["message"]
    assert bad.read_bytes() == content


def test_other_mistakes(pair: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    base, long = (str(each) for each in pair)
    small = pair[0].with_name("small.png")
    Image.open(base).crop((0, 0, 200, 200)).save(small)
    for words, code, field in (
        ((base, "none.jpg"), "picture_missing", "LONG"),
        ((base, str(small)), "not_comparable", None),
        ((base, long, "--area", "0,0,2,1"), "bad_input", "--area"),
        ((base, long, "--lens-mm", "24"), "bad_input", "--pixel-um"),
        ((base, long, "--expected-stops", "nan"), "bad_input", "--expected-stops"),
    ):
        status, body = asked(capsys, *words)
        assert (status, body["error"]["code"], body["error"]["field"]) == (2, code, field)


def test_the_level_over_a_map_is_that_of_its_white_part(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(2)
    scene = np.repeat(np.repeat(rng.integers(60, 190, (40, 60, 3)), 8, 0), 8, 1).astype(np.uint8)
    darker = scene.copy()
    darker[160:] = darker[160:] * 0.8
    lower = np.zeros(scene.shape[:2], np.uint8)
    lower[160:] = 255
    for name, numbers in (("base", scene), ("long", darker), ("map", lower), ("none", lower * 0)):
        Image.fromarray(numbers).save(tmp_path / f"{name}.png")
    base, long = str(tmp_path / "base.png"), str(tmp_path / "long.png")
    by_map = asked(capsys, base, long, "--area", str(tmp_path / "map.png"))[1]["level_error_stops"]
    by_rectangle = asked(capsys, base, long, "--area", "0,0.5,1,1")[1]["level_error_stops"]
    assert by_rectangle < -0.6
    assert by_map == pytest.approx(by_rectangle, abs=0.01)
    status, body = asked(capsys, base, long, "--area", str(tmp_path / "none.png"))
    assert (status, body["error"]["field"]) == (2, "--area")
