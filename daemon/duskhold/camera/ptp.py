"""PTP over TCP/IP: the packets of CIPA DC-005, cut out of a byte stream and put into one.

Little-endian throughout. A packet is a length (of itself, eight bytes included), a type and a body. An operation
is a request, then its data in start, middle and end packets where it has some, then a response (ISO 15740).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum

HEADER_BYTES = 8
PACKET_BYTES_MAX = 1 << 20
DATA_BLOCK_BYTES = 1 << 18
PROTOCOL_VERSION = 0x0001_0000
PARAMS_MAX = 5


class PacketType(IntEnum):
    """CIPA DC-005, table of packet types."""

    INIT_COMMAND_REQUEST = 1
    INIT_COMMAND_ACK = 2
    INIT_EVENT_REQUEST = 3
    INIT_EVENT_ACK = 4
    INIT_FAIL = 5
    OPERATION_REQUEST = 6
    OPERATION_RESPONSE = 7
    EVENT = 8
    START_DATA = 9
    DATA = 10
    CANCEL = 11
    END_DATA = 12
    PROBE_REQUEST = 13
    PROBE_RESPONSE = 14


class DataPhase(IntEnum):
    """Third word of an operation request."""

    NONE_OR_IN = 1
    OUT = 2


class BrokenPacket(Exception):
    """The bytes are no PTP/IP: the link has to be given up."""


@dataclass(frozen=True, slots=True)
class Packet:
    kind: int
    body: bytes


@dataclass(frozen=True, slots=True)
class Request:
    """One operation as asked. `data` is what came with it, empty when nothing did."""

    operation: int
    transaction: int
    params: tuple[int, ...] = ()
    data: bytes = b""

    def param(self, index: int) -> int:
        """The parameter at `index`, or 0: an initiator may leave off what is not used."""
        return self.params[index] if index < len(self.params) else 0


@dataclass(frozen=True, slots=True)
class Reply:
    """What the responder answers, `late_s` seconds after it has done it.

    `data` is None for an operation without a data phase towards the initiator.
    """

    response: int
    params: tuple[int, ...] = ()
    data: bytes | None = None
    late_s: float = 0.0


class PacketReader:
    """Collects received bytes and gives back whole packets."""

    def __init__(self) -> None:
        self._received = bytearray()

    def feed(self, received: bytes) -> Iterator[Packet]:
        """Yield the packets completed by `received`. Raises `BrokenPacket`."""
        self._received += received
        while (packet := self._take()) is not None:
            yield packet

    def _take(self) -> Packet | None:
        if len(self._received) < HEADER_BYTES:
            return None
        length, kind = struct.unpack_from("<II", self._received)
        if not HEADER_BYTES <= length <= PACKET_BYTES_MAX:
            raise BrokenPacket(f"a packet of {length} bytes")
        if len(self._received) < length:
            return None
        body = bytes(self._received[HEADER_BYTES:length])
        del self._received[:length]
        return Packet(kind, body)


class RequestAssembler:
    """Puts an operation request and the data that follows it together."""

    def __init__(self) -> None:
        self._waiting: Request | None = None
        self._data = bytearray()

    def take(self, packet: Packet) -> Request | None:
        """Give back the request once it is whole. Raises `BrokenPacket` for a packet out of turn."""
        if packet.kind == PacketType.OPERATION_REQUEST:
            return self._begin(packet.body)
        if packet.kind in (PacketType.START_DATA, PacketType.DATA, PacketType.END_DATA):
            return self._collect(packet)
        if packet.kind == PacketType.CANCEL:
            self._waiting = None
            return None
        raise BrokenPacket(f"a packet of type {packet.kind} on the command connection")

    def _begin(self, body: bytes) -> Request | None:
        if len(body) < 10:
            raise BrokenPacket("an operation request without its code")
        phase, operation, transaction = struct.unpack_from("<IHI", body)
        count = min(PARAMS_MAX, (len(body) - 10) // 4)
        request = Request(operation, transaction, struct.unpack_from(f"<{count}I", body, 10))
        if phase != DataPhase.OUT:
            return request
        self._waiting = request
        self._data.clear()
        return None

    def _collect(self, packet: Packet) -> Request | None:
        if self._waiting is None:
            raise BrokenPacket("data without a request")
        if packet.kind != PacketType.START_DATA:
            self._data += packet.body[4:]
        if packet.kind != PacketType.END_DATA:
            return None
        asked, self._waiting = self._waiting, None
        return Request(asked.operation, asked.transaction, asked.params, bytes(self._data))


def pack_packet(kind: PacketType, body: bytes) -> bytes:
    return struct.pack("<II", HEADER_BYTES + len(body), kind) + body


def pack_command_ack(connection: int, guid: bytes, name: str) -> bytes:
    """Answer to the first packet of the command connection; `guid` has sixteen bytes."""
    spelt = name.encode("utf-16-le") + b"\0\0"
    version = struct.pack("<I", PROTOCOL_VERSION)
    return pack_packet(PacketType.INIT_COMMAND_ACK, struct.pack("<I", connection) + guid + spelt + version)


def pack_event_ack() -> bytes:
    return pack_packet(PacketType.INIT_EVENT_ACK, b"")


def pack_init_failure(reason: int) -> bytes:
    return pack_packet(PacketType.INIT_FAIL, struct.pack("<I", reason))


def pack_probe_response() -> bytes:
    return pack_packet(PacketType.PROBE_RESPONSE, b"")


def pack_event(event: int, transaction: int, params: Sequence[int] = ()) -> bytes:
    body = struct.pack(f"<HI{len(params)}I", event, transaction, *params)
    return pack_packet(PacketType.EVENT, body)


def pack_reply(transaction: int, reply: Reply) -> bytes:
    """The reply's data packets, where it has data, and its response packet."""
    response = struct.pack(f"<HI{len(reply.params)}I", reply.response, transaction, *reply.params)
    return _pack_data(transaction, reply.data) + pack_packet(PacketType.OPERATION_RESPONSE, response)


def _pack_data(transaction: int, data: bytes | None) -> bytes:
    if data is None:
        return b""
    parts = [pack_packet(PacketType.START_DATA, struct.pack("<IQ", transaction, len(data)))]
    for start in range(0, max(len(data), 1), DATA_BLOCK_BYTES):
        last = start + DATA_BLOCK_BYTES >= len(data)
        kind = PacketType.END_DATA if last else PacketType.DATA
        parts.append(pack_packet(kind, struct.pack("<I", transaction) + data[start : start + DATA_BLOCK_BYTES]))
    return b"".join(parts)
