"""What one opening was, told from its stamps: outcome, true open time and how well it is known."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from enum import Enum

from duskhold.camera.port import Closing
from duskhold.shutter.report import Exposure, Kind, Outcome, ShutterReport, ShutterState

COMPLETE_WITHIN_S = 0.5  # an end this far from its plan is not the frame that was asked for
COMPLETE_WITHIN_SHARE = 0.01
ONE_CALL_WITHIN_S = 0.1  # two closings no further apart than this are told as one
DIAL_OFF_SHARE = 0.1  # bodies that take 30 s for what is 32 s, and more; common practice, no source
TELLING_WITHIN_S = 0.5  # an open time known worse than this is told as a range only


class Cause(Enum):
    """Why the opening was brought to an end."""

    DUE = "due"
    ASKED = "asked"
    LINK = "link"
    OPEN_REFUSED = "open_refused"
    HOLDER_GONE = "holder_gone"


@dataclass(slots=True)
class Frame:
    """The stamps of one opening, `_mono` seconds.

    `opened_s` is the return of the opening call (the latency counts from there), `alive_s` the last proof of a
    link while open, `lost_s` when its loss was seen, `closing_s` the beginning of the closing call that worked,
    `tried_s` the last return of one that was not answered and may have worked, `denied_s` the beginning of the first
    one that the body answered with "nothing is open".
    """

    exposure: Exposure
    opening_s: float
    planned_end_s: float
    utc_offset_s: float
    opened_s: float | None = None
    due_s: float = 0.0
    alive_s: float | None = None
    lost_s: float | None = None
    closing_s: float | None = None
    tried_s: float | None = None
    denied_s: float | None = None
    cause: Cause | None = None
    reason: str = ""
    told: bool = False
    proven: bool = False  # a picture says that it did open
    late_picture: bool = False  # and it came after the closing calls: one of them may have closed
    early_picture: bool = False  # a picture was told before any closing was asked for
    same_boot: bool = True
    serial: str = ""  # of the body that opened

    def opened(self, began_s: float, returned_s: float) -> None:
        """Note the opening and fix its end: the open time less the latency of closing over opening, under the cap."""
        self.opening_s, self.opened_s, self.alive_s = began_s, returned_s, returned_s
        wait_s = min(self.exposure.open_s - self.exposure.latency_s, self.exposure.cap_s)
        self.due_s = returned_s + max(0.0, wait_s)
        self.planned_end_s = returned_s + self.exposure.open_s

    def lost(self, reason: str, call: str, now_s: float) -> None:
        """Note that the link went, in the middle of `call`: a closing call may have worked."""
        if self.cause in (None, Cause.DUE, Cause.ASKED):
            self.cause, self.reason = Cause.LINK, reason
        self.lost_s = now_s if self.lost_s is None else self.lost_s
        self.tried_s = now_s if call == "close" else self.tried_s

    def may_be_over(self, now_s: float) -> bool:
        """Whether a body that times it may have ended it; a picture told before is another frame's, or cut short."""
        return now_s >= self.planned_end_s - DIAL_OFF_SHARE * self.exposure.open_s

    def runs_by_dial(self, now_s: float) -> bool:
        """Whether the body may be at it still by its own dial, whatever became of the link or of this process."""
        is_timed = self.exposure.kind is Kind.DIAL and self.cause is not Cause.OPEN_REFUSED
        return is_timed and not self.may_be_over(now_s)

    def longest_open_s(self, now_s: float) -> float:
        """An upper bound of the open time, for how long the body may be busy with it."""
        if self.exposure.kind is Kind.DIAL:
            return self.exposure.open_s  # whatever it answered
        return max(0.0, (self.closing_s or now_s) - self.opening_s)


def tell(frame: Frame, closing: Closing, now_s: float) -> ShutterReport:
    """The report of a frame whose shutter is proven closed."""
    if not frame.same_boot:
        frame.reason = (
            "the computer went down with the shutter open, and started again; how long it was open is not known"
        )
        frame.closing_s = None
        return _report(frame, Outcome.UNKNOWN, None, None, None)
    if closing is Closing.NOTHING_OPEN:
        return _tell_closed_by_itself(frame, now_s)
    assert frame.closing_s is not None
    if frame.runs_by_dial(now_s):
        return _tell_ended_dial(frame)
    if frame.opened_s is None:
        return _tell_uncertain_opening(frame, frame.closing_s)
    if frame.exposure.kind is Kind.DIAL:
        return _report(frame, Outcome.COMPLETE, frame.exposure.open_s, 0.0, None)
    open_s = max(0.0, frame.closing_s - frame.opened_s + frame.exposure.latency_s)
    if frame.denied_s is not None and frame.closing_s - frame.denied_s > ONE_CALL_WITHIN_S:
        return _tell_either_closing(frame, open_s, frame.closing_s - frame.denied_s)
    return _report(frame, _outcome(frame, open_s), open_s, frame.exposure.latency_sigma_s, None)


def tell_unknown(frame: Frame, now_s: float) -> ShutterReport:
    """The report of a frame whose shutter is still not proven closed long after its end."""
    opened_s = frame.opened_s if frame.opened_s is not None else frame.opening_s
    least_s = max(0.0, (frame.alive_s or opened_s) - opened_s)
    outcome = Outcome.LINK_LOST if frame.cause in (Cause.LINK, Cause.HOLDER_GONE) else Outcome.UNKNOWN
    bounds = (least_s, now_s - frame.opening_s) if frame.same_boot else None
    reason = frame.reason or "the shutter is not proven closed"
    return ShutterReport(
        frame_id=frame.exposure.frame_id,
        kind=frame.exposure.kind,
        outcome=outcome,
        planned_s=frame.exposure.open_s,
        open_s=None,
        open_s_sigma_s=None,
        open_s_range=bounds,
        opened_utc=_utc(opened_s, frame),
        closed_utc=None,
        shutter=ShutterState.UNKNOWN,
        reason=f"{reason}; the shutter may still be open: close it by hand if you can reach the camera",
        origin=frame.exposure.origin,
        settled=False,
        serial=frame.serial,
    )


def _tell_closed_by_itself(frame: Frame, now_s: float) -> ShutterReport:
    """The body says that nothing is open: it never opened, or it has closed by itself."""
    if frame.cause is Cause.OPEN_REFUSED:
        if frame.tried_s is None:
            return _report(frame, Outcome.REFUSED, 0.0, 0.0, None)
        return _report(frame, Outcome.UNKNOWN, None, None, (0.0, max(0.0, now_s - frame.opening_s)))
    if frame.opened_s is None:
        bounds = (0.0, max(0.0, now_s - frame.opening_s))  # nothing is known but that it is closed now
        return _report(frame, Outcome.UNKNOWN, None, None, bounds)
    if not frame.proven:
        frame.reason = frame.reason or "the body took the order to open, but nothing was open and no picture came"
        return _report(frame, Outcome.FAILED, None, None, (0.0, _bound(frame, now_s)))
    if frame.exposure.kind is Kind.DIAL and not frame.early_picture:
        return _report(frame, Outcome.LINK_LOST, frame.exposure.open_s, 0.0, (0.0, frame.exposure.open_s))
    if frame.cause in (Cause.DUE, Cause.ASKED):
        # Stored before the closing calls: a dying battery, say. A link that lived proves no open shutter.
        frame.reason = frame.reason or "the body closed the shutter by itself, some time before it was asked to"
        return _report(frame, Outcome.CUT_SHORT, None, None, (0.0, _bound(frame, now_s)))
    least_s = max(0.0, (frame.alive_s or frame.opened_s) - frame.opened_s)
    most_s = _bound(frame, now_s)
    half_s = (most_s - least_s) / 2
    frame.reason = frame.reason or "the body closed the shutter by itself"
    open_s = least_s + half_s if half_s <= TELLING_WITHIN_S else None
    return _report(frame, Outcome.LINK_LOST, open_s, None if open_s is None else half_s, (least_s, most_s))


def _tell_ended_dial(frame: Frame) -> ShutterReport:
    """Closed, as the body says, before the time of its dial was over: its picture tells whether it is whole."""
    frame.reason = frame.reason or "a closing call was answered before the time of the dial was over"
    outcome = Outcome.LINK_LOST if frame.cause in (Cause.LINK, Cause.HOLDER_GONE) else Outcome.CUT_SHORT
    return _report(frame, outcome, None, None, (0.0, frame.exposure.open_s))


def _tell_uncertain_opening(frame: Frame, closing_s: float) -> ShutterReport:
    """The opening call was never answered with a yes, yet something was closed."""
    bounds = (0.0, closing_s - frame.opening_s)
    if frame.cause is Cause.OPEN_REFUSED:
        frame.reason = frame.reason or "the body refused to open"
        outcome = Outcome.FAILED
    else:
        frame.reason = frame.reason or "the answer to the opening never came"
        outcome = Outcome.LINK_LOST if frame.cause is Cause.LINK else Outcome.UNKNOWN
    return _report(frame, outcome, None, None, bounds)


def _tell_either_closing(frame: Frame, most_s: float, apart_s: float) -> ShutterReport:
    """An earlier closing that proved nothing, `apart_s` before the one that did, may have closed as well."""
    least_s = max(0.0, most_s - apart_s)
    half_s = (most_s - least_s) / 2
    outcome = _outcome(frame, most_s)
    frame.reason = frame.reason or "one of two closings closed it, and the body did not say which"
    open_s = least_s + half_s if half_s <= TELLING_WITHIN_S else None
    sigma_s = None if open_s is None else max(half_s, frame.exposure.latency_sigma_s)
    return _report(frame, outcome, open_s, sigma_s, (least_s, most_s))


def _outcome(frame: Frame, open_s: float) -> Outcome:
    if frame.cause is Cause.LINK or (frame.cause is Cause.HOLDER_GONE and frame.lost_s is not None):
        return Outcome.LINK_LOST
    if frame.cause is Cause.HOLDER_GONE:
        frame.reason = frame.reason or "the shutter process ended; its successor closed the shutter"
    planned_s = frame.exposure.open_s
    if abs(open_s - planned_s) <= max(COMPLETE_WITHIN_S, COMPLETE_WITHIN_SHARE * planned_s):
        return Outcome.CUT_SHORT if frame.cause is Cause.ASKED else Outcome.COMPLETE
    frame.reason = frame.reason or ("closed on request" if frame.cause is Cause.ASKED else "closed late")
    return Outcome.CUT_SHORT if open_s < planned_s else Outcome.FAILED


def _report(
    frame: Frame,
    outcome: Outcome,
    open_s: float | None,
    sigma_s: float | None,
    bounds: tuple[float, float] | None,
) -> ShutterReport:
    opened_s = frame.opened_s if frame.opened_s is not None else frame.opening_s
    closed_s = opened_s + open_s if open_s is not None else frame.closing_s
    never = outcome is Outcome.REFUSED
    return ShutterReport(
        frame_id=frame.exposure.frame_id,
        kind=frame.exposure.kind,
        outcome=outcome,
        planned_s=frame.exposure.open_s,
        open_s=_round(open_s),
        open_s_sigma_s=_round(sigma_s),
        open_s_range=bounds,
        opened_utc=None if never else _utc(opened_s, frame),
        closed_utc=None if never or closed_s is None else _utc(closed_s, frame),
        shutter=ShutterState.CLOSED,
        reason=frame.reason,
        origin=frame.exposure.origin,
        settled=True,
        serial=frame.serial,
        denied=frame.denied_s is not None,
    )


def _round(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 6)


def _bound(frame: Frame, now_s: float) -> float:
    """The longest that a shutter found closed at `now_s` can have been open."""
    denied_s = frame.denied_s if frame.late_picture else None
    seen = [moment for moment in (frame.lost_s, frame.tried_s, denied_s) if moment is not None]
    longest_s = max(0.0, max(seen, default=now_s) - frame.opening_s)
    # A dial goes on without a link.
    return max(longest_s, frame.exposure.open_s) if frame.exposure.kind is Kind.DIAL else longest_s


def _utc(mono_s: float, frame: Frame) -> str:
    moment = datetime.fromtimestamp(mono_s + frame.utc_offset_s, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
