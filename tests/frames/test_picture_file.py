"""Files read into linear light: what light they hold, and a clear error for each that cannot be measured."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from bundled import bundled
from PIL import Image
from simulated_pairs import BASE_SHOT

from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile
from duskhold.frames import picture_file
from duskhold.frames.picture import Kind
from duskhold.frames.picture_file import (
    PictureCorrupt,
    PictureEmpty,
    PictureForeign,
    PictureTruncated,
    PictureUnread,
    PictureUnsuited,
    read_picture,
    read_picture_soon,
)


def jpeg(path: Path, **how: object) -> Path:
    Image.fromarray(bundled("astronaut")).save(path, "JPEG", quality=92, **how)
    return path


@pytest.fixture(scope="module")
def dng(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("raw") / "frame.DNG"
    path.write_bytes(Negative(BASE_SHOT, BodyProfile(width=384, height=256), PictureFault()).dng())
    return path


@pytest.mark.parametrize("number", [0, 10, 118, 188, 253])
@pytest.mark.parametrize("kind", ["png", "tif", "jpg"])
def test_light_after_the_curve_of_srgb(tmp_path: Path, number: int, kind: str) -> None:
    # IEC 61966-2-1, by the library colour-science.
    import colour

    path = tmp_path / f"flat.{kind}"
    Image.fromarray(np.full((96, 128, 3), number, np.uint8)).save(path, quality=98)
    picture = read_picture(path)
    expected = float(colour.models.eotf_sRGB(number / 255))
    assert picture.small.mean() == pytest.approx(expected, abs=2e-5 + 0.012 * expected)
    assert (picture.kind, picture.width, picture.height, picture.mid_tone) == (Kind.CODED, 128, 96, 0.18)


def test_channels_keep_their_order_and_clipping_its_place(tmp_path: Path) -> None:
    image = np.zeros((100, 2100, 3), np.uint8)
    image[:, :525, 0] = 255
    image[50:, :, 2] = 255
    Image.fromarray(image).save(tmp_path / "a.png")
    picture = read_picture(tmp_path / "a.png")
    assert picture.clipped_share == pytest.approx((0.25, 0.0, 0.5), abs=1e-3)
    assert picture.cell_px == 2
    assert picture.small[0, 0].tolist() == pytest.approx([1, 0, 0], abs=1e-4)
    assert picture.small[-1, -1].tolist() == pytest.approx([0, 0, 1], abs=1e-4)


def test_a_raw_file_is_linear_above_its_black_level(dng: Path) -> None:
    import rawpy

    picture = read_picture(dng)
    with rawpy.imread(str(dng)) as raw:
        red = raw.raw_image[0::2, 0::2].astype(float) - 512
        green = (raw.raw_image[0::2, 1::2].astype(float) + raw.raw_image[1::2, 0::2]) / 2 - 512
    assert picture.kind is Kind.RAW
    assert (picture.width, picture.height, picture.detail_px) == (384, 256, 2)
    assert picture.small[..., 1].mean() == pytest.approx(green.mean() / (16383 - 512), rel=1e-3)
    assert picture.small[..., 0].mean() == pytest.approx(red.mean() / 0.52 / (16383 - 512), rel=2e-3)


@pytest.mark.parametrize(
    ("orientation", "degrees", "size"), [(1, 0, (512, 400)), (3, 180, (512, 400)), (6, 90, (400, 512))]
)
def test_a_turned_picture_is_measured_as_shown(
    tmp_path: Path, orientation: int, degrees: int, size: tuple[int, int]
) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(bundled("astronaut")[:400]).save(tmp_path / "a.jpg", exif=exif)
    picture = read_picture(tmp_path / "a.jpg")
    assert (picture.turned_deg, (picture.width, picture.height)) == (degrees, size)


@pytest.mark.parametrize("share", [0.001, 0.02, 0.5, 0.999])
def test_a_truncated_jpeg(tmp_path: Path, share: float) -> None:
    path = jpeg(tmp_path / "a.jpg")
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    with pytest.raises((PictureTruncated, PictureCorrupt), match=r"a\.jpg"):
        read_picture(path)
    assert path.read_bytes() == whole[: int(len(whole) * share)]


def test_a_truncated_jpeg_with_a_whole_thumbnail(tmp_path: Path) -> None:
    inner = jpeg(tmp_path / "small.jpg").read_bytes()
    path = jpeg(tmp_path / "a.jpg", comment=inner[:60000])
    path.write_bytes(path.read_bytes()[:-3000])
    with pytest.raises(PictureTruncated):
        read_picture(path)


def test_a_jpeg_with_something_behind_its_end(tmp_path: Path) -> None:
    path = jpeg(tmp_path / "a.jpg", progressive=True)
    path.write_bytes(path.read_bytes() + b"a second picture\xff\xd8\xff\xe1 for a small screen")
    assert read_picture(path).width == 512


def test_a_corrupt_jpeg(tmp_path: Path) -> None:
    path = jpeg(tmp_path / "a.jpg")
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 2000] = np.random.default_rng(0).bytes(2000)
    path.write_bytes(content)
    with pytest.raises(PictureCorrupt):
        read_picture(path)


@pytest.mark.parametrize("kind", ["png", "tif"])
def test_a_truncated_png_or_tiff(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"a.{kind}"
    Image.fromarray(bundled("astronaut")).save(path)
    path.write_bytes(path.read_bytes()[:150_000])
    with pytest.raises(PictureUnread):
        read_picture(path)


def test_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").touch()
    with pytest.raises(PictureEmpty, match="0 bytes"):
        read_picture(tmp_path / "a.jpg")


@pytest.mark.parametrize("size", [(3001, 71), (80, 2000), (63, 600)])
def test_a_strip_is_not_measured(tmp_path: Path, size: tuple[int, int]) -> None:
    Image.new("RGB", size).save(tmp_path / "a.jpg")
    with pytest.raises(PictureUnsuited, match=rf"a\.jpg .*{size[0]} by {size[1]}"):
        read_picture(tmp_path / "a.jpg")


@pytest.mark.parametrize("content", [b"some text\n", b"%PDF-1.4 " * 100, bytes(5000), b"\xff\xd8\xff"])
def test_a_foreign_file(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.DNG").write_bytes(content)
    with pytest.raises((PictureForeign, PictureTruncated)):
        read_picture(tmp_path / "a.DNG")


@pytest.mark.parametrize("share", [0.0005, 0.01, 0.5, 0.98])
def test_a_truncated_raw_file(tmp_path: Path, dng: Path, share: float) -> None:
    content = dng.read_bytes()
    (tmp_path / "a.DNG").write_bytes(content[: int(len(content) * share)])
    with pytest.raises(PictureUnread, match=r"a\.DNG"):
        read_picture(tmp_path / "a.DNG")


def test_sixteen_bits_monochrome_other_inks_and_tiny(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "deep.tif", np.zeros((100, 100, 3), np.uint16), photometric="rgb")
    cv2.imwrite(str(tmp_path / "deep.png"), np.zeros((100, 100, 3), np.uint16))
    Image.fromarray(bundled("camera")[..., 0]).save(tmp_path / "grey.jpg")
    Image.fromarray(bundled("astronaut")).convert("CMYK").save(tmp_path / "inks.jpg")
    Image.fromarray(bundled("astronaut")[:40]).save(tmp_path / "tiny.jpg")
    for name, said in (
        ("deep.tif", "8 bits"),
        ("deep.png", "8 bits"),
        ("grey.jpg", "monochrome"),
        ("inks.jpg", "CMYK"),
        ("tiny.jpg", "only 512 by 40"),
    ):
        with pytest.raises(PictureUnsuited, match=said):
            read_picture(tmp_path / name)


@pytest.mark.parametrize("progressive", [False, True])
def test_damage_inside_a_jpeg_that_keeps_its_marks(tmp_path: Path, progressive: bool) -> None:
    # Data that still looks like ITU-T T.81 from outside; the decoder loses step and says so.
    path = jpeg(tmp_path / "a.jpg", progressive=progressive)
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    for place in range(middle, middle + 300):
        if 0xFF not in content[place - 1 : place + 1]:
            content[place] = (content[place] * 7 + 3) % 0xFF
    path.write_bytes(content)
    with pytest.raises(PictureCorrupt, match=r"a\.jpg"):
        read_picture(path)


@pytest.mark.parametrize("fill", [b"", b"\xff\xff"])
@pytest.mark.parametrize("optimize", [False, True])
def test_a_lost_block_in_a_jpeg(tmp_path: Path, optimize: bool, fill: bytes) -> None:
    # A block of a card or of the bus that never came reads as zeros, which decode without a complaint. Fill bytes may
    # stand before each mark (ITU-T T.81, annex B).
    path = jpeg(tmp_path / "a.jpg", optimize=optimize)
    whole = path.read_bytes()
    content = bytearray(whole[:2] + fill + whole[2:])
    middle = len(content) // 2
    content[middle : middle + 512] = bytes(512)
    path.write_bytes(content)
    with pytest.raises(PictureCorrupt, match=r"a\.jpg is damaged"):
        read_picture(path)


@pytest.mark.parametrize("options", [{}, {"optimize": True}, {"progressive": True}])
def test_an_even_picture_is_not_damaged(tmp_path: Path, options: dict[str, Any]) -> None:
    # Zeros alone may code an even picture: here the one code of a table is a zero, and ends each block.
    for level in (0, 17, 128):
        path = tmp_path / "even.jpg"
        Image.new("RGB", (1024, 768), (level, level, level)).save(path, quality=92, **options)
        assert read_picture(path).width == 1024
    assert b"\0" * 128 in path.read_bytes() or "optimize" not in options


def test_a_jpeg_filled_up_before_its_end_is_not_damaged(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = jpeg(tmp_path / "a.jpg")
    path.write_bytes(path.read_bytes()[:-2] + bytes(200) + b"\xff\xd9")
    assert read_picture(path).width == 512
    assert "extraneous" in capfd.readouterr().err  # what the decoder said is passed on


def test_the_damaged_one_of_two_read_at_once_is_named(tmp_path: Path) -> None:
    good = jpeg(tmp_path / "good.jpg")
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(good.read_bytes()[:-2] + bytes(range(200)) + b"\xff\xd9")
    with ThreadPoolExecutor(2) as readers:
        told = [readers.submit(read_picture, path) for path in [good, bad] * 8]
        damaged = [str(each.exception()) for each in told if each.exception() is not None]
    assert len(damaged) == 8
    assert all(said.startswith("bad.jpg") for said in damaged)


def test_a_large_jpeg_that_somebody_waits_for_is_read_at_half_size(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(picture_file, "REDUCED_FROM_PIXELS", 512 * 512)
    path = jpeg(tmp_path / "a.jpg")
    soon, whole = read_picture_soon(path), read_picture(path)
    assert (soon.width, soon.height, soon.detail_px, soon.detail.shape) == (512, 512, 2, (256, 256))
    assert soon.small.mean() == pytest.approx(whole.small.mean(), rel=0.01)
