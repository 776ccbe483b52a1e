"""The check before the shot: what the body says, judged by meaning. Pure; nothing is asked or changed here.

Every item has a fixed id. What cannot be read is unknown, and unknown is never right: a person is asked. The order
is that in which a person would look, and what only a person can see comes last.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import Enum

from duskhold.app.promise import promised_files
from duskhold.camera.port import Identity, Setting
from duskhold.camera.words import BULB, DRIVES, battery_percent, meaning, same_meaning

SPARE_SHOTS = 1.2  # frames that are taken besides those planned; common practice, no source
CLOCK_OFFSET_MAX_S = 3.0  # two seconds, and one that both clocks cut off
FRAME_BYTES = 150_000_000  # a raw and a JPEG of the largest bodies


class State(Enum):
    OK = "ok"
    BAD = "bad"
    UNKNOWN = "unknown"
    NOT_APPLICABLE = "not_applicable"


class Source(Enum):
    CAMERA = "camera"
    PERSON = "person"
    INFERRED = "inferred"


@dataclass(frozen=True, slots=True)
class Item:
    """One line of the check. `fix` is the word that would put it right, where a setting can be set to it."""

    item: str
    state: State
    source: Source
    value: str | None
    expected: str
    why: str
    advice: str | None = None
    setting: Setting | None = None
    fix: str | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the frames to come ask for. `dark_frame` is whether the body's own dark frame is wanted: "on" or "off"."""

    frames: int = 10
    iso: str = "100"
    dark_frame: str = "off"
    battery_percent: int = 30
    disk_reserve_bytes: int = 500_000_000


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that is known at the moment of the check.

    `clock_offset_s` is the body's clock minus ours; `dark_frame_share` what the bench learnt of the body's own dark
    frame, as the busy time after an exposure over the exposure; None where not known. `bench_passed` is whether this
    body has held frames there with this version of the library, `frame_bytes` what one frame takes on the disk.
    """

    identity: Identity
    said: Mapping[Setting, str]
    disk_free_bytes: int
    clock_offset_s: float | None = None
    leftovers: int | None = None
    dark_frame_share: float | None = None
    bench_passed: bool = False
    frame_bytes: int = FRAME_BYTES


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person said of an item, and how long ago."""

    right: bool
    age_s: float


PEOPLE = {
    "eyepiece": ("eyepiece covered", "light through the finder fogs a long frame", "Cover the eyepiece."),
    "ring": (
        "focus and zoom ring untouched",
        "a bumped ring ruins every frame after it",
        "Focus again, then hands off.",
    ),
    "filter_clean": ("filter and front element clean", "drops and dust show at small apertures", "Wipe both sides."),
    "lead": ("lead tied at body and tripod", "a pulled lead ends the frame", "Tie it with a slack loop."),
    "leave_by": ("leave-by time set", "the tide and the way back do not wait", "Set the leave-by time now."),
}


def judge(facts: Facts, wanted: Wanted, answers: Mapping[str, Answer]) -> list[Item]:
    """Every item, in order. An answer of a person stands only where the body says nothing."""
    items = [judge_one(facts, wanted) for judge_one in _JUDGES]
    items += [
        Item(name, State.UNKNOWN, Source.PERSON, None, expected, why, advice)
        for name, (expected, why, advice) in PEOPLE.items()
    ]
    return [_with_answer(item, answers.get(item.item)) for item in items]


def is_ready(items: list[Item]) -> bool:
    return all(item.state in (State.OK, State.NOT_APPLICABLE) for item in items)


def item_ids() -> list[str]:
    """The fixed ids, in order."""
    return [*(name for name, _ in _IDS), *PEOPLE]


def _with_answer(item: Item, answer: Answer | None) -> Item:
    if answer is None or item.state is not State.UNKNOWN:
        return item
    if answer.right:
        return replace(item, state=State.OK, source=Source.PERSON, value=item.value or "as a person said", advice=None)
    return replace(item, state=State.BAD, source=Source.PERSON, value=item.value or "not right, as a person said")


# What the body can be held by


def _holding(facts: Facts, wanted: Wanted) -> Item:
    who = facts.identity
    why = "a frame of minutes needs a shutter that is held and let go"
    item = Item("holding", State.OK, Source.CAMERA, who.family, "a family that can be held", why)
    if not who.holds:
        advice = "This body cannot be held from here. Timed exposures up to its longest dial time still work."
        return replace(item, state=State.BAD, advice=advice)
    if not who.proven and facts.bench_passed:
        return replace(item, source=Source.INFERRED, value=f"{who.family}, passed on the bench")
    if not who.proven:
        advice = "Never seen at work: run `duskhold body bench` first."
        return replace(item, state=State.UNKNOWN, expected="seen to hold frames on this body", advice=advice)
    return item


def _mode(facts: Facts, wanted: Wanted) -> Item:
    why = "another mode ends at 30 s or chooses for itself"
    return _among("mode", Setting.MODE, facts, ("manual", BULB), why, "Turn the mode dial to M or B.")


def _shutter(facts: Facts, wanted: Wanted) -> Item:
    why = "at a dial time the body closes by itself"
    item = _among("shutter", Setting.SHUTTER, facts, (BULB,), why, "Set the shutter to bulb.")
    mode = facts.said.get(Setting.MODE)
    if mode is not None and meaning(Setting.MODE, mode) == BULB:
        return replace(item, state=State.OK, source=Source.INFERRED, value="mode B", advice=None, fix=None)
    if facts.identity.vendor_extension == 0 and facts.identity.holds:
        return replace(item, state=State.NOT_APPLICABLE, advice=None, fix=None)
    return item


def _iso(facts: Facts, wanted: Wanted) -> Item:
    why = "a fixed base ISO keeps the highlights and the arithmetic"
    return _among("iso", Setting.ISO, facts, (wanted.iso,), why, f"Set ISO {wanted.iso}, or say --iso.")


def _auto_iso(facts: Facts, wanted: Wanted) -> Item:
    item = _off("auto_iso", Setting.AUTO_ISO, facts, "the body would change the ISO by itself")
    iso = facts.said.get(Setting.ISO)
    if item.state is State.UNKNOWN and iso is not None and facts.identity.vendor_extension in (0, 0x000B):
        is_number = not isinstance(meaning(Setting.ISO, iso), str)
        state = State.NOT_APPLICABLE if is_number else State.BAD
        advice = None if is_number else "Set a fixed ISO."
        return replace(item, state=state, source=Source.INFERRED, value=f"ISO {iso}", advice=advice)
    return item


def _aperture(facts: Facts, wanted: Wanted) -> Item:
    said = facts.said.get(Setting.APERTURE)
    why = "an aperture that changes makes frames differ"
    item = Item("aperture", State.OK, Source.CAMERA, said, "one f-number", why)
    if said is None or isinstance(meaning(Setting.APERTURE, said), str):
        advice = "Set an f-number; for a lens without a lead to the body, say that its ring is set."
        return replace(item, state=State.UNKNOWN, advice=advice)
    return item


def _quality(facts: Facts, wanted: Wanted) -> Item:
    said = facts.said.get(Setting.QUALITY)
    kinds = promised_files(said)
    meant = f"{'+'.join(kinds)}: {len(kinds)} file{'s' * (len(kinds) > 1)}" if kinds else None
    why = "without a raw file nothing can be measured or mended"
    item = Item("quality", State.OK, Source.CAMERA, meant or said, "raw, with or without JPEG", why)
    if meant is None:
        return replace(item, state=State.UNKNOWN, advice="See that the body stores raw files, and how many.")
    if "raw" not in kinds:
        return _fixable(replace(item, state=State.BAD, advice="Set raw + JPEG."), Setting.QUALITY, "raw+jpeg")
    return item


def _focus(facts: Facts, wanted: Wanted) -> Item:
    why = "a body that focuses in the dark hunts, or never opens"
    return _among("focus", Setting.FOCUS, facts, ("manual",), why, "Switch lens or body to manual focus.")


def _stabiliser(facts: Facts, wanted: Wanted) -> Item:
    return _off("stabiliser", Setting.STABILISER, facts, "on a tripod it smears the frame by itself")


def _electronic_shutter(facts: Facts, wanted: Wanted) -> Item:
    why = "it reads row by row: bands by lamps, poor shadows, and on some bodies no long times"
    advice = "Set the mechanical shutter; a body with a mirror has no other."
    item = _among("electronic_shutter", Setting.ELECTRONIC_SHUTTER, facts, ("off",), why, advice)
    return _as_inferred(item, Setting.ELECTRONIC_SHUTTER)


def _dark_frame(facts: Facts, wanted: Wanted) -> Item:
    why = "the body's own dark frame takes as long again: it costs every second frame"
    advice = f"Switch the long-exposure noise reduction {wanted.dark_frame}, or say --dark-frame."
    item = _among("dark_frame", Setting.DARK_FRAME, facts, (wanted.dark_frame,), why, advice)
    share = facts.dark_frame_share
    if item.state is State.UNKNOWN and share is not None:
        learnt = "on" if share > 0.5 else "off"
        item = replace(item, source=Source.INFERRED, value=learnt)
        if learnt == wanted.dark_frame:
            return replace(item, state=State.OK, advice=None)
        return replace(item, state=State.BAD)
    return item


def _exposure_delay(facts: Facts, wanted: Wanted) -> Item:
    return _off("exposure_delay", Setting.EXPOSURE_DELAY, facts, "it opens 1 to 3 s late, and the frame is short")


def _mirror_lock(facts: Facts, wanted: Wanted) -> Item:
    item = _off("mirror_lock", Setting.MIRROR_LOCK, facts, "the first press lifts the mirror and opens nothing")
    return _told_by_drive(item, facts, "mirror_up")


def _self_timer(facts: Facts, wanted: Wanted) -> Item:
    right = tuple(DRIVES - {"self_timer"})
    return replace(_of_drive("self_timer", facts, right, "it opens late", "Switch it off."), expected="off")


def _drive(facts: Facts, wanted: Wanted) -> Item:
    why = "one press must be one frame"
    return replace(_of_drive("drive", facts, ("single", "self_timer"), why, "Set single frames."), expected="single")


def _of_drive(item_id: str, facts: Facts, right: tuple[str, ...], why: str, advice: str) -> Item:
    item = _among(item_id, Setting.DRIVE, facts, right, why, advice)
    if _drives(facts) not in DRIVES:
        return replace(item, state=State.UNKNOWN, advice=advice, setting=None, fix=None)
    return replace(item, fix="single" if item.fix else None)


def _drives(facts: Facts) -> str:
    return str(meaning(Setting.DRIVE, facts.said.get(Setting.DRIVE, "")))


def _told_by_drive(item: Item, facts: Facts, word: str) -> Item:
    """The same item; bad where the body says nothing of it, and its drive dial stands at `word`."""
    if item.state is not State.UNKNOWN or _drives(facts) != word:
        return item
    bad = replace(item, state=State.BAD, source=Source.INFERRED, value=facts.said[Setting.DRIVE])
    return _fixable(bad, Setting.DRIVE, "single")


def _bracketing(facts: Facts, wanted: Wanted) -> Item:
    item = _off("bracketing", Setting.BRACKETING, facts, "it changes the exposure from frame to frame")
    return _told_by_drive(item, facts, "bracketing")


def _white_balance(facts: Facts, wanted: Wanted) -> Item:
    said = facts.said.get(Setting.WHITE_BALANCE)
    why = "fixed, frames and their previews can be compared"
    item = Item("white_balance", State.OK, Source.CAMERA, said, "fixed", why)
    if said is None or said.lower().startswith("unknown"):
        return replace(item, state=State.UNKNOWN, advice="Set a fixed white balance, such as daylight.")
    if meaning(Setting.WHITE_BALANCE, said) == "auto":
        item = replace(item, state=State.BAD, advice="Set a fixed white balance, such as daylight.")
        return _fixable(item, Setting.WHITE_BALANCE, "daylight")
    return item


def _target(facts: Facts, wanted: Wanted) -> Item:
    item = _among(
        "target", Setting.TARGET, facts, ("card",), "pictures in the body's memory get lost", "Choose the card."
    )
    if item.state is State.UNKNOWN:
        return replace(item, state=State.NOT_APPLICABLE, advice=None)  # such a body stores where it always does
    return item


# What must be enough


def _free_shots(facts: Facts, wanted: Wanted) -> Item:
    said = facts.said.get(Setting.SHOTS_LEFT)
    need = math.ceil(wanted.frames * SPARE_SHOTS)
    why = "a full card loses the frame"
    item = Item("free_shots", State.OK, Source.CAMERA, said, f"at least {need}", why)
    if said is None or not said.strip().isdigit():
        return replace(item, state=State.UNKNOWN, advice="Look how many pictures the card still takes.")
    if int(said) < need:
        return replace(item, state=State.BAD, advice="Change the card. Nothing is erased from here.")
    return item


def _free_disk(facts: Facts, wanted: Wanted) -> Item:
    need = wanted.frames * facts.frame_bytes + wanted.disk_reserve_bytes
    state = State.OK if facts.disk_free_bytes >= need else State.BAD
    value, expected = f"{facts.disk_free_bytes / 1e9:.1f} GB", f"at least {need / 1e9:.1f} GB"
    advice = None if state is State.OK else "Make room, or choose another --data folder."
    return Item(
        "free_disk", state, Source.INFERRED, value, expected, "frames are brought home while you are out", advice
    )


def _battery(facts: Facts, wanted: Wanted) -> Item:
    said = facts.said.get(Setting.BATTERY)
    why = "a battery that dies with the shutter open loses the frame"
    item = Item("battery", State.OK, Source.CAMERA, said, f"at least {wanted.battery_percent} %", why)
    percent = battery_percent(said)
    if percent is None:
        return replace(item, state=State.UNKNOWN, advice="Look at the battery on the body.")
    if percent < wanted.battery_percent:
        return replace(item, state=State.BAD, advice="Change the battery.")
    return item


def _clock(facts: Facts, wanted: Wanted) -> Item:
    said, offset_s = facts.said.get(Setting.CLOCK), facts.clock_offset_s
    why = "files sort by it, and a track is matched by it"
    item = Item("clock", State.OK, Source.CAMERA, said, f"within {CLOCK_OFFSET_MAX_S:g} s of this machine", why)
    if offset_s is None:
        return replace(item, state=State.UNKNOWN, advice="Compare the body's clock with a good one.")
    item = replace(item, value=f"{offset_s:+.0f} s")
    if abs(offset_s) > CLOCK_OFFSET_MAX_S:
        item = replace(item, state=State.BAD, advice="Set the body's clock; it may also be in another zone.")
        return replace(item, setting=Setting.CLOCK, fix="now")
    return item


def _live_view(facts: Facts, wanted: Wanted) -> Item:
    return _off("live_view", Setting.LIVE_VIEW, facts, "it warms the sensor and drains the battery")


def _leftovers(facts: Facts, wanted: Wanted) -> Item:
    count = facts.leftovers
    why = "a picture from before can be taken for the next frame's"
    item = Item("leftovers", State.OK, Source.CAMERA, None if count is None else str(count), "0", why)
    if count is None:
        return replace(item, state=State.UNKNOWN, advice="Ask again when the camera is free.")
    if count:
        return replace(item, state=State.BAD, advice="`duskhold status` tells of frames that wait to be collected.")
    return item


# Below: small print


def _off(item_id: str, setting: Setting, facts: Facts, why: str) -> Item:
    return _as_inferred(_among(item_id, setting, facts, ("off",), why, "Switch it off."), setting)


def _as_inferred(item: Item, setting: Setting) -> Item:
    """A bare number where the library has no word for it: that 0 is off is a custom, and nobody's word."""
    meant = None if item.value is None else meaning(setting, item.value)
    if item.value is None or not item.value.isdigit() or meant == item.value:
        return item
    return replace(item, source=Source.INFERRED, value=f"{item.value}, taken for {meant}")


def _among(item_id: str, setting: Setting, facts: Facts, right: tuple[str, ...], why: str, advice: str) -> Item:
    said = facts.said.get(setting)
    item = Item(item_id, State.OK, Source.CAMERA, said, " or ".join(right), why)
    if said is None or str(meaning(setting, said)).startswith("unknown"):
        return replace(item, state=State.UNKNOWN, advice=advice)
    if not any(same_meaning(setting, said, word) for word in right):
        return _fixable(replace(item, state=State.BAD, advice=advice), setting, right[0])
    return item


def _fixable(item: Item, setting: Setting, word: str) -> Item:
    return replace(item, setting=setting, fix=word)


_IDS: tuple[tuple[str, Callable[[Facts, Wanted], Item]], ...] = (
    ("holding", _holding),
    ("mode", _mode),
    ("shutter", _shutter),
    ("iso", _iso),
    ("auto_iso", _auto_iso),
    ("aperture", _aperture),
    ("quality", _quality),
    ("focus", _focus),
    ("stabiliser", _stabiliser),
    ("electronic_shutter", _electronic_shutter),
    ("dark_frame", _dark_frame),
    ("exposure_delay", _exposure_delay),
    ("mirror_lock", _mirror_lock),
    ("self_timer", _self_timer),
    ("drive", _drive),
    ("bracketing", _bracketing),
    ("white_balance", _white_balance),
    ("target", _target),
    ("free_shots", _free_shots),
    ("free_disk", _free_disk),
    ("battery", _battery),
    ("clock", _clock),
    ("live_view", _live_view),
    ("leftovers", _leftovers),
)
_JUDGES = tuple(judge_one for _, judge_one in _IDS)
