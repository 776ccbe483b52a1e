"""The body's files, read by libraries that know nothing of the simulation: rawpy, exifread, pillow."""

import io
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import exifread
import numpy as np
import pytest
import rawpy
from PIL import Image

from duskhold.camera.body import SimulatedBody
from duskhold.camera.card import MemoryCard
from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.camera.stage import Stage

PROFILE = BodyProfile(width=192, height=128, zone_offset_min=-210)
SHOT = Shot(
    number=3,
    opened_s=0.0,
    closed_s=4.13,
    taken=datetime.fromisoformat("2026-03-20T19:04:05.250"),
    exposure_rgb=(1.0, 1.0, 1.0),
    f_number=2**3.5,
    iso=200 * 2 ** (1 / 3),
    aperture_mark="f/11",
    dial_s=None,
    dark_frame=False,
    temperature_c=10.0,
    seed=5,
    spoiled=False,
)


def _negative(shot: Shot = SHOT, profile: BodyProfile = PROFILE) -> Negative:
    return Negative(shot, profile, PictureFault(blur=0.02))


def _exif(content: bytes) -> dict[str, str]:
    tags: dict[str, Any] = exifread.process_file(io.BytesIO(content), details=False)
    return {name: str(value) for name, value in tags.items()}


def test_rawpy_reads_the_numbers_that_were_written(tmp_path: Path) -> None:
    negative = _negative()
    path = tmp_path / "frame.DNG"
    path.write_bytes(negative.dng())
    with rawpy.imread(str(path)) as raw:
        assert np.array_equal(raw.raw_image, negative.raw)
        assert raw.black_level_per_channel == [512] * 4
        assert raw.white_level == 16383
        assert raw.color_desc == b"RGBG"
        assert raw.raw_pattern is not None
        assert raw.raw_pattern.tolist() == [[0, 1], [3, 2]]
        assert raw.camera_whitebalance[:3] == pytest.approx([1 / 0.52, 1.0, 1 / 0.68], rel=1e-3)
        picture = raw.postprocess(use_camera_wb=True, no_auto_bright=True)
    assert picture.shape == (128, 192, 3)


def test_raw_and_jpeg_show_the_same_colours(tmp_path: Path) -> None:
    # Both renderings are of sRGB primaries; they differ by their tone curves, not by which side is warm.
    path = tmp_path / "frame.DNG"
    path.write_bytes(_negative().dng())
    with rawpy.imread(str(path)) as raw:
        developed = raw.postprocess(use_camera_wb=True, no_auto_bright=True)
    jpeg = np.asarray(Image.open(io.BytesIO(_negative().jpeg())))
    for rows, columns in ((slice(5, 15), slice(0, 60)), (slice(48, 58), slice(110, 135))):
        ours, theirs = jpeg[rows, columns].mean((0, 1)), developed[rows, columns].mean((0, 1))
        assert np.sign(ours[0] - ours[2]) == np.sign(theirs[0] - theirs[2])
        assert ours[0] / ours[2] == pytest.approx(theirs[0] / theirs[2], rel=0.25)


@pytest.mark.parametrize("suffix", ["dng", "jpeg"])
def test_exif_by_exifread(suffix: str) -> None:
    # Tags after CIPA DC-008.
    exif = _exif(getattr(_negative(), suffix)())
    assert exif["EXIF ExposureTime"] == "4"
    assert exif["EXIF FNumber"] == "11"
    assert exif["EXIF ISOSpeedRatings"] == "252"
    assert exif["EXIF DateTimeOriginal"] == "2026:03:20 19:04:05"
    assert exif["EXIF OffsetTimeOriginal"] == "-03:30"
    assert exif["EXIF SubSecTimeOriginal"] == "250"
    assert exif["EXIF BodySerialNumber"] == PROFILE.serial
    assert exif["Image Model"] == PROFILE.model


@pytest.mark.parametrize(
    ("shot", "step_s", "written"),
    [
        (replace(SHOT, closed_s=4.6), 1.0, "5"),
        (replace(SHOT, closed_s=0.2), 1.0, "1"),
        (SHOT, 0.01, "413/100"),
        (replace(SHOT, dial_s=1 / 64, closed_s=1 / 64), 1.0, "1/64"),
        (replace(SHOT, dial_s=32.0, closed_s=32.0), 1.0, "32"),
    ],
)
def test_exposure_time_is_rounded_to_the_bodys_step(shot: Shot, step_s: float, written: str) -> None:
    assert _exif(_negative(shot, replace(PROFILE, exif_step_s=step_s)).dng())["EXIF ExposureTime"] == written


def test_the_same_shot_gives_the_same_bytes() -> None:
    assert _negative().dng() == _negative().dng()
    assert _negative().jpeg() == _negative().jpeg()
    assert _negative().dng() != _negative(replace(SHOT, number=4)).dng()


def test_a_stop_more_light_is_a_stop_in_the_raw_and_brighter_in_the_jpeg() -> None:
    brighter = replace(SHOT, exposure_rgb=(0.5, 0.5, 0.5))
    dim = replace(SHOT, exposure_rgb=(0.25, 0.25, 0.25))
    levels = [_negative(each).raw[0::2, 1::2].mean() - 512 for each in (dim, brighter)]
    assert np.log2(levels[1] / levels[0]) == pytest.approx(1.0, abs=0.02)
    means = [np.asarray(Image.open(io.BytesIO(_negative(each).jpeg()))).mean() for each in (dim, brighter)]
    assert means[1] > 1.2 * means[0]


def test_a_metered_frame_is_grey_on_the_whole() -> None:
    # A mid-tone of 0.18 is 118 in sRGB (IEC 61966-2-1); the scene's spread keeps its own mean near it.
    metered = replace(SHOT, iso=100.0)
    assert 95 < np.asarray(Image.open(io.BytesIO(_negative(metered).jpeg())))[..., 1].mean() < 130


def test_a_spoiled_shot_is_spoiled() -> None:
    def roughness(shot: Shot) -> float:
        return float(np.abs(np.diff(_negative(shot).raw[0::2, 1::2].astype(float), axis=1)).mean())

    bright = replace(SHOT, iso=100.0)
    assert roughness(replace(bright, spoiled=True)) < 0.9 * roughness(bright)


def test_the_true_time_decides_the_level_from_press_to_file() -> None:
    body = SimulatedBody(replace(PROFILE, latency_sigma_s=0.0), Stage(reference_s=4.0), MemoryCard())
    body.press(0.0)
    body.release(2.0)
    body.press(10.0)
    body.release(14.0)
    body.advance(20.0)
    raws = [file for file in body.files() if file.name.endswith("DNG")]
    means = [_mean_of(body.card.read(file)) for file in raws]
    assert means[1] / means[0] == pytest.approx((4.0 - 0.025) / (2.0 - 0.025), rel=0.01)


def _mean_of(content: bytes) -> float:
    with rawpy.imread(io.BytesIO(content)) as raw:
        return float(raw.raw_image[0::2, 1::2].mean()) - 512


def test_epoch_reaches_the_file() -> None:
    stage = Stage(epoch_utc=datetime(2026, 11, 2, 16, 30, tzinfo=UTC))
    body = SimulatedBody(replace(PROFILE, zone_offset_min=60, latency_sigma_s=0.0), stage, MemoryCard())
    body.press(59.94)
    body.release(61.0)
    body.advance(65.0)
    assert _exif(body.card.read(body.files()[1]))["EXIF DateTimeOriginal"] == "2026:11:02 17:31:00"
