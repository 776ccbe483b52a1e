"""Packets of CIPA DC-005 and data sets of ISO 15740, byte by byte as the standards lay them out."""

from __future__ import annotations

import struct
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.camera.ptp import (
    BrokenPacket,
    Packet,
    PacketReader,
    PacketType,
    Reply,
    Request,
    RequestAssembler,
    pack_command_ack,
    pack_event,
    pack_packet,
    pack_reply,
)
from duskhold.camera.ptp_codes import DataType, ObjectFormat, Response
from duskhold.camera.ptp_dataset import (
    DeviceInfo,
    ObjectInfo,
    PropertyDescription,
    pack_device_info,
    pack_object_info,
    pack_property_description,
    pack_storage_info,
    pack_string,
    pack_time,
    unpack_string,
    unpack_value,
)


@given(st.lists(st.binary(max_size=40), min_size=1, max_size=6), st.integers(1, 17))
def test_packets_come_out_whole_however_the_bytes_arrive(bodies: list[bytes], step: int) -> None:
    stream = b"".join(pack_packet(PacketType.DATA, body) for body in bodies)
    reader = PacketReader()
    found = [packet for at in range(0, len(stream), step) for packet in reader.feed(stream[at : at + step])]
    assert found == [Packet(PacketType.DATA, body) for body in bodies]


@pytest.mark.parametrize("length", [0, 7, 1 << 24])
def test_a_length_that_cannot_be_is_refused(length: int) -> None:
    with pytest.raises(BrokenPacket):
        list(PacketReader().feed(struct.pack("<II", length, PacketType.DATA)))


def test_an_operation_request_without_data() -> None:
    # CIPA DC-005, operation request packet: data phase info, operation code, transaction, up to five parameters.
    body = struct.pack("<IHIII", 1, 0x1007, 9, 0xFFFFFFFF, 0)
    request = RequestAssembler().take(Packet(PacketType.OPERATION_REQUEST, body))
    assert request == Request(0x1007, 9, (0xFFFFFFFF, 0))
    assert request.param(1) == request.param(4) == 0


def test_a_request_waits_for_its_data() -> None:
    assembler = RequestAssembler()
    asked = struct.pack("<IHII", 2, 0x1016, 5, 0x500D)
    assert assembler.take(Packet(PacketType.OPERATION_REQUEST, asked)) is None
    assert assembler.take(Packet(PacketType.START_DATA, struct.pack("<IQ", 5, 4))) is None
    assert assembler.take(Packet(PacketType.DATA, struct.pack("<I", 5) + b"\x01\x02")) is None
    whole = assembler.take(Packet(PacketType.END_DATA, struct.pack("<I", 5) + b"\x03\x04"))
    assert whole == Request(0x1016, 5, (0x500D,), b"\x01\x02\x03\x04")


def test_data_out_of_turn_is_refused() -> None:
    with pytest.raises(BrokenPacket):
        RequestAssembler().take(Packet(PacketType.END_DATA, b"\0\0\0\0"))
    with pytest.raises(BrokenPacket):
        RequestAssembler().take(Packet(PacketType.INIT_EVENT_ACK, b""))


def test_a_reply_with_data_announces_its_length_and_ends_with_the_response() -> None:
    data = bytes(600_000)
    packets = list(PacketReader().feed(pack_reply(7, Reply(Response.OK, (3,), data))))
    kinds = [packet.kind for packet in packets]
    assert kinds == [PacketType.START_DATA, PacketType.DATA, PacketType.DATA, PacketType.END_DATA, 7]
    assert struct.unpack("<IQ", packets[0].body) == (7, len(data))
    assert b"".join(packet.body[4:] for packet in packets[1:-1]) == data
    assert struct.unpack("<HII", packets[-1].body) == (0x2001, 7, 3)


def test_an_empty_data_phase_is_still_a_data_phase() -> None:
    packets = list(PacketReader().feed(pack_reply(1, Reply(Response.OK, data=b""))))
    assert [packet.kind for packet in packets] == [9, 12, 7]


def test_the_first_answer_carries_connection_name_and_version() -> None:
    # CIPA DC-005, init command acknowledgement: connection number, GUID, friendly name, protocol version 1.0.
    (packet,) = PacketReader().feed(pack_command_ack(1, bytes(16), "Ab"))
    assert packet.kind == 2
    assert packet.body == b"\1\0\0\0" + bytes(16) + b"A\0b\0\0\0" + b"\0\0\1\0"


def test_an_event_packet() -> None:
    (packet,) = PacketReader().feed(pack_event(0x4002, 0xFFFFFFFF, [17]))
    assert packet == Packet(8, struct.pack("<HII", 0x4002, 0xFFFFFFFF, 17))


def test_strings_count_their_terminator() -> None:
    # ISO 15740, strings: a count of characters with the terminator, then UTF-16; the empty string is one zero.
    assert pack_string("AB") == b"\x03A\0B\0\0\0"
    assert pack_string("") == b"\0"
    with pytest.raises(ValueError, match="cut off"):
        unpack_string(b"\x05A\0")


@given(st.text(st.characters(codec="ascii", exclude_characters="\0"), max_size=200))
def test_strings_come_back(text: str) -> None:
    assert unpack_string(pack_string(text)) == text


def test_times_are_written_the_standards_way() -> None:
    # ISO 15740, DateTime strings: YYYYMMDDThhmmss.
    assert unpack_string(pack_time(datetime.fromisoformat("2026-03-20T18:05:09"))) == "20260320T180509"


def test_the_device_info_names_the_vendor_extension_third() -> None:
    info = DeviceInfo(0x000A, [0x1001, 0x920C], [0x4002], [0x500D], "maker", "model", "1", "S-1")
    packed = pack_device_info(info)
    assert struct.unpack_from("<HIH", packed) == (100, 0x000A, 100)
    assert struct.pack("<IHH", 2, 0x1001, 0x920C) in packed
    assert packed.endswith(pack_string("model") + pack_string("1") + pack_string("S-1"))


def test_the_object_info_has_its_name_at_byte_52() -> None:
    # ISO 15740, ObjectInfo data set: fixed fields of 52 bytes, then the file name.
    packed = pack_object_info(ObjectInfo(0x00010001, 4, "A.JPG", ObjectFormat.EXIF_JPEG, 1234))
    assert struct.unpack_from("<IHHI", packed) == (0x00010001, 0x3801, 0, 1234)
    assert struct.unpack_from("<I", packed, 38) == (4,)
    assert unpack_string(packed[52:]) == "A.JPG"


def test_the_storage_info_counts_bytes_and_pictures() -> None:
    packed = pack_storage_info(1000, 600, 3)
    assert struct.unpack_from("<HHHQQI", packed) == (4, 3, 0, 1000, 600, 3)


def test_a_property_with_a_list_and_one_with_limits() -> None:
    # ISO 15740, DevicePropDesc: code, type, settable, default, current, form; form 2 is a list, form 1 a range.
    listed = pack_property_description(PropertyDescription(0x500F, DataType.UINT16, 200, True, (100, 200)))
    assert listed == struct.pack("<HHBHHBHHH", 0x500F, 4, 1, 200, 200, 2, 2, 100, 200)
    ranged = pack_property_description(PropertyDescription(0xD06B, DataType.UINT8, 1, True, limits=(0, 1)))
    assert ranged == struct.pack("<HHBBBBBBB", 0xD06B, 2, 1, 1, 1, 1, 0, 1, 1)
    plain = pack_property_description(PropertyDescription(0x5001, DataType.UINT8, 96, False))
    assert plain == struct.pack("<HHBBBB", 0x5001, 2, 0, 96, 96, 0)


def test_a_value_with_too_few_bytes_is_refused() -> None:
    assert unpack_value(DataType.UINT32, b"\1\0\0\0") == 1
    with pytest.raises(ValueError, match="cut off"):
        unpack_value(DataType.UINT32, b"\1\0")
