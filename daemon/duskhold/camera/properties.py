"""The served body's settings as PTP properties: its own words on one side, the wire's numbers on the other."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

from duskhold.camera.body import SimulatedBody
from duskhold.camera.ptp_codes import EXPOSURE_TIME_BULB, DataType, Property, ToggleProperty
from duskhold.camera.ptp_dataset import PropertyDescription, PropertyValue
from duskhold.camera.words import BULB
from duskhold.light.dials import marked_number

_TENTHS_OF_MS_PER_S = 10_000
_F_NUMBER_SCALE = 100


class NoSuchValue(ValueError):
    """The property does not take this value."""


@dataclass(frozen=True, slots=True)
class BodyProperty:
    """How one setting of the body goes over the wire; `write` makes the wire's value of the body's word."""

    code: int
    setting: str
    data_type: DataType
    write: Callable[[str], PropertyValue]
    settable: bool = True
    limits: tuple[int, int] | None = None

    def describe(self, body: SimulatedBody, now_s: float) -> PropertyDescription:
        allowed = [self.write(word) for word in body.choices(self.setting)] if self.settable else []
        value = self.write(body.value(self.setting, now_s))
        return PropertyDescription(self.code, self.data_type, value, self.settable, allowed, self.limits)

    def word(self, body: SimulatedBody, value: PropertyValue) -> str:
        """The body's word for a value from the wire. Raises `NoSuchValue`."""
        if isinstance(value, str):
            return _clock_word(value)
        for word in body.choices(self.setting):
            if self.write(word) == value:
                return word
        raise NoSuchValue(f"{self.setting} does not take {value}")


def standard_properties() -> tuple[BodyProperty, ...]:
    """ISO 15740: exposure time in 0.1 ms, f-number in hundredths."""
    return (
        BodyProperty(Property.BATTERY_LEVEL, "battery", DataType.UINT8, _percent, settable=False),
        BodyProperty(Property.F_NUMBER, "aperture", DataType.UINT16, _hundredths),
        BodyProperty(Property.FOCUS_MODE, "focus", DataType.UINT16, _table({"manual": 1, "single": 0x8010})),
        BodyProperty(Property.EXPOSURE_TIME, "shutter", DataType.UINT32, _tenths_of_ms),
        BodyProperty(Property.EXPOSURE_PROGRAM_MODE, "mode", DataType.UINT16, _table(_PROGRAMS)),
        BodyProperty(Property.EXPOSURE_INDEX, "iso", DataType.UINT16, int),
        BodyProperty(Property.DATE_TIME, "clock", DataType.STRING, _wire_time),
        BodyProperty(Property.WHITE_BALANCE, "white_balance", DataType.UINT16, _table({"auto": 2, "daylight": 4})),
    )


def open_capture_properties() -> tuple[BodyProperty, ...]:
    """ISO 15740 and no more; what the numbers of the picture's quality stand for, the standard leaves to the body."""
    quality = _table({"raw": 1, "jpeg": 2, "raw+jpeg": 3})
    drive = _table({"single": 1, "continuous": 2, "self_timer": 0x8001})
    return (
        *(each for each in standard_properties() if each.code != Property.FOCUS_MODE),
        BodyProperty(Property.FOCUS_MODE, "focus", DataType.UINT16, _table({"manual": 1, "single": 2})),
        BodyProperty(Property.COMPRESSION_SETTING, "quality", DataType.UINT8, quality),
        BodyProperty(Property.STILL_CAPTURE_MODE, "drive", DataType.UINT16, drive),
    )


def toggle_properties() -> tuple[BodyProperty, ...]:
    """Vendor extension 0x000A: what it adds, and its own numbers for the picture's quality."""
    quality = _table({"raw": 0x04, "jpeg": 0x02, "raw+jpeg": 0x07})
    remaining = ToggleProperty.EXPOSURE_REMAINING
    drive = _table({"single": 1, "continuous": 2, "self_timer": 0x8011})
    return (
        *standard_properties(),
        BodyProperty(Property.COMPRESSION_SETTING, "quality", DataType.UINT8, quality),
        BodyProperty(Property.STILL_CAPTURE_MODE, "drive", DataType.UINT16, drive),
        _switch(ToggleProperty.LONG_EXPOSURE_NOISE_REDUCTION, "dark_frame"),
        _switch(ToggleProperty.AUTO_ISO, "auto_iso"),
        _switch(ToggleProperty.EXPOSURE_DELAY, "exposure_delay"),
        _switch(ToggleProperty.BRACKETING, "bracketing"),
        _switch(ToggleProperty.STABILISER, "stabiliser"),
        _switch(ToggleProperty.SILENT_PHOTOGRAPHY, "electronic_shutter"),
        BodyProperty(remaining, "shots_left", DataType.UINT32, int, settable=False),
    )


def _switch(code: int, setting: str) -> BodyProperty:
    return BodyProperty(code, setting, DataType.UINT8, _table({"off": 0, "on": 1}), limits=(0, 1))


_PROGRAMS = {"manual": 1, "program": 2, "aperture": 3}


def _table(numbers: Mapping[str, int]) -> Callable[[str], int]:
    return lambda word: numbers[word]


def _percent(word: str) -> int:
    return int(word.removesuffix("%"))


def _hundredths(word: str) -> int:
    return round(_F_NUMBER_SCALE * marked_number(word))


def _tenths_of_ms(word: str) -> int:
    return EXPOSURE_TIME_BULB if word == BULB else round(_TENTHS_OF_MS_PER_S * marked_number(word))


def _wire_time(word: str) -> str:
    return datetime.fromisoformat(word).strftime("%Y%m%dT%H%M%S")


def _clock_word(value: str) -> str:
    try:
        return datetime.strptime(value.split(".")[0], "%Y%m%dT%H%M%S").isoformat(timespec="seconds")  # noqa: DTZ007
    except ValueError:
        raise NoSuchValue(f"{value!r} is no time") from None
