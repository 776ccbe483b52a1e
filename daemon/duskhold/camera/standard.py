"""Open capture as the served body speaks it (ISO 15740): of a length that is not fixed, ended by its own operation.

What happens is told on the event connection, without being asked. The shutter dial plays no part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from duskhold.camera.body import BodyEvent, CaptureComplete, PictureStored, Released, SimulatedBody
from duskhold.camera.operations import Perform, answer_opening, answer_stop
from duskhold.camera.properties import BodyProperty, open_capture_properties
from duskhold.camera.ptp import Reply, Request
from duskhold.camera.ptp_codes import Event, Operation, Response


class StandardFamily:
    """Nothing of any maker's own on one body."""

    vendor_extension = 0
    events: Sequence[int] = (Event.OBJECT_ADDED, Event.CAPTURE_COMPLETE)

    def __init__(self, body: SimulatedBody) -> None:
        self._body = body
        self._happened: list[tuple[int, int]] = []
        self._transaction = 0
        self.properties: Sequence[BodyProperty] = open_capture_properties()

    def operations(self) -> Mapping[int, Perform]:
        return {
            Operation.INITIATE_OPEN_CAPTURE: self._initiate,
            Operation.TERMINATE_OPEN_CAPTURE: self._terminate,
        }

    def tell(self, event: BodyEvent, handle: int | None) -> None:
        if isinstance(event, PictureStored) and handle is not None:
            self._happened.append((Event.OBJECT_ADDED, handle))
        elif isinstance(event, CaptureComplete):
            self._happened.append((Event.CAPTURE_COMPLETE, self._transaction))

    def take_events(self) -> Sequence[tuple[int, int]]:
        taken, self._happened = self._happened, []
        return taken

    def begin_session(self) -> None:
        self._happened.clear()

    def _initiate(self, request: Request, now_s: float) -> Reply:
        self._body.press(now_s)
        self._transaction = request.transaction
        return answer_opening(self._body, now_s)

    def _terminate(self, request: Request, now_s: float) -> Reply:
        """An initiator that came later does not know the number of the capture, and says 0: it is taken for it."""
        if not self._body.is_exposing(now_s) or request.param(0) not in (0, self._transaction):
            return Reply(Response.INVALID_TRANSACTION_ID)
        if self._body.release(now_s) is Released.NOTHING_OPEN:
            return Reply(Response.INVALID_TRANSACTION_ID)
        return answer_stop(self._body, now_s)
