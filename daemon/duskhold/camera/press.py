"""Vendor extension 0x000B as the served body speaks it: a release button held from afar, or an older bulb switch.

Settings and everything that happens are told in one queue of records that the initiator empties. A record is its
length, its code and a body, little-endian; a record of eight bytes with code 0 ends them.
"""

from __future__ import annotations

import struct
from collections import deque
from collections.abc import Mapping, Sequence

from duskhold.camera.body import (
    BodyEvent,
    CaptureComplete,
    PictureStored,
    Released,
    ShutterClosed,
    ShutterOpened,
    SimulatedBody,
)
from duskhold.camera.objects import STORAGE, format_of
from duskhold.camera.operations import OK, Perform, answer_opening, answer_stop
from duskhold.camera.press_properties import PressSetting, press_properties
from duskhold.camera.properties import BodyProperty
from duskhold.camera.ptp import Reply, Request
from duskhold.camera.ptp_codes import PressEvent, PressOperation, Response
from duskhold.camera.ptp_dataset import pack_handles
from duskhold.camera.words import BULB

_RECORDS_MAX = 256
_ENUMERATED = 3
_HALF = 1


class PressFamily:
    """The family's own operations on one body: the release button goes down and up."""

    vendor_extension = 0x000B
    events: Sequence[int] = ()
    properties: Sequence[BodyProperty] = ()

    def __init__(self, body: SimulatedBody) -> None:
        self._body = body
        self._settings = {each.code: each for each in press_properties()}
        self._told: dict[int, bytes] = {}
        self._waiting: deque[bytes] = deque(maxlen=_RECORDS_MAX)
        self._opened_s: float | None = None
        self._told_s = 0

    def operations(self) -> Mapping[int, Perform]:
        return {
            **self._common(),
            PressOperation.REMOTE_RELEASE_ON: self._press,
            PressOperation.REMOTE_RELEASE_OFF: self._release,
        }

    def tell(self, event: BodyEvent, handle: int | None) -> None:
        if isinstance(event, ShutterOpened):
            self._opened_s, self._told_s = event.at_s, 0
            self._waiting.append(_record(PressEvent.CAMERA_STATUS, struct.pack("<I", 1)))
        elif isinstance(event, ShutterClosed):
            self._opened_s = None
        elif isinstance(event, PictureStored) and handle is not None:
            self._waiting.append(self._object_added(event, handle))
        elif isinstance(event, CaptureComplete):
            self._waiting.append(_record(PressEvent.CAMERA_STATUS, struct.pack("<I", 0)))

    def take_events(self) -> Sequence[tuple[int, int]]:
        return ()

    def begin_session(self) -> None:
        self._waiting.clear()
        self._told.clear()
        self._told_s = 0

    def _common(self) -> dict[int, Perform]:
        return {
            PressOperation.GET_STORAGE_IDS: lambda request, now_s: Reply(Response.OK, data=pack_handles([])),
            PressOperation.REMOTE_RELEASE: self._expose_dial,
            PressOperation.SET_PROPERTY: self._set,
            PressOperation.SET_REMOTE_MODE: _nothing,
            PressOperation.SET_EVENT_MODE: _nothing,
            PressOperation.GET_EVENT: self._get_event,
            PressOperation.HOST_CAPACITY: _nothing,
            PressOperation.KEEP_DEVICE_ON: _nothing,
        }

    # The shutter

    def _press(self, request: Request, now_s: float) -> Reply:
        if request.param(0) == _HALF:
            return OK
        if self._is_at_bulb(now_s):
            return self._hold(now_s)
        return self._expose_dial(request, now_s)

    def _release(self, request: Request, now_s: float) -> Reply:
        """A button that comes up is answered with OK, whether it was down or not."""
        if request.param(0) == _HALF or not self._is_at_bulb(now_s):
            return OK
        if self._body.is_exposing(now_s) and self._body.strikes("stop_refused", now_s):
            return Reply(Response.GENERAL_ERROR)
        self._body.release(now_s)
        return answer_stop(self._body, now_s)

    def _hold(self, now_s: float) -> Reply:
        self._body.press(now_s)
        return answer_opening(self._body, now_s)

    def _expose_dial(self, request: Request, now_s: float) -> Reply:
        self._body.expose_dial(now_s)
        return Reply(Response.OK, (0,)) if request.operation == PressOperation.REMOTE_RELEASE else OK

    def _is_at_bulb(self, now_s: float) -> bool:
        return self._body.value("shutter", now_s) == BULB

    # Settings and events

    def _set(self, request: Request, now_s: float) -> Reply:
        if len(request.data) < 12:
            return Reply(Response.INVALID_PARAMETER)
        known = self._settings.get(struct.unpack_from("<I", request.data, 4)[0])
        if known is None:
            return Reply(Response.DEVICE_PROP_NOT_SUPPORTED)
        if not known.settable:
            return Reply(Response.ACCESS_DENIED)
        word = known.word(self._body, request.data[8:])
        if word != self._body.value(known.setting, now_s):
            self._body.set_value(known.setting, word, now_s)
        return OK

    def _get_event(self, request: Request, now_s: float) -> Reply:
        records = [*self._changes(now_s), *self._waiting, *self._ticks(now_s)]
        self._waiting.clear()
        return Reply(Response.OK, data=b"".join(records) + struct.pack("<II", 8, 0))

    def _changes(self, now_s: float) -> list[bytes]:
        """What the initiator has not been told yet: each value, and its choices the first time."""
        records: list[bytes] = []
        for code, setting in self._settings.items():
            value, told = setting.value(self._body, now_s), self._told.get(code)
            if value == told:
                continue
            self._told[code] = value
            records.append(_record(PressEvent.PROPERTY_CHANGED, struct.pack("<I", code) + value))
            if told is None:
                records += self._choices(code, setting)
        return records

    def _choices(self, code: int, setting: PressSetting) -> list[bytes]:
        choices = setting.choices(self._body)
        if not choices:
            return []
        head = struct.pack("<III", code, _ENUMERATED, len(choices))
        return [_record(PressEvent.CHOICES_CHANGED, head + b"".join(choices))]

    def _ticks(self, now_s: float) -> list[bytes]:
        """Whole seconds that a held shutter has been open, each told once."""
        if self._opened_s is None or not self._is_at_bulb(now_s):
            return []
        open_s = int(now_s - self._opened_s)
        if open_s <= self._told_s:
            return []
        self._told_s = open_s
        return [_record(PressEvent.BULB_TIME, struct.pack("<I", open_s))]

    def _object_added(self, event: PictureStored, handle: int) -> bytes:
        name, size = event.file.name, self._body.card.size_bytes(event.file)
        head = struct.pack("<IIHHII", handle, STORAGE, format_of(name), 0, 0, 0)
        return _record(PressEvent.OBJECT_ADDED, head + struct.pack("<III", size, 0, 0) + name.encode() + b"\0")


class OldPressFamily(PressFamily):
    """Older bodies of the family: a bulb that begins and ends, which says so when nothing is open."""

    def operations(self) -> Mapping[int, Perform]:
        return {
            **self._common(),
            PressOperation.BULB_START: self._start,
            PressOperation.BULB_END: self._end,
        }

    def _start(self, request: Request, now_s: float) -> Reply:
        return self._hold(now_s)

    def _end(self, request: Request, now_s: float) -> Reply:
        if self._body.is_exposing(now_s) and self._body.strikes("stop_refused", now_s):
            return Reply(Response.GENERAL_ERROR)
        if self._body.release(now_s) is Released.NOTHING_OPEN:
            return Reply(Response.GENERAL_ERROR)
        return answer_stop(self._body, now_s)


def _record(code: int, body: bytes) -> bytes:
    return struct.pack("<II", 8 + len(body), code) + body


def _nothing(request: Request, now_s: float) -> Reply:
    return OK
