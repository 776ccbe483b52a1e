"""What a picture says of its own exposure: true open time, f-number, ISO, and when its middle was.

Exif (CIPA DC-008): ExposureTime 0x829A, FNumber 0x829D, PhotographicSensitivity 0x8827, DateTimeOriginal 0x9003,
SubSecTimeOriginal 0x9291, OffsetTimeOriginal 0x9011. A time that is a mark of the dial is taken for what the dial
really runs; so is an f-number.
"""

import logging
import struct
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import exifread
from exifread.core.exceptions import ExifError

from duskhold.light.dials import APERTURE, SHUTTER, Dial, NotOnDial

# What it has to say of a file that is no picture comes as an error of ours, once and with the file's name.
logging.getLogger(exifread.__name__).setLevel(logging.CRITICAL)

_LONGEST_ON_DIAL_S = 30.5
_TRIPPED = (ArithmeticError, AssertionError, AttributeError, LookupError, TypeError, ValueError, struct.error)


class ExposureUnknown(Exception):
    """The picture does not say how it was exposed; the message says what is missing."""


@dataclass(frozen=True, slots=True)
class Shooting:
    """How a picture was exposed. `taken_utc` is the opening; None when the picture has no offset from UTC."""

    open_s: float
    f_number: float
    iso: float
    taken_utc: datetime | None

    @property
    def middle_utc(self) -> datetime | None:
        """The middle of the exposure."""
        return None if self.taken_utc is None else self.taken_utc + timedelta(seconds=self.open_s / 2.0)


def shooting_of(path: Path, assumed_offset: timedelta | None = None) -> Shooting:
    """Read it from a picture's Exif; `assumed_offset` stands in for a missing offset. Raises `ExposureUnknown`."""
    tags = _tags(path)
    exif_s = _number(tags, "EXIF ExposureTime", path)
    return Shooting(
        open_s=_true(SHUTTER, exif_s) if exif_s <= _LONGEST_ON_DIAL_S else exif_s,
        f_number=_true(APERTURE, _number(tags, "EXIF FNumber", path)),
        iso=_number(tags, "EXIF ISOSpeedRatings", path),
        taken_utc=_taken(tags, assumed_offset),
    )


def written_s(path: Path) -> float:
    """The exposure time as the picture has it, in seconds, for a held frame no mark of a dial.

    Raises `ExposureUnknown`.
    """
    return _number(_tags(path), "EXIF ExposureTime", path)


def focal_length_mm(path: Path) -> float | None:
    """What the lens told the camera (Exif FocalLength 0x920A); None where it told nothing, or 0, or is damaged."""
    try:
        return _number(_tags(path), "EXIF FocalLength", path)
    except ExposureUnknown:
        return None


def _tags(path: Path) -> dict[str, Any]:
    """Every tag. A file that is damaged, or of an unknown kind, trips the reader over in many ways."""
    try:
        with path.open("rb") as file:
            tags: dict[str, Any] = exifread.process_file(file, details=False)
    except (*_TRIPPED, ExifError) as error:
        raise ExposureUnknown(f"{path.name} cannot be read ({type(error).__name__}: {error})") from error
    return tags


def _true(dial: Dial, value: float) -> float:
    try:
        return dial.find(f"{value:.9f}").true_value
    except NotOnDial:
        return value


def _number(tags: dict[str, Any], name: str, path: Path) -> float:
    tag = tags.get(name)
    if tag is None or not tag.values:
        raise ExposureUnknown(f"{path.name} does not say its {name.removeprefix('EXIF ')}")
    first = tag.values[0]
    try:
        value = float(first.num) / float(first.den) if hasattr(first, "num") and first.den else float(first)
    except (TypeError, ValueError, ArithmeticError) as error:
        raise ExposureUnknown(f"{path.name} says {name.removeprefix('EXIF ')} {first!r}") from error
    if value <= 0.0:
        raise ExposureUnknown(f"{path.name} says {name.removeprefix('EXIF ')} {value:g}")
    return value


def _taken(tags: dict[str, Any], assumed_offset: timedelta | None) -> datetime | None:
    text = str(tags.get("EXIF DateTimeOriginal", "")).strip()
    try:
        local = datetime.strptime(text, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 (its zone is another tag)
    except ValueError:
        return None
    offset = _offset(str(tags.get("EXIF OffsetTimeOriginal", "")).strip())
    offset = assumed_offset if offset is None else offset
    if offset is None:
        return None
    part = str(tags.get("EXIF SubSecTimeOriginal", "")).strip()
    fraction_s = float(f"0.{part}") if part.isdigit() else 0.0
    return (local.replace(tzinfo=timezone(offset)) + timedelta(seconds=fraction_s)).astimezone(UTC)


def _offset(text: str) -> timedelta | None:
    if len(text) != 6 or text[0] not in "+-" or text[3] != ":":
        return None
    if not (text[1:3].isdigit() and text[4:].isdigit()):
        return None
    length = timedelta(hours=int(text[1:3]), minutes=int(text[4:]))
    return -length if text[0] == "-" else length
