"""The wire between a command and the holder: one JSON object a message, behind its length, over a Unix socket.

There is no word for "open": `expose` always says how long, and with which cap.
"""

from __future__ import annotations

import json
import socket
import struct
from collections.abc import Mapping
from dataclasses import dataclass

VERSION = 1
LONGEST_MESSAGE_BYTES = 1 << 20
WORDS = frozenset(
    {
        "expose",
        "expose_dial",
        "close",
        "state",
        "pictures",
        "fetch",
        "settings",
        "change",
        "collected",
        "clear_latch",
        "give_up_body",
        "release",
    }
)
_HEADER = struct.Struct(">I")

Message = dict[str, object]


class WireError(Exception):
    """The other side sent something that is not of this wire, or went away in the middle of it."""


class WireClosed(WireError):
    """The other side closed the connection between two messages."""


@dataclass(frozen=True, slots=True)
class Request:
    word: str
    body: Mapping[str, object]


def request(word: str, **body: object) -> Message:
    """A request as it goes over the wire."""
    assert word in WORDS, word
    return {"v": VERSION, "word": word, "body": body}


def parse_request(message: Message) -> Request:
    """Check version and word. Raises `WireError` with a sentence for the other side."""
    if message.get("v") != VERSION:
        raise WireError(f"this holder speaks version {VERSION} of the wire, not {message.get('v')!r}")
    word, body = message.get("word"), message.get("body")
    if not isinstance(word, str) or word not in WORDS:
        raise WireError(f"unknown word {word!r}; the holder knows {', '.join(sorted(WORDS))}")
    if not isinstance(body, dict):
        raise WireError("the body of a request is an object")
    return Request(word, body)


def pack(message: Mapping[str, object]) -> bytes:
    """Length and JSON. A message over the limit is a programmer's error."""
    data = json.dumps(message, allow_nan=False).encode()
    assert len(data) <= LONGEST_MESSAGE_BYTES, len(data)
    return _HEADER.pack(len(data)) + data


class Inbox:
    """Bytes in, whole messages out; refuses a length over the limit before reading it."""

    def __init__(self) -> None:
        self._pending = bytearray()

    def add(self, data: bytes) -> None:
        self._pending += data

    def take(self) -> Message | None:
        """The next whole message, or None. Raises `WireError` for one that is too long or not an object."""
        if len(self._pending) < _HEADER.size:
            return None
        (length,) = _HEADER.unpack_from(self._pending)
        if length > LONGEST_MESSAGE_BYTES:
            raise WireError(f"a message of {length} bytes is over the limit of {LONGEST_MESSAGE_BYTES}")
        if len(self._pending) < _HEADER.size + length:
            return None
        data = bytes(self._pending[_HEADER.size : _HEADER.size + length])
        del self._pending[: _HEADER.size + length]
        return _object(data)


def receive(connection: socket.socket, inbox: Inbox) -> Message:
    """Block for one message. Raises `WireClosed` at an orderly end, `WireError` or `OSError` otherwise."""
    while (message := inbox.take()) is None:
        data = connection.recv(65536)
        if not data:
            raise WireClosed("the other side closed the connection")
        inbox.add(data)
    return message


def _object(data: bytes) -> Message:
    try:
        message = json.loads(data)
    except ValueError as error:
        raise WireError(f"not JSON: {error}") from error
    if not isinstance(message, dict):
        raise WireError("a message is one JSON object")
    return message
