"""What a service says to systemd: ready, alive, what it is doing, going (sd_notify(3), a datagram of NAME=value)."""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping

_LONGEST_STATUS = 200


class ServiceNotice:
    """Says nothing where nobody asked for it. `watchdog_s` is how long silence is borne, None for ever."""

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        self.watchdog_s = _watchdog_s(environment)

    def ready(self) -> None:
        self._say("READY=1")

    def alive(self) -> None:
        """Only for whoever has proof of it: the heartbeat that came through scheduler, queue and loop."""
        if self.watchdog_s is not None:
            self._say("WATCHDOG=1")

    def status(self, line: str) -> None:
        self._say("STATUS=" + line.replace("\n", " ")[:_LONGEST_STATUS])

    def stopping(self) -> None:
        self._say("STOPPING=1")

    def _say(self, text: str) -> None:
        if not self._address.startswith(("/", "@")):
            return
        # "@" stands for the null byte of an abstract name.
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as out:
            try:
                out.settimeout(1.0)
                out.sendto(text.encode(), address)
            except OSError:
                return  # a service manager that went away must not end the evening


def _watchdog_s(environment: Mapping[str, str]) -> float | None:
    """sd_watchdog_enabled(3): meant for this process, and within how many microseconds."""
    usec, pid = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", "")
    if not usec.isdigit() or int(usec) == 0 or (pid and pid != str(os.getpid())):
        return None
    return int(usec) / 1e6
