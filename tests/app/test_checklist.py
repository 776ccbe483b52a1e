"""Judging the body before the shot: right, wrong and unknown, whatever a family calls it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from duskhold.app.checklist import PEOPLE, Answer, Facts, Item, Source, State, Wanted, is_ready, item_ids, judge
from duskhold.camera.port import Identity, Setting

BODY = Identity("Body", "1", 0x000A, "bulb toggle", "2.5.34")
RIGHT = {
    Setting.MODE: "M",
    Setting.SHUTTER: "Bulb",
    Setting.APERTURE: "f/8",
    Setting.ISO: "100",
    Setting.QUALITY: "raw+jpeg",
    Setting.FOCUS: "Manual",
    Setting.TARGET: "Memory card",
    Setting.SHOTS_LEFT: "400",
    Setting.BATTERY: "80%",
    Setting.CLOCK: "2026-10-14T18:00:00",
    Setting.DARK_FRAME: "Off",
    Setting.WHITE_BALANCE: "Daylight",
    Setting.DRIVE: "Single Shot",
    Setting.BRACKETING: "Off",
    Setting.EXPOSURE_DELAY: "Off",
    Setting.MIRROR_LOCK: "0",
    Setting.AUTO_ISO: "Off",
    Setting.STABILISER: "0",
    Setting.ELECTRONIC_SHUTTER: "0",
    Setting.LIVE_VIEW: "Off",
}
FACTS = Facts(BODY, RIGHT, 100_000_000_000, clock_offset_s=0.0, leftovers=0)
TICKED = dict.fromkeys(PEOPLE, Answer(True, 60.0))


def judged(facts: Facts, wanted: Wanted | None = None) -> dict[str, Item]:
    return {item.item: item for item in judge(facts, wanted or Wanted(), TICKED)}


def said(**words: str | None) -> Facts:
    changed = {Setting[name.upper()]: word for name, word in words.items()}
    kept = {setting: word for setting, word in RIGHT.items() if setting not in changed}
    return replace(FACTS, said={**kept, **{setting: word for setting, word in changed.items() if word is not None}})


def test_a_body_that_is_set_right_is_ready() -> None:
    items = judge(FACTS, Wanted(), TICKED)
    assert [item.item for item in items if item.state is not State.OK] == []
    assert is_ready(items)
    assert [item.item for item in items] == item_ids()


@pytest.mark.parametrize(
    ("facts", "item", "fix"),
    [
        (said(mode="A"), "mode", "manual"),
        (said(shutter="30"), "shutter", "bulb"),
        (said(iso="800"), "iso", "100"),
        (said(iso="Auto"), "iso", "100"),
        (said(auto_iso="On"), "auto_iso", "off"),
        (said(quality="JPEG Fine"), "quality", "raw+jpeg"),
        (said(focus="AF-S"), "focus", "manual"),
        (said(stabiliser="1"), "stabiliser", "off"),
        (said(electronic_shutter="1"), "electronic_shutter", "off"),
        (said(electronic_shutter="Electronic"), "electronic_shutter", "off"),
        (said(electronic_shutter="Auto"), "electronic_shutter", "off"),
        (said(dark_frame="On"), "dark_frame", "off"),
        (said(exposure_delay="On"), "exposure_delay", "off"),
        (said(mirror_lock="1"), "mirror_lock", "off"),
        (said(drive="Timer"), "self_timer", "single"),
        (said(drive="Burst"), "drive", "single"),
        (said(bracketing="+/- 1"), "bracketing", "off"),
        (said(white_balance="Automatic"), "white_balance", "daylight"),
        (said(target="Internal RAM"), "target", "card"),
        (said(live_view="PC"), "live_view", "off"),
        (said(shots_left="11"), "free_shots", None),
        (said(battery="20%"), "battery", None),
        (said(battery="Low"), "battery", None),
        (replace(FACTS, clock_offset_s=3600.0), "clock", "now"),
        (replace(FACTS, disk_free_bytes=1_000_000_000), "free_disk", None),
        (replace(FACTS, leftovers=1), "leftovers", None),
        (replace(FACTS, identity=replace(BODY, holds=False)), "holding", None),
    ],
)
def test_each_fault_is_found_and_no_other(facts: Facts, item: str, fix: str | None) -> None:
    bad = {name: each for name, each in judged(facts).items() if each.state is not State.OK}
    assert list(bad) == [item]
    assert bad[item].state is State.BAD
    assert (bad[item].fix, bool(bad[item].advice)) == (fix, True)


UNSAID = [
    *("mode", "aperture", "quality", "focus", "stabiliser", "electronic_shutter", "dark_frame"),
    *("exposure_delay", "mirror_lock", "drive", "bracketing", "white_balance", "live_view", "battery", "iso"),
]


@pytest.mark.parametrize("name", UNSAID)
def test_what_is_not_said_is_unknown_and_never_ready(name: str) -> None:
    items = judge(said(**{name: None}), Wanted(), TICKED)
    found = next(item for item in items if item.item == name)
    assert found.state is State.UNKNOWN and found.advice
    assert not is_ready(items)


def test_a_number_that_no_table_names_is_unknown() -> None:
    assert judged(said(quality="Unknown value 0003"))["quality"].state is State.UNKNOWN
    assert judged(said(focus="Unknown value 8001"))["focus"].state is State.UNKNOWN


def test_a_person_answers_for_the_unknown_only() -> None:
    answers = {**TICKED, "stabiliser": Answer(True, 1.0), "mode": Answer(True, 1.0), "focus": Answer(False, 1.0)}
    items = {item.item: item for item in judge(said(stabiliser=None, mode="A", focus=None), Wanted(), answers)}
    assert (items["stabiliser"].state, items["stabiliser"].source) == (State.OK, Source.PERSON)
    assert items["mode"].state is State.BAD
    assert (items["focus"].state, items["focus"].source) == (State.BAD, Source.PERSON)


def test_what_only_a_person_sees_comes_last_and_is_asked() -> None:
    items = judge(FACTS, Wanted(), {})
    assert [item.item for item in items][-len(PEOPLE) :] == list(PEOPLE)
    assert {item.state for item in items[-len(PEOPLE) :]} == {State.UNKNOWN}


def test_mode_b_needs_no_bulb_on_the_dial() -> None:
    assert judged(said(mode="Bulb", shutter="30"))["shutter"].state is State.OK


def test_open_capture_asks_nothing_of_the_dial_or_of_a_target() -> None:
    plain = replace(said(shutter="30", target=None), identity=replace(BODY, vendor_extension=0, family="open capture"))
    items = judged(plain)
    assert items["shutter"].state is items["target"].state is State.NOT_APPLICABLE


def test_a_body_that_names_automatic_speed_in_its_one_dial_needs_no_switch() -> None:
    button = replace(said(auto_iso=None), identity=replace(BODY, vendor_extension=0x000B))
    assert judged(button)["auto_iso"].state is State.NOT_APPLICABLE
    assert judged(said(auto_iso=None))["auto_iso"].state is State.UNKNOWN
    item = judged(replace(said(auto_iso=None, iso="Auto"), identity=button.identity))["auto_iso"]
    assert (item.state, item.advice) == (State.BAD, "Set a fixed ISO.")


@pytest.mark.parametrize(("share", "state"), [(0.02, State.OK), (0.98, State.BAD), (None, State.UNKNOWN)])
def test_the_bodys_own_dark_frame_is_inferred_from_how_long_it_was_busy(share: float | None, state: State) -> None:
    item = judged(replace(said(dark_frame=None), dark_frame_share=share))["dark_frame"]
    assert item.state is state
    assert item.source is (Source.CAMERA if share is None else Source.INFERRED)


def test_the_dark_frame_may_be_wanted() -> None:
    assert judged(said(dark_frame="On"), Wanted(dark_frame="on"))["dark_frame"].state is State.OK


def test_an_unproven_family_is_unknown() -> None:
    item = judged(replace(FACTS, identity=replace(BODY, proven=False)))["holding"]
    assert item.state is State.UNKNOWN and item.advice and "bench" in item.advice


@pytest.mark.parametrize(
    ("word", "bad", "unknown"),
    [
        ("Continuous low speed", {"drive"}, set()),
        ("Continuous timer", {"self_timer"}, set()),
        ("Single silent", set(), set()),
        ("Continuous Bracket 0.3 EV 3 Img.", {"drive", "bracketing"}, {"bracketing"}),
        ("Mirror Up", {"drive", "mirror_lock"}, {"mirror_lock"}),
        ("Quick Response Remote", set(), {"self_timer", "drive"}),
        ("Unknown value 8012", set(), {"self_timer", "drive"}),
    ],
)
def test_a_drive_dial_in_the_librarys_words_finds_its_fault_and_no_other(
    word: str, bad: set[str], unknown: set[str]
) -> None:
    silent = {"bracketing": None, "mirror_lock": None} if unknown & {"bracketing", "mirror_lock"} else {}
    items = judged(said(drive=word, **silent))
    assert {name for name, item in items.items() if item.state is State.BAD} == bad
    asked = {"self_timer", "drive", "bracketing", "mirror_lock"} - bad
    expected = (unknown | set(silent)) - bad
    assert {name for name in asked if items[name].state is State.UNKNOWN} == expected
    assert all(items[name].fix == "single" for name in bad)


def test_a_white_balance_without_a_name_is_unknown() -> None:
    assert judged(said(white_balance="Unknown value 8013"))["white_balance"].state is State.UNKNOWN
    assert judged(said(white_balance="AWB White"))["white_balance"].state is State.BAD


@pytest.mark.parametrize(("word", "state", "value"), [("0", State.OK, "off"), ("1", State.BAD, "on")])
def test_a_bare_number_is_inferred_and_shown_with_what_it_is_taken_for(word: str, state: State, value: str) -> None:
    for name in ("stabiliser", "electronic_shutter", "mirror_lock"):
        item = judged(said(**{name: word}))[name]
        assert (item.state, item.source, item.value) == (state, Source.INFERRED, f"{word}, taken for {value}")
    assert judged(said(stabiliser="7"))["stabiliser"].value == "7"  # that it is not off needs no word


def test_the_disk_is_reckoned_with_the_frames_that_the_bench_saw() -> None:
    tight = replace(FACTS, disk_free_bytes=1_200_000_000)
    assert judged(tight)["free_disk"].state is State.BAD
    assert judged(replace(tight, frame_bytes=60_000_000))["free_disk"].state is State.OK


def test_the_bench_proves_a_body_of_an_unproven_family() -> None:
    item = judged(replace(FACTS, identity=replace(BODY, proven=False), bench_passed=True))["holding"]
    assert (item.state, item.source, item.advice) == (State.OK, Source.INFERRED, None)
    held = judged(replace(FACTS, identity=replace(BODY, holds=False), bench_passed=True))["holding"]
    assert held.state is State.BAD
