"""The rules of the shutter, and every transition between its states.

 1. Nothing opens unless the shutter is proven closed, the last frame is settled and collected, and no latch is set.
 2. `opening` is in the black box before the opening call is made; a black box that cannot be written opens nothing.
 3. Every opening has its end before it begins: the due time, under the cap.
 4. An opening call that failed may have opened: the answer is always a closing call.
 5. A request to stop during the opening call waits for its answer, then closes.
 6. A frame ends with proof of a closed shutter, or is said to be unknown; the record has the true open time.
 7. After a lost link, and at every start, the first call is a closing call; nothing is opened again on its own.
 8. Three closing calls that leave it open set the latch: after a proven close a person must clear it.
 9. A process that has served long enough ends between frames only: nothing open, nothing untold or uncollected.
10. A call that hung has spent the session, and a hold that overran has lost its thread: the process ends at once,
    and its successor closes.

Pure: `step(event, now_s)` returns effects in the order in which they are to be done; `deadline_s()` says when a
`Tick` is due. Times are `_mono` seconds. `now_s` is the only clock.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from duskhold.camera.port import Closing, NoCard
from duskhold.shutter.events import (
    BodyReplaced,
    Box,
    BoxFailed,
    CallFailed,
    CaptureCompleted,
    Close,
    CloseAnswered,
    CloseAsked,
    Collected,
    Connect,
    Connected,
    Count,
    Counted,
    Dial,
    DialAnswered,
    Die,
    Effect,
    End,
    Event,
    ExposeAsked,
    Failure,
    Hold,
    HoldEnded,
    LatchCleared,
    Open,
    OpenAnswered,
    Pause,
    PictureSeen,
    RecycleAsked,
    Refused,
    ReleaseAsked,
    Started,
    Tick,
)
from duskhold.shutter.phase import Phase
from duskhold.shutter.replaced import OTHER_BODY, all_given_up, awaited_serial
from duskhold.shutter.report import Kind, Outcome, ShutterReport, ShutterState
from duskhold.shutter.story import Cause, Frame, tell, tell_unknown

OVERRUN_S = 1.0  # a hold that is this late has lost its thread
GIVE_UP_S = 60.0  # after the planned end: the frame is told as unknown, the closing goes on
PROOF_S = 15.0  # over the open time again: how long a picture may take to prove that it was open
STORING_S = 60.0  # over the open time again (an in-camera dark frame): a body that says nothing is taken as ready
IDLE_S = 60.0  # nothing asked for this long: the camera is released
CLOSINGS_BEFORE_LATCH = 3
NO_CARD = NoCard.code
RETRY_OPEN_S = 0.2  # between attempts while the shutter may be open
RETRY_CLOSED_S = 1.0
RELEASED = Refused("released", "the camera was just released; ask again")
_ORDERS = (ExposeAsked, LatchCleared, BodyReplaced)


@dataclass(slots=True)
class Machine:
    """The shutter of one camera. `frame` is the opening that is not settled yet; `reports` wait to be collected."""

    phase: Phase = Phase.STARTING
    frame: Frame | None = None
    latched: bool = False
    reports: dict[str, ShutterReport] = field(default_factory=dict)
    trouble: str | None = None
    trouble_code: str = "not_ready"
    unfit: Refused | None = None  # the body answers, but cannot take a picture
    serial: str = ""  # of the body that answers, or answered last
    looked: bool = False  # a first attempt at the safe state was made: the holder may listen
    frames: int = 0  # told in this life of the process
    recycled: bool = False  # released for a successor that starts at once
    _closings_left_open: int = 0
    _nothing_open: int = 0
    stop_asked: bool = False
    _quiet_at_s: float = 0.0
    _touched_s: float = 0.0

    def step(self, event: Event, now_s: float) -> list[Effect]:
        """Take one event and say what is to be done."""
        if self.phase is Phase.RELEASED:
            return [RELEASED] if isinstance(event, _ORDERS) else []
        match event:
            case Started():
                return self._start(event, now_s)
            case Connected():
                self.unfit, self.serial = None, event.serial
                self.phase = Phase.STARTING if self.phase is Phase.READY else self.phase
                return [Close()]
            case ExposeAsked():
                return self._expose(event, now_s)
            case OpenAnswered():
                return self._opened(event)
            case DialAnswered():
                return self._timed(event)
            case HoldEnded():
                return self._hold_ended(event, now_s)
            case CloseAnswered():
                return self._close_answered(event, now_s)
            case CallFailed():
                return self._call_failed(event, now_s)
            case CloseAsked():
                self.stop_asked = True
                return []
            case PictureSeen() | CaptureCompleted():
                return self._stored(event, now_s)
            case Counted():
                return self._counted(event, now_s)
            case Collected():
                return self._collected(event)
            case LatchCleared():
                return self._clear_latch()
            case BodyReplaced():
                return self._give_up(now_s)
            case BoxFailed():
                return self._box_failed(event, now_s)
            case ReleaseAsked():
                return self._release()
            case RecycleAsked():
                return self._recycle(event)
            case Tick():
                return self._tick(now_s)

    def touch(self, now_s: float) -> None:
        """Somebody asked something: not idle."""
        self._touched_s = now_s

    def deadline_s(self) -> float | None:
        """When the next `Tick` is due."""
        due = []
        if self.frame is not None:
            if self.phase is Phase.OPEN:
                due.append(self.frame.due_s + OVERRUN_S)
            if not self.frame.told:
                due.append(self.frame.planned_end_s + GIVE_UP_S)
        if self.phase in (Phase.STORING, Phase.PROVING):
            due.append(self._quiet_at_s)
        if self._is_idle():
            due.append(self._touched_s + IDLE_S)
        return min(due, default=None)

    def shutter(self) -> ShutterState:
        """What is known of the shutter now."""
        if self.phase in (Phase.READY, Phase.STORING, Phase.PROVING):
            return ShutterState.CLOSED
        if self.phase in (Phase.OPEN, Phase.TIMED):
            return ShutterState.OPEN
        return ShutterState.UNKNOWN

    def closes_in_s(self, now_s: float) -> float | None:
        """Seconds to the planned end of the opening, 0 when it is overdue; None when nothing is open."""
        return None if self.frame is None else max(0.0, self.frame.planned_end_s - now_s)

    def awaited(self) -> str | None:
        """The serial of the only body that may answer now, or None when any may."""
        return awaited_serial(self.frame, self.reports.values())

    def refusal(self) -> Refused | None:
        """Why an exposure would be refused now, or None."""
        if self.phase is Phase.LOST and self.trouble_code == OTHER_BODY:
            return Refused(OTHER_BODY, str(self.trouble))
        if self.frame is not None:
            return Refused("busy", "the shutter is in use by another frame")
        if self.latched:
            return Refused(
                "latched", "the shutter failed to close before: look at the camera, then `duskhold body clear`"
            )
        if self.reports:
            return Refused("not_collected", f"frame {next(iter(self.reports))} waits to be collected")
        if self.phase is Phase.STORING:
            return Refused("storing", "the body is still storing the last frame, or takes its own dark frame")
        if self.unfit is not None:
            return self.unfit
        if self.phase is not Phase.READY:
            return Refused(self.trouble_code, self.trouble or "the shutter is not proven closed yet")
        return None

    def _start(self, event: Started, now_s: float) -> list[Effect]:
        self._touched_s = now_s
        self.reports = {report.frame_id: report for report in event.reports}
        self.latched = event.latched
        self.frame = event.frame
        if self.frame is not None:
            self.frame.cause = self.frame.cause or Cause.HOLDER_GONE
            if not self.frame.same_boot:
                self.frame.planned_end_s = now_s  # its own stamps are of a clock that is gone
        return [Box("started"), Connect()]

    def _expose(self, event: ExposeAsked, now_s: float) -> list[Effect]:
        refused = self.refusal()
        if refused is not None:
            return [refused]
        exposure = event.exposure
        self.frame = Frame(exposure, now_s, now_s + exposure.open_s, event.utc_offset_s, serial=self.serial)
        self.phase = Phase.OPENING
        self.stop_asked = False
        stamps = {"utc_offset_s": event.utc_offset_s, "serial": self.serial}
        opening = Box("opening", exposure.frame_id, exposure.as_message() | stamps)
        return [opening, Open() if exposure.kind is Kind.HELD else Dial(exposure.open_s)]

    def _opened(self, event: OpenAnswered) -> list[Effect]:
        frame = self._held()
        frame.opened(event.began_s, event.returned_s)
        box = Box("opened", frame.exposure.frame_id, {"opened_s": frame.opened_s, "due_s": frame.due_s})
        if self.stop_asked:
            frame.cause = Cause.ASKED
            self.phase = Phase.CLOSING
            return [box, Close()]
        self.phase = Phase.OPEN
        return [box, Hold(frame.due_s)]

    def _timed(self, event: DialAnswered) -> list[Effect]:
        frame = self._held()
        frame.opened(event.began_s, event.began_s)  # some families come back only when it is over
        self.phase = Phase.TIMED
        return []

    def _hold_ended(self, event: HoldEnded, now_s: float) -> list[Effect]:
        frame = self._held()
        frame.alive_s = event.alive_s
        if event.failed is not None:
            return self._call_failed(event.failed, now_s)
        frame.cause = Cause.ASKED if self.stop_asked and now_s < frame.due_s else Cause.DUE
        self.phase = Phase.CLOSING
        return [Box("closing", frame.exposure.frame_id), Close()]

    def _close_answered(self, event: CloseAnswered, now_s: float) -> list[Effect]:
        # Whoever waits for a picture as proof has closed first, and listens: silence would be taken for death.
        self.trouble, self.trouble_code, self.looked = None, "not_ready", True
        if self.frame is not None and event.closing is not Closing.CLOSED and self.frame.runs_by_dial(now_s):
            self.frame.denied_s = self.frame.denied_s or event.called_s
            self.phase, self._closings_left_open = Phase.TIMED, 0  # it ends it at its time, or tells of it too early
            return []
        if event.closing is Closing.STILL_OPEN:
            self._nothing_open = 0
            if self.frame is not None:
                self.frame.denied_s = None  # whatever was denied before: it is open
            return self._left_open("the body says that it is still exposing")
        if event.closing is Closing.NOTHING_OPEN and self.frame is not None:
            # Two families say this of a shutter that the link kept from hearing the call: ask once more.
            self._nothing_open += 1
            self.frame.denied_s = self.frame.denied_s or event.called_s
            if self._nothing_open < 2:
                return [Close()]
            if self.frame.opened_s is not None and self.frame.same_boot:
                self.phase = Phase.PROVING
                self._quiet_at_s = now_s + self.frame.longest_open_s(now_s) + PROOF_S
                return [Count()]
        elif self.frame is not None:
            self.frame.closing_s = event.called_s
        return self._closed(event.closing, now_s)

    def _counted(self, event: Counted, now_s: float) -> list[Effect]:
        if self.phase is not Phase.PROVING:
            return []
        if event.new:
            return self._proven(now_s)
        self._held().late_picture = True  # one that comes from now on was stored after the closing calls
        return []

    def _proven(self, now_s: float) -> list[Effect]:
        """A picture came of a shutter that was not open when asked: it did open, and somebody closed it."""
        frame = self._held()
        frame.proven = True
        if frame.cause in (Cause.DUE, Cause.ASKED) and (frame.late_picture or not frame.early_picture):
            frame.closing_s = frame.denied_s
            frame.reason = "the body did not confirm the closing, and stored the picture"
            return self._closed(Closing.CLOSED, now_s)
        return self._closed(Closing.NOTHING_OPEN, now_s)

    def _closed(self, closing: Closing, now_s: float) -> list[Effect]:
        self._closings_left_open = self._nothing_open = 0
        if self.frame is None:
            # After a restart or a lost link the body may still be storing a frame that nobody has collected.
            self.phase = Phase.STORING if self.reports else Phase.READY
            self._quiet_at_s = now_s + STORING_S + max((one.about_s for one in self.reports.values()), default=0.0)
            return [Box("safe", None, {"closing": closing.value})]
        report = tell(self.frame, closing, now_s)
        self.reports[report.frame_id] = report
        self.frames += 1
        open_s, proven = self.frame.longest_open_s(now_s), self.frame.proven
        self.frame = None
        stores = report.outcome is not Outcome.REFUSED and (closing is not Closing.NOTHING_OPEN or proven)
        self.phase = Phase.STORING if stores else Phase.READY
        self._quiet_at_s = now_s + open_s + STORING_S
        self._touched_s = now_s
        return [Box("closed", report.frame_id, report.as_message())]

    def _left_open(self, reason: str) -> list[Effect]:
        self._closings_left_open += 1
        self.trouble, self.phase = reason, Phase.STARTING if self.phase is Phase.READY else self.phase
        if self._closings_left_open < CLOSINGS_BEFORE_LATCH:
            return [Close()]
        if self.latched:
            return [Pause(RETRY_CLOSED_S), Connect()]
        self.latched = True
        return [Box("latched", None, {"reason": reason}), Connect()]

    def _call_failed(self, event: CallFailed, now_s: float) -> list[Effect]:
        self.looked = True
        if self.phase is Phase.OPENING and event.call != "open":
            self._withdraw(event.reason, now_s)  # the order waited for this call: nothing of it was done
        if event.code == NO_CARD:
            self.unfit = Refused(event.code, event.reason)
            # There is a session: the safe state comes before the complaint. Whoever wants to see a picture has closed.
            return [] if self.phase is Phase.PROVING else [Close()]
        if event.failure is Failure.REFUSED:
            return self._refused(event, now_s)
        return self._link_gone(event, now_s)

    def _refused(self, event: CallFailed, now_s: float) -> list[Effect]:
        """The body answered no: to an opening call by closing, to a closing call by asking again."""
        if self.phase is Phase.OPENING:
            self._held().cause = Cause.OPEN_REFUSED
            self._held().reason = event.reason
            self.phase = Phase.CLOSING
            return [Close()]
        if self.phase in (Phase.CLOSING, Phase.STARTING, Phase.LOST):
            return [Pause(RETRY_OPEN_S), *self._left_open(event.reason)]
        self.trouble = event.reason
        return []

    def _link_gone(self, event: CallFailed, now_s: float) -> list[Effect]:
        reason = event.reason
        if self.frame is not None:
            self.frame.lost(reason, event.call, now_s)
        known = self.phase is Phase.LOST and self.trouble == reason
        frame_id = None if self.frame is None else self.frame.exposure.frame_id
        news: list[Effect] = [] if known else [Box("lost", frame_id, {"reason": reason})]
        self.trouble, self.trouble_code = reason, event.code
        self.phase = Phase.LOST
        if event.failure is Failure.HUNG:
            return [*news, Die(reason)]
        pause_s = RETRY_CLOSED_S if self.frame is None else RETRY_OPEN_S
        return [*news, Pause(pause_s), Connect()]

    def _stored(self, event: PictureSeen | CaptureCompleted, now_s: float) -> list[Effect]:
        if self.phase is Phase.STORING and isinstance(event, CaptureCompleted):
            self.phase = Phase.READY
        if self.phase is Phase.PROVING:
            return [Count()]  # the word may be a late one, of a frame before: what is new on the card decides
        if self.phase is Phase.TIMED and self._held().may_be_over(now_s):
            frame = self._held()  # a picture of a dial exposure proves that the body has closed
            frame.cause = Cause.DUE
            frame.closing_s = min(now_s, frame.planned_end_s)
            return self._closed(Closing.CLOSED, now_s)
        if self.phase in (Phase.OPEN, Phase.TIMED):  # of a frame before, or of one that the body ended by itself
            self._held().early_picture = True
        return []

    def _collected(self, event: Collected) -> list[Effect]:
        report = self.reports.pop(event.frame_id, None)
        if report is None or not report.settled:
            return []
        if self.phase is Phase.STORING and not self.reports:
            self.phase = Phase.READY  # its pictures are home: the body has stored them, whatever event was lost
        return [Box("collected", event.frame_id)]

    def _box_failed(self, event: BoxFailed, now_s: float) -> list[Effect]:
        """Without a black box nothing is opened; what is open is closed all the same."""
        reason = f"the black box cannot be written ({event.reason}): make room on its disk"
        self.unfit = Refused("black_box_unwritable", reason)
        if event.word == "opening":
            self._withdraw(reason, now_s)
        return []

    def _withdraw(self, reason: str, now_s: float) -> None:
        """An order that was taken, and of which nothing was done: nothing will be."""
        frame = self._held()
        frame.cause, frame.reason = Cause.OPEN_REFUSED, reason
        report = tell(frame, Closing.NOTHING_OPEN, now_s)
        self.reports[report.frame_id], self.frame, self.phase = report, None, Phase.READY

    def _clear_latch(self) -> list[Effect]:
        if self.phase not in (Phase.READY, Phase.STORING):
            return [Refused("not_closed", "the latch can be cleared only after a proven close")]
        self.latched = False
        return [Box("cleared")]

    def _give_up(self, now_s: float) -> list[Effect]:
        """Nothing more is asked of a body that does not come back; the one that answers is closed, and serves."""
        if self.phase is not Phase.LOST or self.trouble_code != OTHER_BODY or self.awaited() is None:
            return [Refused("not_replaced", "no other camera answers in the place of one whose frame is outstanding")]
        given_up = all_given_up(self.frame, self.reports.values(), now_s)
        self.frame, self._nothing_open = None, 0
        self.reports |= {report.frame_id: report for report in given_up}
        return [Box("closed", report.frame_id, report.as_message()) for report in given_up]

    def _tick(self, now_s: float) -> list[Effect]:
        effects: list[Effect] = []
        frame = self.frame
        if frame is not None and self.phase is Phase.OPEN and now_s >= frame.due_s + OVERRUN_S:
            return [Box("overrun", frame.exposure.frame_id), Die("the hold overran its end")]
        if frame is not None and not frame.told and now_s >= frame.planned_end_s + GIVE_UP_S:
            if self.phase is Phase.TIMED:
                # No word of its picture: the closing calls find out, and have as long for it as any.
                self.phase, frame.cause, frame.planned_end_s = Phase.CLOSING, Cause.DUE, now_s
                effects.append(Close())
            else:
                frame.told = True
                report = tell_unknown(frame, now_s)
                self.reports[report.frame_id] = report
                effects.append(Box("unknown", report.frame_id, report.as_message()))
        if self.phase is Phase.PROVING and now_s >= self._quiet_at_s:
            effects += self._closed(Closing.NOTHING_OPEN, now_s)
        if self.phase is Phase.STORING and now_s >= self._quiet_at_s:
            self.phase = Phase.READY
        if self._is_idle() and now_s >= self._touched_s + IDLE_S:
            effects += self._release()
        return effects

    def _release(self) -> list[Effect]:
        if self.frame is not None:
            self.stop_asked = True
            return []
        self.phase = Phase.RELEASED
        return [Box("released"), End()]

    def _recycle(self, event: RecycleAsked) -> list[Effect]:
        if self.phase is not Phase.READY or self.frame is not None or self.reports:
            return []
        self.phase, self.recycled = Phase.RELEASED, True
        return [Box("recycled", None, {"reason": event.reason, "frames": self.frames}), End()]

    def _is_idle(self) -> bool:
        return self.phase is Phase.READY or (self.phase is Phase.LOST and self.frame is None)

    def _held(self) -> Frame:
        assert self.frame is not None, self.phase
        return self.frame
