"""Levels of raw files: numbers that were put there by another writer, and the light of the simulated body."""

import math
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray

from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.frames.measure import Area, AreaTooSmall, Level, NoLight, NotRaw, measure_level

TAKEN = datetime.fromisoformat("2026-03-20T19:04:05")
PROFILE = BodyProfile(width=192, height=128)
BLACK, WHITE = 100, 4000
SKY = Area(0.2, 0.05, 0.8, 0.25)


def mosaic(red: int, green: int, blue: int, height: int = 64, width: int = 96) -> NDArray[np.uint16]:
    """Red first, even rows red and green, odd rows green and blue, as levels above `BLACK`."""
    numbers = np.full((height, width), green + BLACK, np.uint16)
    numbers[::2, ::2] = red + BLACK
    numbers[1::2, 1::2] = blue + BLACK
    return numbers


def written(path: Path, numbers: NDArray[np.uint16]) -> Path:
    """A raw file by the tags of the DNG 1.4 specification that a reader needs, without our own writer."""
    tags: list[tuple[int, int, int, object, bool]] = [
        (50706, 1, 4, (1, 4, 0, 0), True),  # DNGVersion
        (50708, 2, 0, "Level test", True),  # UniqueCameraModel
        (33421, 3, 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, 1, 4, (0, 1, 1, 2), True),  # CFAPattern: red green green blue
        (50714, 4, 1, BLACK, True),  # BlackLevel
        (50717, 4, 1, WHITE, True),  # WhiteLevel
        (50721, 10, 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),  # ColorMatrix1
        (50728, 5, 3, (1, 1, 1, 1, 1, 1), True),  # AsShotNeutral
    ]
    tifffile.imwrite(path, numbers, photometric="CFA", metadata=None, extratags=tags)
    return path


def shot(**light: object) -> Negative:
    whole: dict[str, object] = {"exposure_rgb": (1.0, 1.0, 1.0), "opened_s": 0.0, "closed_s": 4.0} | light
    rest = {
        "number": 1,
        "taken": TAKEN,
        "f_number": 8.0,
        "iso": 100.0,
        "aperture_mark": "f/8",
        "dial_s": None,
        "dark_frame": False,
        "temperature_c": 10.0,
        "seed": 3,
        "spoiled": False,
    }
    return Negative(Shot(**(rest | whole)), PROFILE, PictureFault())  # type: ignore[arg-type]


def test_the_mean_above_black_of_each_channel(tmp_path: Path) -> None:
    level = measure_level(written(tmp_path / "flat.dng", mosaic(500, 1000, 250)))
    assert level == Level(500.0, 1000.0, 250.0, 0.0)


def test_only_the_area_counts(tmp_path: Path) -> None:
    numbers = mosaic(500, 1000, 250)
    numbers[:32, :48] = mosaic(50, 100, 25, 32, 48)
    path = written(tmp_path / "corner.dng", numbers)
    assert measure_level(path, Area(0.0, 0.0, 0.5, 0.5)) == Level(50.0, 100.0, 25.0, 0.0)
    assert measure_level(path, Area(0.5, 0.5, 1.0, 1.0)) == Level(500.0, 1000.0, 250.0, 0.0)
    assert measure_level(path).green == pytest.approx(1000 * 0.75 + 100 * 0.25)


def test_clipped_pixels_are_counted(tmp_path: Path) -> None:
    numbers = mosaic(500, 1000, 250)
    numbers[:16] = WHITE
    assert measure_level(written(tmp_path / "bright.dng", numbers)).clipped_share == pytest.approx(0.25)


def test_what_is_under_black_pulls_the_mean_down(tmp_path: Path) -> None:
    """Noise about a dark mean lies on both sides of it: cutting it off at black would brighten the dark."""
    numbers = mosaic(0, 0, 0)
    numbers[:32] -= 40
    numbers[32:] += 40
    assert measure_level(written(tmp_path / "dark.dng", numbers)) == Level(0.0, 0.0, 0.0, 0.0)


def test_twice_the_light_is_one_stop(tmp_path: Path) -> None:
    paths = [tmp_path / "once.DNG", tmp_path / "twice.DNG"]
    for path, exposure in zip(paths, (0.25, 0.5), strict=True):
        path.write_bytes(shot(exposure_rgb=(exposure,) * 3).dng())
    once, twice = (measure_level(path, SKY) for path in paths)
    assert twice.stops_over(once) == pytest.approx((1.0, 1.0, 1.0), abs=0.01)
    assert once.stops_over(twice)[1] == pytest.approx(-1.0, abs=0.01)


def test_a_filter_shows_in_each_channel(tmp_path: Path) -> None:
    clear, filtered = tmp_path / "clear.DNG", tmp_path / "filtered.DNG"
    stops = (1.8, 2.0, 2.3)
    clear.write_bytes(shot().dng())
    red, green, blue = (math.exp2(-each) for each in stops)
    filtered.write_bytes(shot(exposure_rgb=(red, green, blue)).dng())
    found = measure_level(clear, SKY).stops_over(measure_level(filtered, SKY))
    assert found == pytest.approx(stops, abs=0.02)


def test_no_light_has_no_ratio() -> None:
    with pytest.raises(NoLight, match="above black"):
        Level(1.0, 1.0, 1.0, 0.0).stops_over(Level(1.0, 0.0, 1.0, 0.0))


def test_an_area_without_a_channel(tmp_path: Path) -> None:
    path = written(tmp_path / "flat.dng", mosaic(500, 1000, 250))
    with pytest.raises(AreaTooSmall, match="channel R"):
        measure_level(path, Area(0.5, 63.5 / 64, 1.0, 1.0))


def test_files_that_are_no_raw_files(tmp_path: Path) -> None:
    with pytest.raises(NotRaw, match="missing"):
        measure_level(tmp_path / "missing.dng")
    text = tmp_path / "text.dng"
    text.write_text("not a picture at all\n" * 100)
    with pytest.raises(NotRaw, match=r"text\.dng cannot be read"):
        measure_level(text)
    jpeg = tmp_path / "picture.JPG"
    jpeg.write_bytes(shot().jpeg())
    with pytest.raises(NotRaw, match=r"picture\.JPG"):
        measure_level(jpeg)
    cut = tmp_path / "cut.DNG"
    cut.write_bytes(shot().dng()[:20000])
    with pytest.raises(NotRaw, match=r"cut\.DNG"):
        measure_level(cut)


def test_a_developed_picture_has_no_mosaic(tmp_path: Path) -> None:
    tags: list[tuple[int, int, int, object, bool]] = [
        (50706, 1, 4, (1, 4, 0, 0), True),
        (50708, 2, 0, "Level test", True),
        (50721, 10, 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),
    ]
    path = tmp_path / "developed.dng"
    pixels = np.full((64, 96, 3), 1000, np.uint16)
    tifffile.imwrite(path, pixels, photometric=34892, planarconfig="CONTIG", metadata=None, extratags=tags)
    with pytest.raises(NotRaw, match="no mosaic"):
        measure_level(path)
