"""PTP data sets (ISO 15740): device, storage, object and property, packed for the wire."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from duskhold.camera.ptp_codes import DataType, ObjectFormat

STRING_CHARACTERS_MAX = 254
_FORMATS = {DataType.UINT8: "<B", DataType.UINT16: "<H", DataType.UINT32: "<I"}
_STANDARD_VERSION = 100
_REMOVABLE_RAM = 0x0004
_CAMERA_FILE_SYSTEM = 0x0003
_READ_WRITE = 0x0000
_NO_FORM, _RANGE, _ENUMERATION = 0x00, 0x01, 0x02
_GENERIC_FOLDER = 0x0001

PropertyValue = int | str


@dataclass(frozen=True, slots=True)
class DeviceInfo:
    vendor_extension: int
    operations: Sequence[int]
    events: Sequence[int]
    properties: Sequence[int]
    manufacturer: str
    model: str
    version: str
    serial: str


@dataclass(frozen=True, slots=True)
class PropertyDescription:
    """One property: its type, its value, and the values that it takes (none: any, or it is read only).

    Some initiators want `limits` (lowest, highest) in place of a list; the step between them is 1.
    """

    code: int
    data_type: DataType
    value: PropertyValue
    settable: bool
    allowed: Sequence[PropertyValue] = ()
    limits: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class ObjectInfo:
    """A file or folder on the card. `parent` 0 is the card's root."""

    storage: int
    parent: int
    name: str
    object_format: ObjectFormat
    size_bytes: int
    captured: datetime | None = None


def pack_string(text: str) -> bytes:
    """Count of characters (terminator included), then UTF-16; an empty string is one zero byte."""
    if not text:
        return b"\0"
    cut = text[:STRING_CHARACTERS_MAX]
    return bytes([len(cut) + 1]) + cut.encode("utf-16-le") + b"\0\0"


def unpack_string(data: bytes) -> str:
    """The string at the start of `data`. Raises ValueError when it is cut off."""
    count = data[0] if data else 0
    spelt = data[1 : 1 + 2 * count]
    if len(spelt) != 2 * count:
        raise ValueError("a string that is cut off")
    return spelt.decode("utf-16-le").rstrip("\0")


def pack_time(moment: datetime | None) -> bytes:
    """ISO 15740's own form of date and time, to the second and without a zone."""
    return pack_string(moment.strftime("%Y%m%dT%H%M%S") if moment else "")


def pack_codes(codes: Sequence[int]) -> bytes:
    """An array of 16-bit codes."""
    return struct.pack(f"<I{len(codes)}H", len(codes), *codes)


def pack_handles(handles: Sequence[int]) -> bytes:
    """An array of 32-bit handles."""
    return struct.pack(f"<I{len(handles)}I", len(handles), *handles)


def pack_value(data_type: DataType, value: PropertyValue) -> bytes:
    if isinstance(value, str):
        return pack_string(value)
    return struct.pack(_FORMATS[data_type], value)


def unpack_value(data_type: DataType, data: bytes) -> PropertyValue:
    """The value in `data`. Raises ValueError when there are too few bytes."""
    if data_type == DataType.STRING:
        return unpack_string(data)
    shape = _FORMATS[data_type]
    if len(data) < struct.calcsize(shape):
        raise ValueError("a value that is cut off")
    number: int = struct.unpack_from(shape, data)[0]
    return number


def pack_device_info(info: DeviceInfo) -> bytes:
    parts = [
        struct.pack("<HIH", _STANDARD_VERSION, info.vendor_extension, _STANDARD_VERSION),
        pack_string(""),
        struct.pack("<H", 0),
        pack_codes(info.operations),
        pack_codes(info.events),
        pack_codes(info.properties),
        pack_codes([ObjectFormat.EXIF_JPEG]),
        pack_codes([ObjectFormat.EXIF_JPEG, ObjectFormat.DNG]),
        pack_string(info.manufacturer),
        pack_string(info.model),
        pack_string(info.version),
        pack_string(info.serial),
    ]
    return b"".join(parts)


def pack_storage_info(capacity_bytes: int, free_bytes: int, free_pictures: int) -> bytes:
    """One removable card with the usual camera folders."""
    head = struct.pack(
        "<HHHQQI",
        _REMOVABLE_RAM,
        _CAMERA_FILE_SYSTEM,
        _READ_WRITE,
        capacity_bytes,
        free_bytes,
        free_pictures,
    )
    return head + pack_string("card") + pack_string("")


def pack_object_info(info: ObjectInfo) -> bytes:
    association = _GENERIC_FOLDER if info.object_format == ObjectFormat.ASSOCIATION else 0
    head = struct.pack("<IHHI", info.storage, info.object_format, 0, info.size_bytes)
    thumb_and_image = struct.pack("<HIIIIII", 0, 0, 0, 0, 0, 0, 0)
    place = struct.pack("<IHII", info.parent, association, 0, 0)
    times = pack_time(info.captured) * 2
    return head + thumb_and_image + place + pack_string(info.name) + times + pack_string("")


def pack_property_description(description: PropertyDescription) -> bytes:
    """`value` stands for the factory default too: nobody resets a body over this link."""
    data_type, value = description.data_type, pack_value(description.data_type, description.value)
    head = struct.pack("<HHB", description.code, data_type, int(description.settable)) + value + value
    if description.limits:
        ends = b"".join(pack_value(data_type, end) for end in (*description.limits, 1))
        return head + bytes([_RANGE]) + ends
    if not description.allowed:
        return head + bytes([_NO_FORM])
    choices = b"".join(pack_value(data_type, choice) for choice in description.allowed)
    return head + struct.pack("<BH", _ENUMERATION, len(description.allowed)) + choices
