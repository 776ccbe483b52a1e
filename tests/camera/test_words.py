"""Words of bodies and of the library, by meaning. The library's spellings are those that it was seen to use."""

from __future__ import annotations

import pytest

from duskhold.camera.port import Setting
from duskhold.camera.words import battery_percent, find_choice, meaning, same_meaning
from duskhold.light.dials import SHUTTER

LIBRARY_TIMES = ["30.0000s", "1.0000s", "0.2500s", "0.0167s", "0.0125s", "0.0040s", "0.0003s", "0.0002s", "Bulb"]


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ("1/4", "0.2500s"),
        ("1/60", "0.0167s"),
        ("1/250", "0.0040s"),
        ("1/3200", "0.0003s"),
        ("30", "30.0000s"),
        ("bulb", "Bulb"),
        ("1/100", None),
        ("2", None),
    ],
)
def test_times_are_found_by_meaning(wanted: str, found: str | None) -> None:
    assert find_choice(Setting.SHUTTER, wanted, LIBRARY_TIMES) == found


def test_no_two_marks_of_a_dial_mean_the_same() -> None:
    names = [mark.name for mark in SHUTTER.thirds if meaning(Setting.SHUTTER, mark.name) != "bulb"]
    slow = [name for name in names if float(meaning(Setting.SHUTTER, name)) > 1 / 3000]
    for index, name in enumerate(slow):
        assert not any(same_meaning(Setting.SHUTTER, name, other) for other in slow[index + 1 :])


@pytest.mark.parametrize("spelling", ["Bulb", "bulb", "B", "65535/65535"])
def test_bulb_has_several_names(spelling: str) -> None:
    assert meaning(Setting.SHUTTER, spelling) == "bulb"


@pytest.mark.parametrize(
    ("setting", "one", "other"),
    [
        (Setting.APERTURE, "f/8", "8"),
        (Setting.SHUTTER, "30,0000s", "30"),
        (Setting.ISO, "ISO 100", "100"),
        (Setting.MODE, "M", "manual"),
        (Setting.FOCUS, "Manual", "manual"),
        (Setting.TARGET, "Memory card", "card"),
        (Setting.DARK_FRAME, "On", "on"),
        (Setting.QUALITY, "RAW + Large Fine JPEG", "raw+jpeg"),
        (Setting.QUALITY, "JPEG Fine", "jpeg"),
    ],
)
def test_the_same_in_other_words(setting: Setting, one: str, other: str) -> None:
    assert same_meaning(setting, one, other)


@pytest.mark.parametrize(
    ("setting", "meant", "words"),
    [
        (Setting.FOCUS, "manual", ["Manual Focus", "Manual-Focus", "MF", "MF (fixed)", "MF (selection)", "Preset MF"]),
        (
            Setting.DRIVE,
            "single",
            ["Single", "Single Shot", "Single frame", "Single: Silent shooting", "Quiet Release"],
        ),
        (
            Setting.DRIVE,
            "continuous",
            [
                "Burst",
                "Continuous low speed",
                "Continuous Shooting Hi+",
                "Silent LS continuous",
                "Continuous Quiet Release",
            ],
        ),
        (
            Setting.DRIVE,
            "self_timer",
            ["Timer 2 sec", "Self Timer 10 Sec.", "Selftimer 5s 3 Pictures", "Continuous timer", "Delayed Remote"],
        ),
        (Setting.DRIVE, "mirror_up", ["Mirror Up", "Mup Mirror up", "Remote Mirror Up"]),
        (
            Setting.DRIVE,
            "bracketing",
            [
                "Continuous Bracket 0.3 EV 3 Img.",
                "Single Bracket 1.0 EV 2 Img. -",
                "Bracketing WB Lo",
                "DRO Bracket Hi",
            ],
        ),
        (Setting.WHITE_BALANCE, "auto", ["Auto", "Automatic Warm", "AWB White", "Natural light auto"]),
        (Setting.EXPOSURE_DELAY, "off", ["Off", "0", "0.000s", "0 sec"]),
    ],
)
def test_the_librarys_own_words_are_understood(setting: Setting, meant: str, words: list[str]) -> None:
    assert {word: meaning(setting, word) for word in words} == dict.fromkeys(words, meant)


@pytest.mark.parametrize(
    ("setting", "word", "not_meant"),
    [
        (Setting.FOCUS, "DMF", "manual"),
        (Setting.FOCUS, "S-AF+MF", "manual"),
        (Setting.WHITE_BALANCE, "Color Temperature", "auto"),
        (Setting.EXPOSURE_DELAY, "0.5s", "off"),
        (Setting.EXPOSURE_DELAY, "1.000s", "off"),
        (Setting.DRIVE, "Quick Response Remote", "single"),
    ],
)
def test_words_that_look_alike_are_not_taken_for_it(setting: Setting, word: str, not_meant: str) -> None:
    assert meaning(setting, word) != not_meant


def test_of_words_that_mean_the_same_the_plain_one_is_set() -> None:
    drives = ["Single", "Single silent", "Continuous low speed", "Single: Silent shooting"]
    assert find_choice(Setting.DRIVE, "single", drives) == "Single"
    assert find_choice(Setting.DRIVE, "single", ["Quiet Release", "Single Shot", "Single silent"]) == "Single Shot"


def test_words_that_differ_stay_apart() -> None:
    assert not same_meaning(Setting.APERTURE, "f/8", "f/9")
    assert not same_meaning(Setting.SHUTTER, "1/60", "1/50")
    assert not same_meaning(Setting.QUALITY, "RAW", "RAW + JPEG")
    assert not same_meaning(Setting.ISO, "Auto ISO", "100")


def test_of_several_choices_that_mean_the_same_the_last_is_taken() -> None:
    assert find_choice(Setting.QUALITY, "jpeg", ["JPEG Basic", "JPEG Normal", "JPEG Fine"]) == "JPEG Fine"


@pytest.mark.parametrize(
    ("word", "percent"), [("96%", 96), ("25 %", 25), ("7", 7), ("Low", 0), ("Unknown value", None), (None, None)]
)
def test_a_battery_is_told_in_per_cent_or_in_words(word: str | None, percent: int | None) -> None:
    assert battery_percent(word) == percent
