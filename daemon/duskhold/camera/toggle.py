"""Vendor extension 0x000A as the served body speaks it: a bulb that is switched on and off, and polled events."""

from __future__ import annotations

import struct
from collections import deque
from collections.abc import Mapping, Sequence

from duskhold.camera.body import BodyEvent, CaptureComplete, PictureStored, Released, SimulatedBody
from duskhold.camera.operations import OK, Perform, answer_opening, answer_stop
from duskhold.camera.properties import toggle_properties
from duskhold.camera.ptp import Reply, Request
from duskhold.camera.ptp_codes import Event, Response, ToggleOperation, ToggleResponse
from duskhold.camera.words import BULB

_EVENTS_MAX = 64
_TO_MEMORY = 1


class ToggleFamily:
    """The family's own operations on one body."""

    vendor_extension = 0x000A
    events: Sequence[int] = (Event.OBJECT_ADDED, Event.DEVICE_PROP_CHANGED, Event.CAPTURE_COMPLETE)

    def __init__(self, body: SimulatedBody) -> None:
        self._body = body
        self._waiting: deque[tuple[int, int]] = deque(maxlen=_EVENTS_MAX)
        self.properties = toggle_properties()

    def operations(self) -> Mapping[int, Perform]:
        return {
            ToggleOperation.CHANGE_CAMERA_MODE: self._change_mode,
            ToggleOperation.GET_EVENT: self._get_event,
            ToggleOperation.DEVICE_READY: self._ready,
            ToggleOperation.INITIATE_CAPTURE_REC_IN_MEDIA: self._capture,
            ToggleOperation.TERMINATE_CAPTURE: self._terminate,
        }

    def tell(self, event: BodyEvent, handle: int | None) -> None:
        if isinstance(event, PictureStored) and handle is not None:
            self._waiting.append((Event.OBJECT_ADDED, handle))
        elif isinstance(event, CaptureComplete):
            self._waiting.append((Event.CAPTURE_COMPLETE, 0))

    def take_events(self) -> Sequence[tuple[int, int]]:
        return ()

    def begin_session(self) -> None:
        self._waiting.clear()

    def _change_mode(self, request: Request, now_s: float) -> Reply:
        return OK

    def _get_event(self, request: Request, now_s: float) -> Reply:
        told = list(self._waiting)
        self._waiting.clear()
        lines = b"".join(struct.pack("<HI", *each) for each in told)
        return Reply(Response.OK, data=struct.pack("<H", len(told)) + lines)

    def _ready(self, request: Request, now_s: float) -> Reply:
        if self._body.is_exposing(now_s):
            at_bulb = self._is_at_bulb(now_s)
            return Reply(ToggleResponse.BULB_RELEASE_BUSY if at_bulb else Response.DEVICE_BUSY)
        return Reply(Response.DEVICE_BUSY) if self._body.is_busy(now_s) else OK

    def _capture(self, request: Request, now_s: float) -> Reply:
        target = "memory" if request.param(1) == _TO_MEMORY else "card"
        if target != self._body.value("target", now_s):
            self._body.set_value("target", target, now_s)
        if self._is_at_bulb(now_s):
            self._body.press(now_s)
        else:
            self._body.expose_dial(now_s)
        return answer_opening(self._body, now_s)

    def _terminate(self, request: Request, now_s: float) -> Reply:
        released = self._body.release(now_s)
        if released is Released.NOTHING_OPEN or not self._is_at_bulb(now_s):
            return Reply(ToggleResponse.INVALID_STATUS)
        return answer_stop(self._body, now_s)

    def _is_at_bulb(self, now_s: float) -> bool:
        return self._body.value("shutter", now_s) == BULB
