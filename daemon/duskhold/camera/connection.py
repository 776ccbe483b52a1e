"""One TCP connection of an initiator to the served body: bytes in, packets out, replies that may be kept back."""

from __future__ import annotations

import socket
import struct
from collections import deque
from contextlib import suppress

from duskhold.camera.ptp import BrokenPacket, Packet, PacketReader, Request, RequestAssembler

_RECEIVE_BYTES = 1 << 16
_RESET_ON_CLOSE = struct.pack("ii", 1, 0)


class Connection:
    """A command or event connection; which of them, its first packet says."""

    def __init__(self, link: socket.socket) -> None:
        link.setblocking(False)
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.link = link
        self.has_begun = False
        self.hears_events = False
        self.is_over = False
        self.requests: deque[Request] = deque()
        self.busy_until_s = 0.0
        self.kept_back = b""
        self._reader = PacketReader()
        self._assembler = RequestAssembler()
        self._unsent = bytearray()

    def fileno(self) -> int:
        return self.link.fileno()

    @property
    def wants_to_send(self) -> bool:
        return bool(self._unsent)

    @property
    def is_asked(self) -> bool:
        """Whether an answer is owed."""
        return bool(self.requests or self.kept_back)

    def receive(self) -> list[Packet]:
        """The packets that are complete by now; sets `is_over` when the peer has gone or speaks no PTP/IP."""
        packets: list[Packet] = []
        try:
            while received := self.link.recv(_RECEIVE_BYTES):
                packets += self._reader.feed(received)
            self.is_over = True
        except BlockingIOError:
            pass
        except (OSError, BrokenPacket):
            self.is_over = True
        return packets

    def take(self, packet: Packet) -> None:
        """Queue the operation that this packet completes, if it does."""
        try:
            request = self._assembler.take(packet)
        except BrokenPacket:
            self.is_over = True
            return
        if request is not None:
            self.requests.append(request)

    def send(self, packets: bytes) -> None:
        """Send now what the peer takes, and keep the rest for `flush`."""
        self._unsent += packets
        self.flush()

    def give_up(self) -> None:
        """Serve nothing more of what was asked."""
        self.requests.clear()
        self.kept_back = b""
        self.is_over = True

    def flush(self) -> None:
        try:
            while self._unsent:
                del self._unsent[: self.link.send(self._unsent)]
        except BlockingIOError:
            pass
        except OSError:
            self.is_over = True

    def close(self) -> None:
        """End in good order."""
        self.link.close()

    def reset(self) -> None:
        """Break off, as a lead that is pulled: the peer gets an error at its next word."""
        with suppress(OSError):
            self.link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _RESET_ON_CLOSE)
        self.link.close()
