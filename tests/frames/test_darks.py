"""Darks and stacks of the simulated sensor: matched, subtracted, averaged; originals as they were."""

import json
import math
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import rawpy
import tifffile
from numpy.typing import NDArray
from simulated_pairs import BASE_SHOT

from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.frames.darks import (
    Conditions,
    DarkUnsuited,
    average_darks,
    mismatch,
    price_darks,
    subtract_dark,
)
from duskhold.frames.stacks import StackUnmade, stack_frames

PROFILE = BodyProfile(width=768, height=512)
WARM = Conditions(240.0, 100.0, 22.0)
LONG = replace(BASE_SHOT, closed_s=240.0, temperature_c=22.0, number=2)


def raw(folder: Path, name: str, shot: Shot, fault: PictureFault | None = None) -> Path:
    path = folder / name
    path.write_bytes(Negative(replace(shot, spoiled=fault is not None), PROFILE, fault or PictureFault()).dng())
    return path


def dark(folder: Path, number: int, light: float = 0.0) -> Path:
    return raw(folder, f"dark-{number}.DNG", replace(LONG, exposure_rgb=(light, light, light), number=number))


def story(path: Path) -> dict[str, object]:
    with tifffile.TiffFile(path) as file:
        page = file.pages[0].aspage()
        assert page.dtype == np.uint16
        told = json.loads(page.description)
    assert isinstance(told, dict)
    return told


@pytest.mark.parametrize(
    ("dark_of", "said"),
    [
        (Conditions(250.0, 100.0, 20.5), None),
        (Conditions(260.0, 100.0, 22.0), "5 %"),
        (Conditions(240.0, 200.0, 22.0), "ISO 200"),
        (Conditions(240.0, 100.0, 25.0), "1.38 times"),  # 2^(3/6.5), story of the winter causeway
        (Conditions(240.0, 100.0, None), "not known"),
    ],
)
def test_what_a_dark_is_for(dark_of: Conditions, said: str | None) -> None:
    reason = mismatch(dark_of, WARM)
    assert (reason is None) if said is None else (reason is not None and said in reason)


def test_subtracting_takes_hot_pixels_off_and_leaves_the_frame(tmp_path: Path) -> None:
    light = raw(tmp_path, "light.DNG", LONG)
    before = sha256(light.read_bytes()).hexdigest()
    master = average_darks([dark(tmp_path, number) for number in (11, 12, 13, 14)], WARM)
    copy = subtract_dark(light, WARM, master, tmp_path / "out" / "light-cleaned.tif")
    assert sha256(light.read_bytes()).hexdigest() == before
    assert story(copy)["what"] == "dark subtracted"
    assert story(copy)["made_from"] == ["light.DNG"]
    with rawpy.imread(str(light)) as opened:
        plain = opened.postprocess(output_bps=16, use_camera_wb=True, no_auto_bright=True, gamma=(2.4, 12.92))
    cleaned = tifffile.imread(copy)
    assert cleaned.shape == plain.shape

    def hot(image: NDArray[Any]) -> int:
        sky = np.ascontiguousarray(image[20:180, :, 1])
        return int((sky.astype(int) - cv2.medianBlur(sky, 5) > 1200).sum())

    assert hot(plain) >= 6
    assert hot(cleaned) < 0.3 * hot(plain)
    # The dark signal of four warm minutes is gone too.
    assert 0.9 * plain.mean() < cleaned.mean() < plain.mean()
    with pytest.raises(FileExistsError):
        subtract_dark(light, WARM, master, copy)


def test_an_unsuited_dark_is_refused(tmp_path: Path) -> None:
    light = raw(tmp_path, "light.DNG", LONG)
    master = average_darks([dark(tmp_path, 11)], replace(WARM, temperature_c=27.0))
    with pytest.raises(DarkUnsuited, match="warmer"):
        subtract_dark(light, WARM, master, tmp_path / "no.tif")
    assert not (tmp_path / "no.tif").exists()
    with pytest.raises(DarkUnsuited, match="has an image in it"):
        average_darks([dark(tmp_path, 12, light=0.05)], WARM)


def test_what_darks_cost() -> None:
    # Loch Varrin: window 2255 s, 240 s frames, 12 s storing, 20 s looking: 4 frames with, 8 without (own arithmetic).
    price = price_darks(2255.0, 240.0, 32.0, 12.0, 2)
    assert (price.frames_in_camera, price.frames_without) == (4, 8)
    assert price.darks_end_s == pytest.approx(7 * 272 + 240 + 12 + 2 * 252)


def test_a_stack_averages_and_leaves_the_knocked_frame_out(tmp_path: Path) -> None:
    frames = [raw(tmp_path, f"f{number}.DNG", replace(BASE_SHOT, number=number)) for number in range(1, 7)]
    frames.append(raw(tmp_path, "dim.DNG", replace(BASE_SHOT, number=8, exposure_rgb=(0.8, 0.8, 0.8))))
    frames.append(raw(tmp_path, "knocked.DNG", replace(BASE_SHOT, number=9), PictureFault(shift_x=4 / 768)))
    cut = tmp_path / "cut.DNG"
    cut.write_bytes(frames[0].read_bytes()[:5000])
    before = {path: path.read_bytes() for path in [*frames, cut]}
    again = tmp_path / "again.DNG"
    again.write_bytes(frames[1].read_bytes())
    stack = stack_frames([*frames, cut, again, frames[0]], tmp_path / "mean.tif")
    assert stack.used == ("f1.DNG", "f2.DNG", "f3.DNG", "f4.DNG", "f5.DNG", "f6.DNG", "dim.DNG")
    assert stack.scaled == ("dim.DNG",)
    assert [name for name, _ in stack.left_out] == ["knocked.DNG", "cut.DNG", "again.DNG", "f1.DNG"]
    assert [reason for _, reason in stack.left_out[2:]] == ["the same picture as f2.DNG", "the same picture as f1.DNG"]
    assert "shifted by 4.0 px" in stack.left_out[0][1]
    assert stack.noise_factor == pytest.approx(math.sqrt(7))
    assert story(stack.path)["made_from"] == list(stack.used)
    assert {path: path.read_bytes() for path in before} == before
    with rawpy.imread(str(frames[0])) as opened:
        single = opened.postprocess(output_bps=16, use_camera_wb=True, no_auto_bright=True, gamma=(2.4, 12.92))
    mean = tifffile.imread(stack.path)
    sky = (slice(20, 60), slice(100, 300), 1)
    rough = [float(np.diff(each[sky].astype(float), axis=1).std()) for each in (single, mean)]
    assert rough[1] < 0.6 * rough[0]
    assert mean.mean() == pytest.approx(single.mean(), rel=0.02)


def test_nothing_to_stack(tmp_path: Path) -> None:
    first = raw(tmp_path, "a.DNG", BASE_SHOT)
    moved = raw(tmp_path, "b.DNG", BASE_SHOT, PictureFault(shift_x=9 / 768))
    with pytest.raises(StackUnmade, match=r"Only a\.DNG is left of 2 frames \(b\.DNG: knocked"):
        stack_frames([first, moved], tmp_path / "mean.tif")
    assert not (tmp_path / "mean.tif").exists()
