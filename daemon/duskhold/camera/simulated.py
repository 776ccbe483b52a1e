"""The camera port on the simulated body, in process, in real or simulated time.

It answers as the bulb-toggle family does: opening sets mode and dial by itself, closing polls until the body is
ready. A dropped link fails every call until it is back and `connect` was called; a hung one costs each call its
time limit, and waiting does not notice it. The body goes on by itself all the while.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from duskhold.camera.body import BodyBusy, BodyRefusal, CaptureComplete, PictureStored, Released, SimulatedBody
from duskhold.camera.card import CardFile
from duskhold.camera.faults import Outage
from duskhold.camera.hand import Hand
from duskhold.camera.port import (
    BodyRefused,
    CameraBusy,
    CameraEvent,
    CameraMissing,
    Closing,
    EventKind,
    Identity,
    LinkHung,
    LinkLost,
    NoCard,
    Picture,
    Setting,
)
from duskhold.camera.record import BodyRecord
from duskhold.camera.shot import BULB
from duskhold.camera.words import find_choice

_ANSWER_LIMIT_S = 2.5
_POLL_S = 0.1
_POLL_LIMIT_S = 5.0
_PIECE_BYTES = 256 * 1024
_SHORTEST_SLEEP_S = 1e-6
_VENDOR_EXTENSION = 0x000A


class SimulatedCamera:
    """A camera whose body is `body`; `now` and `sleep` are its time, and body time is 0 at `zero_s` of `now`."""

    def __init__(
        self,
        body: SimulatedBody,
        now: Callable[[], float],
        sleep: Callable[[float], None],
        zero_s: float = 0.0,
        record: BodyRecord | None = None,
        hand: Hand | None = None,
    ) -> None:
        self.body = body
        self.outages: list[Outage] = []
        self._now = now
        self._sleep = sleep
        self._zero_s = zero_s
        self._record = record
        self._hand = hand
        self._connected = False
        self._planned_openings = 0
        self._log_read = 0
        self._events: list[CameraEvent] = []

    def interrupt(self, kind: str, for_s: float = math.inf) -> None:
        """From now on the link is "dropped" or "hung", for a while or for good; body time."""
        self.outages.append(Outage(kind, self._body_s(), self._body_s() + for_s))

    def connect(self) -> Identity:
        self._settle()
        self._connected = False
        self.outages = [each for each in self.outages if self._body_s() < each.until_s]
        outage = self._outage()
        if outage and outage.kind == "dropped":
            raise CameraMissing("no simulated body at the other end of the link")
        if outage:
            self._fail_hung()
        self._events.clear()
        self._connected = True
        self._ensure_card()
        profile = self.body.profile
        return Identity(profile.model, profile.serial, _VENDOR_EXTENSION, "bulb toggle", "simulated")

    def disconnect(self) -> None:
        self._settle()
        self._connected = False

    def open_shutter(self) -> None:
        self._ask()
        try:
            self._ensure_bulb()
            self.body.press(self._body_s())
        except BodyBusy as busy:
            raise CameraBusy(str(busy)) from busy
        except BodyRefusal as refusal:
            raise BodyRefused(str(refusal)) from refusal
        self._answer_open_error()

    def close_shutter(self) -> Closing:
        self._ask()
        released = self.body.release(self._body_s())
        if released is Released.NOTHING_OPEN and not self.body.is_exposing(self._body_s()):
            return Closing.NOTHING_OPEN
        if self.body.strikes("stop_error", self._body_s()):
            return Closing.NOTHING_OPEN  # it has closed: the library takes the error for "nothing is open"
        until_s = self._body_s() + _POLL_LIMIT_S
        while self._is_working() and self._body_s() < until_s:
            self._pass(_POLL_S)
            self._check_answered()
        if self.body.is_exposing(self._body_s()):
            return Closing.STILL_OPEN
        return Closing.CLOSED_BUSY if self._is_working() else Closing.CLOSED

    def wait(self, slice_s: float) -> Sequence[CameraEvent]:
        self._settle()
        self._check_link()
        until_s = self._body_s() + slice_s
        while not self._events and not self._outage() and self._body_s() < until_s:
            self._pass(self._next_s(until_s) - self._body_s())
            self._check_link()
        if self._outage():
            # Waiting takes a hung link for a quiet one: it comes back without a word, only later than asked.
            self._pass(_ANSWER_LIMIT_S)
            return []
        told, self._events = self._events, []
        return told

    def expose_dial(self) -> None:
        self._ask()
        try:
            self.body.expose_dial(self._body_s())
        except BodyBusy as busy:
            raise CameraBusy(str(busy)) from busy
        except BodyRefusal as refusal:
            raise BodyRefused(str(refusal)) from refusal
        self._answer_open_error()

    def settings(self) -> Mapping[Setting, str]:
        self._ask()
        return {setting: self.body.value(setting.value, self._body_s()) for setting in Setting}

    def choices(self, setting: Setting) -> Sequence[str]:
        self._ask()
        return self.body.choices(setting.value)

    def change(self, setting: Setting, value: str) -> str:
        self._ask()
        choices = self.body.choices(setting.value)
        word = find_choice(setting, value, choices) if choices else value
        if word is None:
            raise BodyRefused(f"{setting.value} cannot be {value}")
        self._set(setting.value, word)
        return self.body.value(setting.value, self._body_s())

    def pictures(self) -> Sequence[Picture]:
        self._ask_for_files()
        if not self.body.card.present:
            raise NoCard("there is no card in the body", self.body.profile.serial)
        return [self._picture(file) for file in self.body.files()]

    def fetch(self, picture: Picture, take: Callable[[bytes], None]) -> int:
        self._ask_for_files()
        file = CardFile(picture.folder, picture.name)
        if file not in self.body.files():
            raise BodyRefused(f"{picture.folder}/{picture.name} is not on the card")
        content = self.body.card.read(file)
        for start in range(0, len(content), _PIECE_BYTES):
            self._settle()
            self._check_answered()
            take(content[start : start + _PIECE_BYTES])
        return len(content)

    # Time

    def _body_s(self) -> float:
        return self._now() - self._zero_s

    def _pass(self, seconds: float) -> None:
        self._sleep(max(seconds, _SHORTEST_SLEEP_S))
        self._settle()

    def _next_s(self, until_s: float) -> float:
        """The next instant at which something can be seen to happen, at the latest `until_s`."""
        change_s = self.body.next_change_s()
        begins = [each.from_s for each in self.outages if each.from_s > self._body_s()]
        return min([until_s, *begins, *([change_s] if change_s is not None else [])])

    def _settle(self) -> None:
        now_s = self._body_s()
        fitted = self._hand.changed() if self._hand is not None else None
        if fitted is not None:
            self.body.fit(fitted, now_s)
        for event in self.body.advance(now_s):
            if isinstance(event, PictureStored):
                self._events.append(CameraEvent(EventKind.PICTURE_ADDED, self._picture(event.file)))
            elif isinstance(event, CaptureComplete):
                self._events.append(CameraEvent(EventKind.CAPTURE_COMPLETE))
        self._plan_outages()
        if self._record:
            self._record.copy(self.body)

    def _plan_outages(self) -> None:
        for line in self.body.log[self._log_read :]:
            if line.word == "opened":
                self._planned_openings += 1
                self.outages += self.body.faults.outages(self._planned_openings, line.now_s)
        self._log_read = len(self.body.log)

    # The link

    def _outage(self) -> Outage | None:
        now_s = self._body_s()
        return next((each for each in self.outages if each.from_s <= now_s < each.until_s), None)

    def _ask(self) -> None:
        """What every call goes through first. Raises `LinkLost` or `LinkHung`."""
        if self.body.faults.link_slow_s:
            self._sleep(self.body.faults.link_slow_s)
        self._settle()
        self._check_answered()

    def _ask_for_files(self) -> None:
        self._ask()
        if self.body.is_exposing(self._body_s()):
            raise CameraBusy("the body does not hand out files while it exposes")

    def _check_answered(self) -> None:
        self._check_link()
        if self._outage():
            self._fail_hung()

    def _check_link(self) -> None:
        now_s = self._body_s()
        if any(each.kind == "dropped" and each.from_s <= now_s for each in self.outages):
            self._connected = False
        if not self._connected:
            raise LinkLost("the link to the simulated body is gone; connect again")

    def _fail_hung(self) -> None:
        self._pass(_ANSWER_LIMIT_S)
        self._connected = False
        raise LinkHung(f"the simulated body did not answer within {_ANSWER_LIMIT_S} s")

    # The body

    def _is_working(self) -> bool:
        return self.body.is_exposing(self._body_s()) or self.body.is_busy(self._body_s())

    def _ensure_bulb(self) -> None:
        for name, word in (("mode", "manual"), ("shutter", BULB)):
            if self.body.value(name, self._body_s()) != word:
                self.body.set_value(name, word, self._body_s())

    def _ensure_card(self) -> None:
        """The card is the target and can take a picture, unless the shutter is open: then closing comes first."""
        now_s = self._body_s()
        if self.body.is_exposing(now_s):
            return
        if self.body.value("target", now_s) != "card":
            self._set("target", "card")
        if self.body.card.shots_left() == 0:
            reason = "the card is full" if self.body.card.present else "there is no card in the body"
            raise NoCard(reason, self.body.profile.serial)

    def _set(self, name: str, word: str) -> None:
        try:
            self.body.set_value(name, word, self._body_s())
        except BodyBusy as busy:
            raise CameraBusy(str(busy)) from busy
        except BodyRefusal as refusal:
            raise BodyRefused(str(refusal)) from refusal

    def _answer_open_error(self) -> None:
        if self.body.strikes("open_error", self._body_s()):
            raise BodyRefused("the body did it and answered with an error")

    def _picture(self, file: CardFile) -> Picture:
        return Picture(file.folder, file.name, self.body.card.size_bytes(file))
