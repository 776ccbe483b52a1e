"""Which files the settings promise, in any family's words, and what is said of those that did not come."""

import pytest

from duskhold.app.promise import differs, missing_files, promised_files


@pytest.mark.parametrize(
    ("quality", "kinds"),
    [
        ("raw+jpeg", ("raw", "jpeg")),
        ("Raw+Fine", ("raw", "jpeg")),
        ("RAW + Large Fine JPEG", ("raw", "jpeg")),
        ("RAW", ("raw",)),
        ("L", ("jpeg",)),
        ("JPEG Fine", ("jpeg",)),
        ("Extra Fine", ("jpeg",)),
        ("RAW & JPEG", ("raw", "jpeg")),
        ("RAW+HEIF (X.Fine)", ("raw", "heif")),
        ("HEIF", ("heif",)),
        ("something else", ()),
        (None, ()),
    ],
)
def test_what_the_settings_promise(quality: str | None, kinds: tuple[str, ...]) -> None:
    assert promised_files(quality) == kinds


BOTH = ("raw", "jpeg")


@pytest.mark.parametrize(
    ("promised", "names", "said"),
    [
        (BOTH, ["P_1.DNG", "P_1.JPG"], ""),
        (BOTH, ["P_1.DNG"], "the jpeg file that the settings promise never came"),
        (BOTH, ["P_1.JPG"], "the raw file that the settings promise never came"),
        (("raw",), ["P_1.DNG", "P_1.JPG"], "1 more than the 1 that the settings promise"),
        (BOTH, ["P_1.DNG", "P_1.JPG", "P_2.DNG", "P_2.JPG"], "2 more than the 2 that the settings promise"),
        (
            ("raw",),
            ["P_1.JPG"],
            "the raw file that the settings promise never came; 1 more than the 1 that the settings promise",
        ),
        ((), ["P_1.DNG"], ""),
        (("raw", "heif"), ["P_1.DNG", "P_1.HIF"], ""),
        (("raw", "heif"), ["P_1.DNG"], "the heif file that the settings promise never came"),
    ],
)
def test_what_is_missing_or_too_much_is_said(promised: tuple[str, ...], names: list[str], said: str) -> None:
    assert differs(promised, names) == said
    assert bool(missing_files(promised, names)) == ("never came" in said)
