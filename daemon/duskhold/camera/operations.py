"""What the served body answers to the operations that every control family has (ISO 15740)."""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from duskhold.camera.body import BodyBusy, BodyEvent, BodyRefusal, PictureStored, SimulatedBody
from duskhold.camera.card import CardFile
from duskhold.camera.objects import STORAGE, NoSuchObject, ObjectTable
from duskhold.camera.properties import BodyProperty, NoSuchValue
from duskhold.camera.ptp import Reply, Request
from duskhold.camera.ptp_codes import EVERYTHING, Operation, Response
from duskhold.camera.ptp_dataset import (
    DeviceInfo,
    pack_device_info,
    pack_handles,
    pack_object_info,
    pack_property_description,
    pack_storage_info,
    pack_value,
    unpack_value,
)

OK = Reply(Response.OK)
_BYTES_PER_SHOT = 8_000_000
_WITHOUT_SESSION = {Operation.GET_DEVICE_INFO, Operation.OPEN_SESSION}

Perform = Callable[[Request, float], Reply]


def answer_opening(body: SimulatedBody, now_s: float) -> Reply:
    """The answer to an opening that was begun."""
    return Reply(Response.GENERAL_ERROR) if body.strikes("open_error", now_s) else OK


def answer_stop(body: SimulatedBody, now_s: float) -> Reply:
    """The answer to a stop that was taken."""
    late_s = body.faults.stop_late_s if body.strikes("stop_late", now_s) else 0.0
    response = Response.GENERAL_ERROR if body.strikes("stop_error", now_s) else Response.OK
    return Reply(response, late_s=late_s)


class Family(Protocol):
    """What one control family adds: its operations, its properties, and how it tells of what happened."""

    @property
    def vendor_extension(self) -> int: ...

    @property
    def events(self) -> Sequence[int]: ...

    @property
    def properties(self) -> Sequence[BodyProperty]: ...

    def operations(self) -> Mapping[int, Perform]:
        """Its own operations; they win over the common ones."""

    def tell(self, event: BodyEvent, handle: int | None) -> None:
        """Something happened to the body; `handle` is that of a stored picture."""

    def take_events(self) -> Sequence[tuple[int, int]]:
        """Codes and first parameters for the event connection, each once; none where events are asked for."""

    def begin_session(self) -> None:
        """Forget what was waiting for the initiator before."""


class Desk:
    """Takes operations to the body, one at a time. Performs nothing by itself and knows no socket.

    `leftovers` are pictures that nobody fetched: every session hears of them anew.
    """

    def __init__(self, body: SimulatedBody, family: Family, leftovers: Sequence[CardFile] = ()) -> None:
        self._body = body
        self._family = family
        self._leftovers = leftovers
        self._objects = ObjectTable(body.card)
        self._properties = {each.code: each for each in family.properties}
        self._session = 0
        self._perform: dict[int, Perform] = {**self._common(), **family.operations()}

    def perform(self, request: Request, now_s: float) -> Reply:
        """Answer one operation; whatever the body will not do comes back as a response code."""
        act = self._perform.get(request.operation)
        if act is None:
            return Reply(Response.OPERATION_NOT_SUPPORTED)
        if not self._session and request.operation not in _WITHOUT_SESSION:
            return Reply(Response.SESSION_NOT_OPEN)
        try:
            return act(request, now_s)
        except BodyBusy:
            return Reply(Response.DEVICE_BUSY)
        except BodyRefusal:
            return Reply(self._refusal())
        except NoSuchObject:
            return Reply(Response.INVALID_OBJECT_HANDLE)
        except NoSuchValue:
            return Reply(Response.INVALID_DEVICE_PROP_VALUE)

    def tell(self, event: BodyEvent) -> None:
        """Pass on what happened to the body."""
        handle = self._objects.handle(event.file) if isinstance(event, PictureStored) else None
        self._family.tell(event, handle)

    def take_events(self) -> Sequence[tuple[int, int]]:
        """What is to be said on the event connection."""
        return self._family.take_events()

    def end_session(self) -> None:
        """The initiator is gone."""
        self._session = 0

    def _common(self) -> dict[int, Perform]:
        return {
            Operation.GET_DEVICE_INFO: self._device_info,
            Operation.OPEN_SESSION: self._open_session,
            Operation.CLOSE_SESSION: self._close_session,
            Operation.GET_STORAGE_IDS: self._storage_ids,
            Operation.GET_STORAGE_INFO: self._storage_info,
            Operation.GET_NUM_OBJECTS: self._count_objects,
            Operation.GET_OBJECT_HANDLES: self._object_handles,
            Operation.GET_OBJECT_INFO: self._object_info,
            Operation.GET_OBJECT: self._object,
            Operation.GET_PARTIAL_OBJECT: self._partial_object,
            Operation.INITIATE_CAPTURE: self._expose_dial,
            Operation.GET_DEVICE_PROP_DESC: self._describe,
            Operation.GET_DEVICE_PROP_VALUE: self._value,
            Operation.SET_DEVICE_PROP_VALUE: self._set_value,
        }

    def _device_info(self, request: Request, now_s: float) -> Reply:
        profile = self._body.profile
        info = DeviceInfo(
            vendor_extension=self._family.vendor_extension,
            operations=sorted(self._perform),
            events=self._family.events,
            properties=sorted(self._properties),
            manufacturer="Duskhold",
            model=profile.model,
            version="1",
            serial=profile.serial,
        )
        return Reply(Response.OK, data=pack_device_info(info))

    def _open_session(self, request: Request, now_s: float) -> Reply:
        if self._session:
            return Reply(Response.SESSION_ALREADY_OPEN, (self._session,))
        if not request.param(0):
            return Reply(Response.INVALID_PARAMETER)
        self._session = request.param(0)
        self._family.begin_session()
        for file in self._leftovers:
            self._family.tell(PictureStored(now_s, file), self._objects.handle(file))
        return OK

    def _close_session(self, request: Request, now_s: float) -> Reply:
        self._session = 0
        return OK

    def _storage_ids(self, request: Request, now_s: float) -> Reply:
        return Reply(Response.OK, data=pack_handles([STORAGE] if self._body.card.present else []))

    def _storage_info(self, request: Request, now_s: float) -> Reply:
        card = self._body.card
        if request.param(0) != STORAGE or not card.present:
            return Reply(Response.STORE_NOT_AVAILABLE)
        capacity, left = card.capacity_shots, card.shots_left()
        return Reply(Response.OK, data=pack_storage_info(capacity * _BYTES_PER_SHOT, left * _BYTES_PER_SHOT, left))

    def _count_objects(self, request: Request, now_s: float) -> Reply:
        return Reply(Response.OK, (len(self._listed(request)),))

    def _object_handles(self, request: Request, now_s: float) -> Reply:
        return Reply(Response.OK, data=pack_handles(self._listed(request)))

    def _listed(self, request: Request) -> list[int]:
        if not self._body.card.present or request.param(0) not in (STORAGE, EVERYTHING):
            return []
        self._objects.refresh()
        parent = request.param(2)
        if parent == 0:
            return self._objects.everything()
        return self._objects.children(0 if parent == EVERYTHING else parent)

    def _object_info(self, request: Request, now_s: float) -> Reply:
        return Reply(Response.OK, data=pack_object_info(self._objects.info(request.param(0))))

    def _object(self, request: Request, now_s: float) -> Reply:
        return Reply(Response.OK, data=self._objects.read(request.param(0)))

    def _partial_object(self, request: Request, now_s: float) -> Reply:
        start, length = request.param(1), request.param(2)
        piece = self._objects.read(request.param(0))[start : start + length]
        return Reply(Response.OK, (len(piece),), piece)

    def _expose_dial(self, request: Request, now_s: float) -> Reply:
        self._body.expose_dial(now_s)
        return OK

    def _describe(self, request: Request, now_s: float) -> Reply:
        known = self._properties.get(request.param(0))
        if known is None:
            return Reply(Response.DEVICE_PROP_NOT_SUPPORTED)
        return Reply(Response.OK, data=pack_property_description(known.describe(self._body, now_s)))

    def _value(self, request: Request, now_s: float) -> Reply:
        known = self._properties.get(request.param(0))
        if known is None:
            return Reply(Response.DEVICE_PROP_NOT_SUPPORTED)
        value = known.describe(self._body, now_s).value
        return Reply(Response.OK, data=pack_value(known.data_type, value))

    def _set_value(self, request: Request, now_s: float) -> Reply:
        known = self._properties.get(request.param(0))
        if known is None:
            return Reply(Response.DEVICE_PROP_NOT_SUPPORTED)
        if not known.settable:
            return Reply(Response.ACCESS_DENIED)
        try:
            asked = unpack_value(known.data_type, request.data)
        except (ValueError, struct.error):
            return Reply(Response.INVALID_DEVICE_PROP_VALUE)
        word = known.word(self._body, asked)
        if word != self._body.value(known.setting, now_s):
            self._body.set_value(known.setting, word, now_s)
        return OK

    def _refusal(self) -> Response:
        card = self._body.card
        if not card.present:
            return Response.STORE_NOT_AVAILABLE
        return Response.STORE_FULL if card.shots_left() == 0 else Response.GENERAL_ERROR
