"""A large JPEG at half size, as a scout is judged: inside the limits that whole ones are held to."""

from functools import cache
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
from bundled import Light, bundled, image_of, light_of, moved
from PIL import Image

from duskhold.frames import picture_file
from duskhold.frames.comparison import Measures, measure
from duskhold.frames.motion import Motion
from duskhold.frames.picture import Picture
from duskhold.frames.picture_file import read_picture_soon

WIDTH = 2048


@pytest.fixture(autouse=True)
def _large_from_two_million_pixels(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(picture_file, "REDUCED_FROM_PIXELS", 2_000_000)


@cache
def scene() -> Light:
    return light_of(bundled("coffee", WIDTH)) * np.float32(0.7)


def through_a_file(light: Light, path: Path, seed: int) -> Picture:
    Image.fromarray(image_of(light, 1.5, seed)).save(path, quality=92)
    picture = read_picture_soon(path)
    assert picture.detail_px == 2
    return picture


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("large") / "base.jpg"
    Image.fromarray(image_of(scene(), 1.5, 1)).save(path, quality=92)
    return path


def compared(base: Path, second: Light, folder: Path) -> Measures:
    return measure(read_picture_soon(base), through_a_file(second, folder / "b.jpg", 2))


@pytest.mark.parametrize("motion", [Motion(3.2, -1.7), Motion(-22, 9, 0.6, 1.004)], ids=str)
def test_motion_and_level(base: Path, tmp_path: Path, motion: Motion) -> None:
    measures = compared(base, moved(scene() * np.float32(2**-0.3), motion), tmp_path)
    found = measures.motion
    assert found is not None
    assert found.shift_x_px == pytest.approx(motion.shift_x_px, abs=0.1)
    assert found.shift_y_px == pytest.approx(motion.shift_y_px, abs=0.1)
    assert found.rotation_deg == pytest.approx(motion.rotation_deg, abs=0.01)
    assert found.scale == pytest.approx(motion.scale, abs=0.0002)
    assert measures.level_error_stops == pytest.approx(-0.3, abs=0.02)


def test_sharpness_falls_with_blur(base: Path, tmp_path: Path) -> None:
    ratios = [
        compared(base, np.asarray(cv2.GaussianBlur(scene(), (0, 0), sigma)), tmp_path).sharpness_ratio
        for sigma in (0.5, 2.0, 4.0)
    ]
    known = [ratio for ratio in ratios if ratio is not None]
    assert len(known) == 3
    assert known[0] > 0.9
    assert all(later < earlier for earlier, later in pairwise(known))
    assert known[-1] < 0.4
