"""Which files are the frame's own, by Exif ExposureTime (CIPA DC-008, tag 0x829A)."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from duskhold.app.belonging import ended_early_s, least_s, own_first
from duskhold.frames.store import StoredFile
from duskhold.plan.role import Role


def picture(folder: Path, name: str, open_s: float | None) -> StoredFile:
    exif = Image.Exif()
    if open_s is not None:
        exif.get_ifd(0x8769)[0x829A] = IFDRational(round(open_s * 1000), 1000)
    Image.new("RGB", (8, 8)).save(folder / name, exif=exif)
    return StoredFile(folder / name, Role.LONG, 1, "")


def names(files: tuple[StoredFile, ...]) -> list[str]:
    return [file.path.name for file in files]


def test_a_picture_from_somebodys_hand_comes_last_and_is_named(tmp_path: Path) -> None:
    files = [
        picture(tmp_path, "P_1.JPG", 0.008),
        picture(tmp_path, "P_2.JPG", 30.0),
        picture(tmp_path, "P_2.TIF", None),
    ]
    ordered, said = own_first(files, 30.4)
    assert names(ordered) == ["P_2.JPG", "P_2.TIF", "P_1.JPG"]
    assert said == "P_1 says 0.008 s of itself, and is perhaps not of this frame"


@pytest.mark.parametrize(("told_s", "open_s"), [(1.0, 0.5), (30.0, 32.0), (None, 30.0), (4.0, None), (301.0, 300.4)])
def test_rounding_is_no_difference(tmp_path: Path, told_s: float | None, open_s: float | None) -> None:
    files = [picture(tmp_path, "P_1.JPG", told_s)]
    assert own_first(files, open_s) == (tuple(files), "")


def test_a_frame_that_was_held_and_says_the_bodys_own_time_is_said(tmp_path: Path) -> None:
    _, said = own_first([picture(tmp_path, "P_1.JPG", 0.04)], 60.0)
    assert said.startswith("P_1 says 0.04 s")


def test_an_exposure_ended_early_when_every_picture_says_so(tmp_path: Path) -> None:
    short, pair, whole = (
        picture(tmp_path, name, told_s) for name, told_s in (("P_1.JPG", 12.0), ("P_1.TIF", None), ("P_2.JPG", 29.0))
    )
    assert ended_early_s([short, pair], 30.0) == 12.0
    assert ended_early_s([short, whole], 30.0) is None  # one of them is the whole frame
    assert ended_early_s([pair], 30.0) is None
    assert least_s(12.0) == 10.5
    assert least_s(1.0) == 0.0


@pytest.mark.parametrize("content", [b"", b"abc", b"\xff\xd8\xff", b"II*\x00\xff\xff\xff\xff"])
def test_a_file_that_cannot_be_read_stays_where_it_is(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "P_1.DNG").write_bytes(content)
    files = [StoredFile(tmp_path / "P_1.DNG", Role.LONG, 1, ""), picture(tmp_path, "P_2.JPG", 30.0)]
    assert own_first(files, 30.0) == (tuple(files), "")
