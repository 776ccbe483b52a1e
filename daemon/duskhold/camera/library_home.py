"""What the camera library takes from its surroundings, fixed: language, decimal point, settings file, host names."""

from __future__ import annotations

import locale
import os
import socket
from functools import cache
from pathlib import Path

from duskhold.camera.port import CameraMissing

_SETTINGS = "ptp2=capturetarget=card\n"


@cache
def prepare_library(folder: Path) -> None:
    """Give the library a folder of its own, and one language. Without the folder it forgets where pictures go."""
    settings = folder / "gphoto" / "settings"
    settings.parent.mkdir(parents=True, exist_ok=True)
    if not settings.exists():
        # Without this the library's first session sends pictures to the body's memory, until it is told otherwise.
        settings.write_text(_SETTINGS, encoding="ascii")
    os.environ["XDG_CONFIG_HOME"] = str(folder)
    os.environ["LC_ALL"] = "C.UTF-8"
    os.environ.pop("LANGUAGE", None)
    for category in (locale.LC_MESSAGES, locale.LC_NUMERIC):
        locale.setlocale(category, "C")


def resolve(host: str) -> str:
    """The IPv4 address, which is what the library wants where people write a name. Raises `CameraMissing`."""
    try:
        return socket.gethostbyname(host) if host else ""
    except OSError as unknown:
        raise CameraMissing(f"no host is called {host}") from unknown
