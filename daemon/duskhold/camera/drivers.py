"""How each control family is opened, closed and believed: start, stop, what to try next, and what counts as evidence.

Nothing here knows the library; a `Lead` puts widgets and lets events in. Every driver answers a closing with what
was proven, and never sends a start twice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import Enum
from typing import Protocol

from duskhold.camera.families import ControlFamily, Holding
from duskhold.camera.library_errors import Code, read_closing, read_error
from duskhold.camera.port import BodyRefused, CameraError, Closing

STARTS = ("Press Full MF", "Immediate", "Press Full")
STOPS = ("Release", "Release Full", "Release Half")
"""Choices of the release button in order of preference; libraries before 2.5.34 had others (libgphoto2, config.c)."""

_LOOK_EVERY_S = 0.05
_STALE_S = 0.3  # a second that is told this soon after a stop may have been counted before it
_SILENCE_S = 1.2  # an open shutter tells every second
_FELL_SILENT_S = 2.5  # two seconds that were not told
_STORED_S = 2.5
_BACKLOG_S = 3.0  # within the budget of a closing call, with the listening after it
_GRACE_S = 0.15


class Hint(Enum):
    """What an event says of the shutter."""

    EXPOSING = "exposing"  # it has been open for another second
    BUSY = "busy"  # the body has begun something
    PICTURE = "picture"  # one was stored; it may be told late
    COMPLETE = "complete"  # the body has done what it had begun


class LibrarySaid(Exception):
    """An error number of the library, and how long the call took."""

    def __init__(self, code: int, took_s: float) -> None:
        super().__init__(f"the library said {code} after {took_s:.3f} s")
        self.code = code
        self.took_s = took_s


class Lead(Protocol):
    """What a driver may do to a session. Every call may raise a `CameraError` of the link."""

    @property
    def put(self) -> Callable[[str, int | str], None]:
        """Set one widget. Raises `LibrarySaid`."""

    @property
    def let_in(self) -> Callable[[], bool]:
        """Let events in; whatever they say of the shutter comes back through `Driver.heard`. Whether more wait."""

    def ensure_bulb(self) -> None:
        """The shutter dial is at bulb. Raises `BodyRefused` or `CameraBusy`."""

    def check_alive(self) -> None:
        """Raises `LinkLost` or `LinkHung` when nobody is at the other end any more."""

    def now_s(self) -> float: ...

    def sleep(self, seconds: float) -> None: ...


class Driver(Protocol):
    """The shutter of one family. `open` and `close` are those of the camera port."""

    def open(self, lead: Lead) -> None:
        """Raises `LibrarySaid` as well as the errors of the port."""

    def close(self, lead: Lead) -> Closing: ...

    def heard(self, hint: Hint) -> None:
        """Something happened."""


def driver_for(family: ControlFamily, choices: Sequence[str]) -> Driver:
    """The driver of a family; `choices` are those of the release button, where there is one."""
    if family.holding is Holding.TOGGLE:
        return ToggleDriver() if family.proven else UncheckedToggleDriver()
    if family.holding is Holding.OPEN_CAPTURE:
        return OpenCaptureDriver()
    if family.holding is Holding.BULB:
        return ButtonDriver("bulb", 1, (0,))
    if family.holding is Holding.BUTTON:
        start = next((each for each in STARTS if each in choices), None)
        stops = tuple(each for each in STOPS if each in choices)
        if start is not None and stops:
            return ButtonDriver(Holding.BUTTON.value, start, stops)
    return NoDriver()


class NoDriver:
    """A body whose shutter cannot be held."""

    def open(self, lead: Lead) -> None:
        raise BodyRefused("this body cannot be held open from here; timed exposures on its own dial still work")

    def close(self, lead: Lead) -> Closing:
        return Closing.NOTHING_OPEN

    def heard(self, hint: Hint) -> None:
        return


class ToggleDriver:
    """A bulb that is switched. The library itself asks the body every 0.1 s, for 5 s, whether it has closed."""

    def open(self, lead: Lead) -> None:
        lead.put(Holding.TOGGLE.value, 1)

    def close(self, lead: Lead) -> Closing:
        try:
            lead.put(Holding.TOGGLE.value, 0)
        except LibrarySaid as said:
            read = read_closing(said.code, said.took_s)
            if isinstance(read, CameraError):
                raise read from said
            # A link that ended in good order has the same number as a refusal.
            lead.check_alive()
            return read
        return Closing.CLOSED

    def heard(self, hint: Hint) -> None:
        return


class UncheckedToggleDriver(ToggleDriver):
    """A bulb whose stop the library does not check: only a picture, or an end that the body tells, proves a closing.

    Without one it answers that nothing was open; whoever asked asks once more, and then looks for the picture.
    """

    def __init__(self) -> None:
        self._is_told = False

    def open(self, lead: Lead) -> None:
        lead.let_in()
        super().open(lead)

    def close(self, lead: Lead) -> Closing:
        self._is_told = False
        closing = super().close(lead)
        if closing is not Closing.CLOSED:
            return closing
        ends_s = lead.now_s() + _STORED_S
        while lead.now_s() < ends_s:
            lead.let_in()
            if self._is_told:
                return Closing.CLOSED
            lead.sleep(_LOOK_EVERY_S)
        return Closing.NOTHING_OPEN

    def heard(self, hint: Hint) -> None:
        self._is_told = self._is_told or hint in (Hint.PICTURE, Hint.COMPLETE)


class ButtonDriver:
    """A button that is held down, or a bulb that begins and ends; the event queue is the only witness.

    While it is open the body tells every second. An answer to the stop proves nothing: a button that comes up is
    right whether it was down or not, and some bodies answer an error and stay open. Each closing that leaves it open
    is followed by the next way to stop. A body that tells its end before it is asked to close, and no second after it,
    or that told its seconds and then fell silent, has closed by itself: the stop finds nothing open.
    """

    def __init__(self, widget: str, start: int | str, stops: Sequence[int | str]) -> None:
        self._widget = widget
        self._start = start
        self._stops = tuple(stops)
        self._now_s: Callable[[], float] | None = None
        self._ticked_s: float | None = None  # when the last second was told
        self._failed = 0
        self._has_opened = self._has_ended = self._is_stopping = False
        self._is_complete = self._has_picture = self._ticked = False

    def open(self, lead: Lead) -> None:
        lead.ensure_bulb()
        lead.let_in()
        self._forget()
        self._now_s = lead.now_s
        lead.put(self._widget, self._start)

    def close(self, lead: Lead) -> Closing:
        if not self._is_stopping and self._ticked_s is not None:
            self._has_ended = self._has_ended or lead.now_s() - self._ticked_s > _FELL_SILENT_S
        self._is_complete = self._has_picture = self._ticked = False
        self._is_stopping = True
        accepted = self._stop(lead)
        stopped_s = lead.now_s()
        if self._hear_backlog(lead):
            stopped_s = lead.now_s()
        closing = self._evidence(lead, stopped_s, accepted)
        self._failed = self._failed + 1 if closing is Closing.STILL_OPEN else 0
        if closing is not Closing.STILL_OPEN:
            self._has_opened = False
        return closing

    def heard(self, hint: Hint) -> None:
        is_end = hint is Hint.COMPLETE and self._has_opened and not self._is_stopping
        self._has_ended = (self._has_ended or is_end) and hint is not Hint.EXPOSING
        self._has_opened = self._has_opened or hint in (Hint.EXPOSING, Hint.BUSY)
        self._ticked = self._ticked or hint is Hint.EXPOSING
        if hint is Hint.EXPOSING and self._now_s is not None:
            self._ticked_s = self._now_s()
        self._has_picture = self._has_picture or hint is Hint.PICTURE
        self._is_complete = self._is_complete or hint is Hint.COMPLETE

    def _forget(self) -> None:
        self._failed = 0
        self._ticked_s = None
        self._has_opened = self._has_ended = self._is_stopping = False
        self._is_complete = self._has_picture = self._ticked = False

    def _stop(self, lead: Lead) -> bool:
        """Whether the body said yes."""
        try:
            lead.put(self._widget, self._stops[self._failed % len(self._stops)])
        except LibrarySaid as said:
            known = read_error(said.code, said.took_s)
            if known is not None and said.code != Code.BUSY:
                raise known from said
            return False
        return True

    def _hear_backlog(self, lead: Lead) -> bool:
        """Whether there was one. The stop goes out before it is heard, and what it tells is older than the stop."""
        ends_s = lead.now_s() + _BACKLOG_S
        had_more = False
        while lead.now_s() < ends_s and lead.let_in():
            had_more = True
        if had_more:
            self._is_complete = self._has_picture = self._ticked = False
        return had_more

    def _evidence(self, lead: Lead, stopped_s: float, accepted: bool) -> Closing:
        """Listen until something is proven, or for as long as silence says something."""
        while True:
            since_s = lead.now_s() - stopped_s
            if since_s < _STALE_S:
                self._ticked = False
            lead.let_in()
            if self._ticked and since_s >= _STALE_S:
                return Closing.STILL_OPEN
            if self._has_ended:
                if since_s >= _SILENCE_S:
                    return Closing.NOTHING_OPEN
                lead.sleep(_LOOK_EVERY_S)
                continue
            if self._is_complete or (self._has_picture and since_s >= _SILENCE_S):
                return Closing.CLOSED
            if not self._has_opened and (since_s >= _SILENCE_S or not accepted):
                return Closing.NOTHING_OPEN
            if since_s >= _STORED_S:
                # It was open, and the seconds in which it would have told of itself have passed.
                return Closing.CLOSED_BUSY
            lead.sleep(_LOOK_EVERY_S)


class OpenCaptureDriver:
    """Open capture: nothing tells whether it began, but a second stop is refused once the first has ended it."""

    def __init__(self) -> None:
        self._is_stored = False
        self._closed_by_asking = False

    def open(self, lead: Lead) -> None:
        lead.let_in()
        self._is_stored = self._closed_by_asking = False
        lead.put(Holding.OPEN_CAPTURE.value, 1)

    def close(self, lead: Lead) -> Closing:
        if self._closed_by_asking:
            self._closed_by_asking = False
            return self._stored(lead)
        self._is_stored = False
        if not self._stop(lead):
            return Closing.NOTHING_OPEN
        lead.sleep(_GRACE_S)
        if self._stop(lead):
            self._closed_by_asking = True
            return Closing.STILL_OPEN
        return self._stored(lead)

    def heard(self, hint: Hint) -> None:
        self._is_stored = self._is_stored or hint in (Hint.PICTURE, Hint.COMPLETE)

    def _stop(self, lead: Lead) -> bool:
        """Whether the body ended a capture; a refusal says that none was running."""
        try:
            lead.put(Holding.OPEN_CAPTURE.value, 0)
        except LibrarySaid as said:
            known = read_error(said.code, said.took_s)
            if known is not None:
                raise known from said
            lead.check_alive()
            return False
        return True

    def _stored(self, lead: Lead) -> Closing:
        ends_s = lead.now_s() + _STORED_S
        while lead.now_s() < ends_s:
            lead.let_in()
            if self._is_stored:
                return Closing.CLOSED
            lead.sleep(_LOOK_EVERY_S)
        return Closing.CLOSED_BUSY
