"""The camera library's own descriptors: one that it closes by mistake, and the sockets that it hides.

Over PTP/IP every end of a session closes descriptor 0, whatever it is. And the
library asks for no `TCP_NODELAY`, so each operation with data waits about 40 ms for a delayed acknowledgement.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

_DESCRIPTORS = Path("/proc/self/fd")


def keep_descriptor_zero() -> None:
    """Put something harmless on descriptor 0 when nothing is on it."""
    if _is_open(0):
        return
    opened = os.open(os.devnull, os.O_RDWR)
    if opened != 0:
        os.close(opened)


class LinkSockets:
    """The sockets that this process holds to one peer, found by their peer name."""

    def __init__(self, host: str, ports: set[int]) -> None:
        self._peer_ports = ports
        self._host = host

    def hurry(self) -> int:
        """Send small packets at once from now on; returns how many sockets there are."""
        return self._each(lambda link: link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1))

    def cut(self) -> int:
        """Shut the connections down, so that whatever waits on them gives up at once."""
        return self._each(lambda link: link.shutdown(socket.SHUT_RDWR))

    def _each(self, act: Callable[[socket.socket], None]) -> int:
        count = 0
        for link in self._links():
            # The peer may have gone between finding the socket and using it.
            with link, suppress(OSError):
                act(link)
                count += 1
        return count

    def _links(self) -> Iterator[socket.socket]:
        for entry in list(_DESCRIPTORS.iterdir()):
            link = _duplicate(int(entry.name))
            if link is None:
                continue
            if self._is_peer(link):
                yield link
            else:
                link.close()

    def _is_peer(self, link: socket.socket) -> bool:
        try:
            peer = link.getpeername()
        except OSError:
            return False
        return isinstance(peer, tuple) and peer[0] == self._host and peer[1] in self._peer_ports


def _is_open(descriptor: int) -> bool:
    try:
        os.fstat(descriptor)
    except OSError:
        return False
    return True


def _duplicate(descriptor: int) -> socket.socket | None:
    try:
        copy = os.dup(descriptor)
    except OSError:
        return None
    try:
        return socket.socket(fileno=copy)
    except OSError:
        os.close(copy)
        return None
