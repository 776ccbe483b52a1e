"""What a driver may do to a session, made of what the session itself can do."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from duskhold.camera.port import BodyRefused, CameraError, Setting
from duskhold.camera.words import BULB, meaning, same_meaning


@dataclass(frozen=True, slots=True)
class SessionLead:
    """The `Lead` of the drivers in real time."""

    put: Callable[[str, int | str], None]
    let_in: Callable[[], bool]
    read: Callable[[Setting], str | None]
    change: Callable[[Setting, str], str]
    ask_whether_alive: Callable[[], CameraError | None]

    def ensure_bulb(self) -> None:
        said, mode = self.read(Setting.SHUTTER), self.read(Setting.MODE)
        if said is not None and same_meaning(Setting.SHUTTER, said, BULB):
            return
        if mode is not None and meaning(Setting.MODE, mode) == BULB:
            return
        try:
            self.change(Setting.SHUTTER, BULB)
        except BodyRefused as refused:
            if mode is None or meaning(Setting.MODE, mode) == "manual":
                raise
            raise BodyRefused(f"its mode dial is at {mode}, and its shutter is held at M or B only") from refused

    def check_alive(self) -> None:
        gone = self.ask_whether_alive()
        if gone is not None:
            raise gone

    def now_s(self) -> float:
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)
