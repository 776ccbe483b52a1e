"""Readings from pixels: the light of the simulated sensor back from its raw files and its JPEGs."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.frames.measure import Area, AreaTooSmall, NoLight
from duskhold.frames.picture import Picture, picture_from_coded
from duskhold.frames.picture_file import read_picture
from duskhold.frames.reading import (
    area_weights,
    map_weights,
    measure_area,
    reading_of,
    without_lamps,
    without_sparkle,
)
from duskhold.frames.shooting import ExposureUnknown, focal_length_mm, shooting_of
from duskhold.light.reading import Reading

PROFILE = BodyProfile(width=288, height=192)
BASE = Shot(
    number=1, opened_s=0.0, closed_s=0.25, taken=datetime.fromisoformat("2026-03-20T19:04:05"),
    exposure_rgb=(1.0, 1.0, 1.0), f_number=8.0, iso=100.0, aperture_mark="f/8", dial_s=0.25, dark_frame=False,
    temperature_c=10.0, seed=3, spoiled=False,
)  # fmt: skip
HILLS = Area(0.0, 0.3, 1.0, 0.5)


def taken(folder: Path, shot: Shot, suffix: str = ".dng") -> Path:
    negative = Negative(shot, PROFILE, PictureFault())
    path = folder / f"shot{shot.number}{suffix}"
    path.write_bytes(negative.dng() if suffix == ".dng" else negative.jpeg())
    return path


def read(path: Path, area: Area = HILLS) -> Reading:
    picture = read_picture(path)
    return reading_of(
        measure_area(picture, area_weights(picture, area)), picture, shooting_of(path, timedelta(0)), 0.0, "base"
    )


def test_the_light_of_two_raw_frames_differs_as_it_did(tmp_path: Path) -> None:
    darker = replace(BASE, number=2, exposure_rgb=(0.41, 0.41, 0.41))
    first, second = read(taken(tmp_path, BASE)), read(taken(tmp_path, darker))
    assert second.level_stops - first.level_stops == pytest.approx(math.log2(0.41), abs=0.02)
    assert first.sigma_stops < 0.02 and not first.at_least
    assert first.taken_utc == datetime(2026, 3, 20, 19, 4, 5, 125000, tzinfo=UTC)


def test_exposure_is_taken_out(tmp_path: Path) -> None:
    """The same light with a stop less aperture, double the time and double the ISO gives the same level."""
    other = replace(BASE, number=2, closed_s=0.5, dial_s=0.5, f_number=2.0**3.5, aperture_mark="f/11", iso=200.0)
    first, second = read(taken(tmp_path, BASE)), read(taken(tmp_path, other))
    assert second.level_stops == pytest.approx(first.level_stops, abs=0.03)


def test_a_mid_tone_is_its_exposure_value(tmp_path: Path) -> None:
    # The mean of green of the painted scene is the mid-tone: EV 8 at f/8, 1/4 s, ISO 100 (ISO 2720)
    found = read(taken(tmp_path, BASE), Area())
    assert found.level_stops == pytest.approx(8.0, abs=0.1)


def test_a_jpeg_agrees_within_what_it_says(tmp_path: Path) -> None:
    raw, coded = read(taken(tmp_path, BASE)), read(taken(tmp_path, BASE, ".jpg"))
    assert abs(raw.level_stops - coded.level_stops) < 3.0 * coded.sigma_stops
    assert coded.sigma_stops > raw.sigma_stops


def test_a_clipped_frame_says_at_least(tmp_path: Path) -> None:
    burnt = replace(BASE, exposure_rgb=(40.0, 40.0, 40.0))
    assert read(taken(tmp_path, burnt)).at_least


def flat(level: int = 90) -> "np.ndarray[tuple[int, int, int], np.dtype[np.uint8]]":
    return np.full((400, 600, 3), level, np.uint8)


def level_of(picture: Picture, lamps_out: str) -> float:
    weights = area_weights(picture)
    chosen = without_lamps(picture, weights) if lamps_out == "out" else weights
    return measure_area(picture, chosen).rgb[1]


def test_a_lamp_is_left_out_and_a_bright_sky_is_not() -> None:
    plain, lamp, sky = flat(30), flat(30), flat(30)
    lamp[100:108, 100:108] = 255
    sky[:200] = 255
    dark = level_of(picture_from_coded(plain), "in")
    assert level_of(picture_from_coded(lamp), "out") == pytest.approx(dark, rel=0.001)
    assert level_of(picture_from_coded(lamp), "in") > 1.01 * dark
    assert level_of(picture_from_coded(sky), "out") == level_of(picture_from_coded(sky), "in")


def test_sparkle_is_left_out() -> None:
    chance = np.random.default_rng(1)
    first, second = flat(90), flat(90)
    for numbers in (first, second):
        numbers[300:] = chance.integers(20, 255, (100, 600, 1), dtype=np.uint8)
    one, other = picture_from_coded(first), picture_from_coded(second)
    still = without_sparkle(one, other, area_weights(one))
    assert float(still[:300].mean()) == 1.0 and float(still[300:].mean()) < 0.6
    everything = without_sparkle(picture_from_coded(flat(40)), picture_from_coded(flat(160)), still)
    assert float(everything.sum()) == float(still.sum())  # all of it brightened: that is drift, not sparkle


def test_a_weight_map_chooses(tmp_path: Path) -> None:
    numbers = flat(90)
    numbers[:200] = 200
    picture, mask = picture_from_coded(numbers), np.zeros((40, 60), np.uint8)
    mask[25:] = 255
    cv2.imwrite(str(tmp_path / "map.png"), mask)
    weights = map_weights(picture, tmp_path / "map.png")
    assert measure_area(picture, weights).rgb[1] == pytest.approx(
        level_of(picture_from_coded(flat(90)), "in"), rel=0.01
    )
    (tmp_path / "empty.png").write_bytes(cv2.imencode(".png", np.zeros((4, 4), np.uint8))[1].tobytes())
    with pytest.raises(AreaTooSmall):
        map_weights(picture, tmp_path / "empty.png")
    with pytest.raises(AreaTooSmall):
        measure_area(picture, weights * 0)
    with pytest.raises(NoLight):
        measure_area(picture_from_coded(flat(0)), area_weights(picture))


def test_what_a_picture_says_of_its_exposure(tmp_path: Path) -> None:
    """A dial's name in Exif is what the dial runs; a held time stays as it is."""
    dial = shooting_of(taken(tmp_path, replace(BASE, dial_s=1 / 64)), timedelta(hours=2))
    assert dial.open_s == 1 / 64 and dial.f_number == 8.0 and dial.iso == 100.0
    assert dial.taken_utc is not None
    held = shooting_of(taken(tmp_path, replace(BASE, number=2, closed_s=283.6, dial_s=None)))
    assert held.open_s == 284.0  # Exif's own step of a second
    plain = tmp_path / "plain.jpg"
    plain.write_bytes(cv2.imencode(".jpg", flat())[1].tobytes())
    with pytest.raises(ExposureUnknown, match="ExposureTime"):
        shooting_of(plain)


@pytest.mark.parametrize(("written", "told_mm"), [((35, 1), 35.0), ((0, 1), None), ((0, 0), None), (None, None)])
def test_a_lens_tells_its_focal_length_or_does_not(
    tmp_path: Path, written: tuple[int, int] | None, told_mm: float | None
) -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({} if written is None else {0x920A: IFDRational(*written)})
    Image.fromarray(flat()).save(tmp_path / "lens.jpg", exif=exif)
    assert focal_length_mm(tmp_path / "lens.jpg") == told_mm


def test_a_damaged_file_tells_no_focal_length(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x920A] = 24.0
    path = tmp_path / "lens.jpg"
    Image.fromarray(np.zeros((64, 64, 3), np.uint8)).save(path, exif=exif)
    content = path.read_bytes()
    pointer = content.index(b"\x87\x69\0\x04")  # to the Exif folder: a tag with no value (TIFF 6.0, section 2)
    path.write_bytes(content[: pointer + 4] + bytes(4) + content[pointer + 8 :])
    assert focal_length_mm(path) is None
