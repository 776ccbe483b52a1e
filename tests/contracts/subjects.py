"""The subjects of the contract suite: the simulated camera in process, and the same body through the library."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from duskhold.camera.address import parse_address
from duskhold.camera.body import SimulatedBody
from duskhold.camera.card import FolderCard
from duskhold.camera.gphoto import GphotoCamera
from duskhold.camera.port import Camera, Setting
from duskhold.camera.serving import ServedBody, ServingFailed
from duskhold.camera.shot import BodyProfile
from duskhold.camera.simulated import SimulatedCamera
from duskhold.camera.stage import Stage

PROFILE = BodyProfile(width=192, height=128, storing_s=0.1)
SERVED_PROFILE = ["width=192", "height=128", "storing_s=0.1"]
STRIKES = (
    "open_ignored",
    "open_error",
    "press_refused",
    "press_busy",
    "release_ignored",
    "stop_refused",
    "stop_error",
    "stop_late",
    "event_lost",
    "event_late",
    "pair_reversed",
)


@dataclass(frozen=True)
class Nature:
    """In what the families differ as far as the port goes. `tells_busy`: a start that did not begin is an error."""

    family: str
    vendor_extension: int
    untold: frozenset[Setting] = frozenset()
    read_only: frozenset[Setting] = frozenset()
    dial_has_bulb: bool = True
    tells_busy: bool = True
    button_is_always_right: bool = False
    busy_hold_s: float = 6.5  # a stop asks for five seconds: the body must be busy for longer, also under load


SHOWN_NOWHERE = frozenset({Setting.MIRROR_LOCK, Setting.LIVE_VIEW})
UNSAID_BY_BUTTON = frozenset(
    {
        *(Setting.DARK_FRAME, Setting.EXPOSURE_DELAY, Setting.AUTO_ISO),
        *(Setting.STABILISER, Setting.ELECTRONIC_SHUTTER),
    }
)
NATURES = {
    "toggle": Nature("bulb toggle", 0x000A, SHOWN_NOWHERE),
    "press": Nature(
        "release button",
        0x000B,
        UNSAID_BY_BUTTON,
        read_only=frozenset({Setting.FOCUS}),
        busy_hold_s=3.0,
    ),
    "press-old": Nature(
        "old bulb",
        0x000B,
        UNSAID_BY_BUTTON,
        read_only=frozenset({Setting.FOCUS}),
        busy_hold_s=3.0,
    ),
    "standard": Nature(
        "open capture",
        0,
        SHOWN_NOWHERE
        | {Setting.TARGET, Setting.SHOTS_LEFT, Setting.DARK_FRAME, Setting.BRACKETING}
        | {Setting.EXPOSURE_DELAY, Setting.AUTO_ISO, Setting.STABILISER, Setting.ELECTRONIC_SHUTTER},
        read_only=frozenset({Setting.QUALITY}),
        dial_has_bulb=False,
        tells_busy=False,
        busy_hold_s=3.0,
    ),
}


class Subject(Protocol):
    """One way in to a simulated body, with what stands outside of it: its log, its card, its lead, its time."""

    latency_s: float
    nature: Nature

    @property
    def camera(self) -> Camera: ...

    def now_s(self) -> float: ...

    def sleep(self, seconds: float) -> None: ...

    def order(self, word: str, **detail: object) -> None: ...

    def noted(self, word: str) -> list[Mapping[str, Any]]:
        """Details of what the body itself has noted since the test began."""

    def card_bytes(self, name: str) -> bytes: ...


class InProcess:
    """The simulated camera with its body in this process, in simulated time."""

    def __init__(self, folder: Path) -> None:
        self.nature = Nature("bulb toggle", 0x000A)
        self._time_s = 0.0
        self._folder = folder
        self.latency_s = PROFILE.close_latency_s - PROFILE.open_latency_s
        self._body = SimulatedBody(PROFILE, Stage(), FolderCard(folder))
        self.camera = SimulatedCamera(self._body, self.now_s, self.sleep)

    def now_s(self) -> float:
        return self._time_s

    def sleep(self, seconds: float) -> None:
        self._time_s += seconds

    def order(self, word: str, **detail: object) -> None:
        if word in ("drop", "hang"):
            self.camera.interrupt({"drop": "dropped", "hang": "hung"}[word])
        elif word in ("return", "resume"):
            now_s = self.now_s()
            self.camera.outages = [replace(each, until_s=min(each.until_s, now_s)) for each in self.camera.outages]
        elif word == "strike":
            self._body.strike_next(str(detail["fault"]), int(str(detail["count"])))
        elif word == "set":
            self._body.set_value(str(detail["name"]), str(detail["value"]), self.now_s())
        else:
            self._order_card(word, detail)

    def _order_card(self, word: str, detail: Mapping[str, Any]) -> None:
        if word == "fill":
            self._body.card.capacity_shots = detail["shots"]
            return
        assert word == "eject", word
        self._body.card.present = False

    def noted(self, word: str) -> list[Mapping[str, Any]]:
        return [line.detail for line in self._body.log if line.word == word]

    def card_bytes(self, name: str) -> bytes:
        return next(self._folder.rglob(name)).read_bytes()


class ThroughLibrary:
    """The library driving the served body over loopback, in real time."""

    def __init__(self, body: ServedBody, nature: Nature, library_folder: Path) -> None:
        self._body = body
        self.nature = nature
        self._began_mono = self.now_s()
        self.latency_s = PROFILE.close_latency_s - PROFILE.open_latency_s
        self.camera: Camera = GphotoCamera(parse_address(body.address), library_folder)

    def now_s(self) -> float:
        return time.clock_gettime(time.CLOCK_BOOTTIME)

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)

    def order(self, word: str, **detail: object) -> None:
        self._body.order(word, **detail)

    def noted(self, word: str) -> list[Mapping[str, Any]]:
        return [line.detail for line in self._body.lines(word) if line.now_mono >= self._began_mono]

    def card_bytes(self, name: str) -> bytes:
        return next(self._body.card.rglob(name)).read_bytes()

    def restore(self) -> None:
        """Leave the body as the next test wants to find it."""
        self.camera.disconnect()
        for word in ("return", "resume", "insert"):
            self.order(word)
        for fault in STRIKES:
            self.order("strike", fault=fault, count=0)
        if self._may_be_open():
            self.camera.connect()
            self._close()
            self.camera.disconnect()
        for name, value in (("dark_frame", "off"), *((("shutter", "bulb"),) if self.nature.dial_has_bulb else ())):
            self._set_when_ready(name, value)

    def _may_be_open(self) -> bool:
        return len(self._body.lines("opened")) > len(self._body.lines("closed"))

    def _close(self) -> None:
        ends_s = self.now_s() + 10.0
        while self._may_be_open() and self.now_s() < ends_s:
            self.camera.close_shutter()
            self.sleep(0.1)
        assert not self._may_be_open()

    def _set_when_ready(self, name: str, value: str) -> None:
        ends_s = self.now_s() + 10.0
        while True:
            try:
                self.order("set", name=name, value=value)
                return
            except ServingFailed:
                if self.now_s() > ends_s:
                    raise
                self.sleep(0.05)
