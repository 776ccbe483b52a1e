"""Where a camera is, as people write it: `simulated`, `usb`, `usb:SERIAL`, or `ptpip:HOST:PORT:EVENTPORT`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum

_HOST = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?")
_SERIAL = re.compile(r"[A-Za-z0-9._-]{1,64}")
_PORT = re.compile(r"\d{1,3},\d{1,3}")
_FORMS = "simulated, usb, usb:SERIAL or ptpip:HOST:PORT:EVENTPORT"


class Way(Enum):
    SIMULATED = "simulated"
    USB = "usb"
    PTPIP = "ptpip"


@dataclass(frozen=True, slots=True)
class Address:
    """A parsed address; host and ports are empty and zero unless the way is PTPIP.

    `serial` tells one USB camera from another, as its USB descriptor has it; "" is the only one.
    """

    way: Way
    host: str = ""
    port: int = 0
    event_port: int = 0
    serial: str = ""

    def __str__(self) -> str:
        if self.way is not Way.PTPIP:
            return f"{self.way.value}:{self.serial}" if self.serial else self.way.value
        return f"ptpip:{self.host}:{self.port}:{self.event_port}"


def parse_address(text: str) -> Address:
    """Read an address. Both ports are asked for: left out, the library would look for events on a port of its own.

    Raises `ValueError` with a sentence that says what is allowed.
    """
    if text in (Way.SIMULATED.value, Way.USB.value):
        return Address(Way(text))
    way, *parts = text.split(":")
    if way == Way.USB.value:
        return Address(Way.USB, serial=_serial(":".join(parts), text))
    if way != Way.PTPIP.value:
        raise ValueError(f"{text!r} is no camera address; write {_FORMS}")
    if len(parts) != 3:
        raise ValueError(f"{text!r} needs a host and two ports: ptpip:HOST:PORT:EVENTPORT")
    host, port, event_port = parts
    if not _HOST.fullmatch(host):
        raise ValueError(f"{host!r} in {text!r} is no host name and no IPv4 address")
    return Address(Way.PTPIP, host, _port(port, text), _port(event_port, text))


def _serial(serial: str, text: str) -> str:
    if _PORT.fullmatch(serial):
        raise ValueError(f"{text!r} is a port, another one after every plugging in; write usb:SERIAL")
    if not _SERIAL.fullmatch(serial):
        raise ValueError(f"{serial!r} in {text!r} is no serial number; it has letters, digits, dots and dashes only")
    return serial


def _port(digits: str, text: str) -> int:
    if not (digits.isascii() and digits.isdigit() and 1 <= int(digits) <= 65535):
        raise ValueError(f"{digits!r} in {text!r} is no port; a port is a number from 1 to 65535")
    return int(digits)
