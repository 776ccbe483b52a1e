"""The settings of vendor extension 0x000B: the body's words on one side, the numbers of its event queue on the other.

Times, apertures and speeds are counted in eighths of a stop, thirds rounded (3 and 5 of 8). The numbers are those
that the camera library's tables hold (libgphoto2, camlibs/ptp2/config.c).
"""

from __future__ import annotations

import calendar
import math
import struct
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from duskhold.camera.body import SimulatedBody
from duskhold.camera.properties import NoSuchValue
from duskhold.camera.ptp_codes import PressProperty
from duskhold.camera.words import BULB
from duskhold.light.dials import APERTURE, ISO, SHUTTER

_ONE_SECOND, _F_1, _ISO_100 = 0x38, 0x08, 0x48
_BULB_NUMBERS = (0x0C, 0x04)
_PER_STOP = 8
_RAW_TYPE, _JPEG_TYPE = 6, 1
_ENTRY_BYTES = 16


@dataclass(frozen=True, slots=True)
class PressSetting:
    """How one setting goes over the wire: `pack` makes the wire's bytes of the body's word, `unpack` the reverse."""

    code: int
    setting: str
    pack: Callable[[str], bytes]
    unpack: Callable[[bytes, Sequence[str]], str]
    settable: bool = True
    has_choices: bool = True

    def value(self, body: SimulatedBody, now_s: float) -> bytes:
        return self.pack(body.value(self.setting, now_s))

    def choices(self, body: SimulatedBody) -> Sequence[bytes]:
        return [self.pack(word) for word in body.choices(self.setting)] if self.has_choices else []

    def word(self, body: SimulatedBody, data: bytes) -> str:
        """The body's word for a value from the wire. Raises `NoSuchValue`."""
        try:
            return self.unpack(data, body.choices(self.setting))
        except (struct.error, ValueError, KeyError) as wrong:
            raise NoSuchValue(f"{self.setting} does not take {data.hex()}") from wrong


def press_properties() -> tuple[PressSetting, ...]:
    """Everything that the check before the shot can read in this family; the focus switch cannot be set from here."""
    codes = PressProperty
    return (
        _counted(codes.SHUTTER_SPEED, "shutter", _shutter_number),
        _counted(codes.APERTURE, "aperture", lambda word: _eighths(2 * math.log2(APERTURE.true_value(word)), _F_1)),
        _counted(codes.ISO, "iso", lambda word: _eighths(math.log2(ISO.true_value(word) / 100), _ISO_100)),
        _table(codes.EXPOSURE_MODE, "mode", {"manual": 3, "aperture": 2, "program": 0}, has_choices=False),
        _table(codes.FOCUS, "focus", {"manual": 3, "single": 0}, settable=False),
        _table(codes.DRIVE, "drive", {"single": 0x0000, "continuous": 0x0001, "self_timer": 0x0010}),
        _table(codes.WHITE_BALANCE, "white_balance", {"auto": 0, "daylight": 1}),
        _table(codes.MIRROR_LOCK, "mirror_lock", {"off": 0, "on": 1}, has_choices=False),
        _table(codes.BRACKETING, "bracketing", {"off": 0, "on": 8}),
        _table(codes.LIVE_VIEW_OUTPUT, "live_view", {"off": 0, "on": 2}),
        _table(codes.DESTINATION, "target", {"memory": 4, "card": 2}),
        PressSetting(codes.IMAGE_FORMAT, "quality", _pack_format, _unpack_format),
        PressSetting(codes.BATTERY, "battery", _pack_battery, _read_only, settable=False, has_choices=False),
        PressSetting(codes.AVAILABLE_SHOTS, "shots_left", _pack_count, _read_only, settable=False, has_choices=False),
        PressSetting(codes.CAMERA_TIME, "clock", _pack_clock, _unpack_clock, has_choices=False),
    )


def _counted(code: int, setting: str, number: Callable[[str], int]) -> PressSetting:
    def unpack(data: bytes, words: Sequence[str]) -> str:
        asked = _number(data)
        if number is _shutter_number and asked in _BULB_NUMBERS:
            return BULB
        # Some names stand for two numbers in the library's table, and it sends the first: the neighbour is meant.
        word = min(words, key=lambda each: abs(number(each) - asked))
        if abs(number(word) - asked) > 1:
            raise ValueError(asked)
        return word

    return PressSetting(code, setting, lambda word: struct.pack("<I", number(word)), unpack)


def _table(
    code: int, setting: str, numbers: Mapping[str, int], settable: bool = True, has_choices: bool = True
) -> PressSetting:
    words = {number: word for word, number in numbers.items()}
    return PressSetting(
        code,
        setting,
        lambda word: struct.pack("<I", numbers[word]),
        lambda data, _: words[_number(data)],
        settable,
        has_choices,
    )


def _number(data: bytes) -> int:
    number: int = struct.unpack_from("<I", data)[0]
    return number


def _eighths(stops: float, zero: int) -> int:
    return zero + round(_PER_STOP * stops)


def _shutter_number(word: str) -> int:
    return _BULB_NUMBERS[0] if word == BULB else _eighths(-math.log2(SHUTTER.true_value(word)), _ONE_SECOND)


def _pack_format(word: str) -> bytes:
    """Count of files, then for each: its length, type, size (0 large) and compression (4 lossless, 3 fine)."""
    raw, jpeg = (_RAW_TYPE, 0, 4), (_JPEG_TYPE, 0, 3)
    entries = {"raw": [raw], "jpeg": [jpeg], "raw+jpeg": [raw, jpeg]}[word]
    packed = b"".join(struct.pack("<4I", _ENTRY_BYTES, *entry) for entry in entries)
    return struct.pack("<I", len(entries)) + packed


def _unpack_format(data: bytes, words: Sequence[str]) -> str:
    return next(word for word in (*words, "") if not word or data.startswith(_pack_format(word))) or _no(data)


def _no(data: bytes) -> str:
    raise ValueError(data)


def _pack_battery(word: str) -> bytes:
    percent = int(word.removesuffix("%"))
    steps = {0: 0, 25: 5, 50: 1, 75: 4, 100: 2}
    return struct.pack("<I", steps[min(steps, key=lambda step: abs(step - percent))])


def _pack_count(word: str) -> bytes:
    return struct.pack("<I", int(word))


def _pack_clock(word: str) -> bytes:
    """The body's own time as if it were UTC."""
    return struct.pack("<I", calendar.timegm(datetime.fromisoformat(word).timetuple()))


def _unpack_clock(data: bytes, words: Sequence[str]) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(_number(data)))


def _read_only(data: bytes, words: Sequence[str]) -> str:
    raise ValueError(data)
