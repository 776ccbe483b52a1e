"""The hands on the camera: every effect of the machine carried out, in order, by one thread."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence

from duskhold.camera.port import (
    Camera,
    CameraClaimed,
    CameraError,
    CameraMissing,
    EventKind,
    LinkHung,
    LinkLost,
    NoCard,
    PermissionMissing,
    Picture,
)
from duskhold.camera.usb_reset import Reset
from duskhold.shutter.desk import Desk, Errand
from duskhold.shutter.errands import Errands
from duskhold.shutter.events import (
    Box,
    BoxFailed,
    CallFailed,
    CaptureCompleted,
    Close,
    CloseAnswered,
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
    Failure,
    Hold,
    HoldEnded,
    Open,
    OpenAnswered,
    Pause,
    PictureSeen,
    Refused,
)
from duskhold.shutter.phase import Phase
from duskhold.shutter.replaced import OTHER_BODY

CONNECT_BUDGET_S = 20.0  # libgphoto2 tries the session three times, 2.5 s each over IP, 8 s each over USB
OPEN_BUDGET_S = 12.0  # four transactions of 2.5 s
DIAL_BUDGET_S = 60.0  # over twice the dial time: some families come back only when the picture is stored
CLOSE_BUDGET_S = 8.0  # a stop polls for 5 s while the body takes its own dark frame
WAIT_BUDGET_S = 6.0
SLICE_S = 0.1
WRITTEN_AFTERWARDS = frozenset({"opened", "closing"})
SHORTEST_WAIT_S = 0.001
LOOK_AGAIN_S = 1.0  # between two looks whether a body can take a picture again: each begins a session
QUIET_S = 0.35  # no waiting call begins this close to the end: one may take 0.2 s longer than asked


class Hands:
    """Carries out effects and errands on one camera, by one thread.

    `write` puts a line into the black box and returns when it is on disk; `die` ends the process at once. `between`
    is asked for more before every effect: in simulated time there is no control thread to see a deadline. `nap` is
    the pause between two looks for a camera; it may end early. `reset` resets the device behind the lead.
    """

    def __init__(
        self,
        camera: Camera,
        desk: Desk,
        errands: Errands,
        write: Callable[[Box], None],
        die: Callable[[str], None],
        slice_s: float = SLICE_S,
        between: Callable[[], Sequence[Effect]] = tuple,
        nap: Callable[[float], None] | None = None,
        reset: Callable[[], Reset] | None = None,
    ) -> None:
        self._camera = camera
        self._desk = desk
        self._errands = errands
        self._write = write
        self._die = die
        self._slice_s = slice_s
        self._between = between
        self._now_s = desk.clock.now_s
        self._sleep_until = desk.clock.sleep_until
        self._nap = nap or (lambda seconds: self._sleep_until(self._now_s() + seconds))
        self._reset = reset
        self._was_reset = False
        self.ended = False

    def listen(self, phase: Phase) -> list[Effect]:
        """Between calls: let events in, which also proves the link."""
        if phase not in (Phase.READY, Phase.STORING, Phase.TIMED, Phase.PROVING):
            return []
        if phase is Phase.READY and self._desk.machine.unfit is not None:
            return [Pause(LOOK_AGAIN_S), Connect()]  # perhaps it was mended: a card was put in
        try:
            events = self._let_in(self._slice_s)
        except CameraError as error:
            return self._desk.step(_failed("wait", error))
        effects: list[Effect] = []
        for event in events:
            effects += self._desk.step(event)
        return effects

    def _let_in(self, slice_s: float) -> list[Event]:
        with self._desk.calling("wait", WAIT_BUDGET_S):
            arrived = self._camera.wait(slice_s)
        for event in arrived:
            if event.picture is not None:
                self._place(event.picture)
        kinds = {event.kind for event in arrived}
        news: list[Event] = [PictureSeen()] if EventKind.PICTURE_ADDED in kinds else []
        return [*news, CaptureCompleted()] if EventKind.CAPTURE_COMPLETE in kinds else news

    def _place(self, picture: Picture) -> None:
        """A new picture is of the frame that is not collected yet, or else somebody took it by hand."""
        with self._desk.looking() as machine:
            outstanding = machine.frame is not None or bool(machine.reports)
        if outstanding:
            self._desk.seen.append(picture)
        else:
            self._errands.stock.add(picture)

    def carry_out(self, effects: Sequence[Effect]) -> None:
        """Do them in order, and whatever the machine asks for next, until it asks for nothing more."""
        pending = deque(effects)
        while pending and not self.ended:
            pending.extendleft(reversed(self._between()))
            effect = pending.popleft()
            if self._is_void(effect):
                pending.clear()
                continue
            event = self._perform(effect)
            if isinstance(event, BoxFailed) and event.word == "opening":
                pending.clear()  # what was not written is not done
            if event is not None:
                pending.extend(self._desk.step(event))

    def _is_void(self, effect: Effect) -> bool:
        """Whether it begins an opening that is told already: its order waited here while a call before it failed."""
        if not (isinstance(effect, Box) and effect.word == "opening"):
            return False
        with self._desk.looking() as machine:
            frame = machine.frame if machine.phase is Phase.OPENING else None
        return frame is None or frame.exposure.frame_id != effect.frame_id

    def _perform(self, effect: Effect) -> Event | None:
        match effect:
            case Box():
                return self._note(effect)
            case Connect():
                return self._connect()
            case Open():
                return self._open(OpenAnswered, self._camera.open_shutter, OPEN_BUDGET_S)
            case Dial():
                return self._open(DialAnswered, self._camera.expose_dial, effect.seconds * 2 + DIAL_BUDGET_S)
            case Hold():
                return self._hold(effect.until_s)
            case Close():
                return self._close()
            case Count():
                return self._count()
            case Pause():
                self._nap(effect.seconds)
            case Die():
                self._die(effect.reason)
            case End():
                self._end()
            case Refused():
                raise AssertionError("a refusal is answered by the control thread")
        return None

    def _note(self, box: Box) -> Event | None:
        if box.word in WRITTEN_AFTERWARDS:
            # A flush can take half a second on a slow card: not on this thread while the shutter is open.
            self._desk.boxes.put(box)
            self._desk.wake()
            return None
        try:
            self._write(box)
        except OSError as error:
            return BoxFailed(box.word, str(error))
        finally:
            self._desk.wake()
        if box.word == "safe":
            self._take_stock()
        return None

    def _take_stock(self) -> None:
        """Note what is on the card while nothing is outstanding: what is new after a frame is that frame's."""
        with self._desk.looking() as machine:
            outstanding = bool(machine.reports)
        if not outstanding:
            self.run(self._errands.take_stock())

    def _connect(self) -> Event:
        try:
            with self._desk.calling("connect", CONNECT_BUDGET_S):
                identity = self._camera.connect()
        except NoCard as error:
            failed = CallFailed("connect", Failure.LOST, error.code, str(error))
            return self._turn_away(error.serial) if self._is_other(error.serial) else failed
        except CameraError as error:
            if isinstance(error, (LinkLost, LinkHung)):
                self._reset_once()
            return CallFailed("connect", Failure.LOST, error.code, str(error))  # no session began: nothing is spent
        if self._is_other(identity.serial):
            return self._turn_away(identity.serial)
        self._desk.identity = identity
        self._was_reset = False
        return Connected(identity.serial)

    def _reset_once(self) -> None:
        """A body that is there and begins no session: its device is reset, once for each loss.

        Never while a frame may be open, unless no closing call has closed it.
        """
        with self._desk.looking() as machine:
            may_reset = machine.frame is None or machine.latched
        if self._reset is None or self._was_reset or not may_reset:
            return
        self._was_reset = True
        with self._desk.calling("reset", CONNECT_BUDGET_S):
            answer = self._reset()
        self._note(Box("reset", None, {"done": answer.done, "told": answer.told}))

    def _is_other(self, serial: str) -> bool:
        """Whether this is not the body that alone can tell of a frame, or give its pictures."""
        with self._desk.looking() as machine:
            awaited = machine.awaited()
        return awaited is not None and serial not in ("", awaited)

    def _turn_away(self, serial: str) -> Event:
        """Another body: its shutter is closed to be sure, and the frame goes on waiting for its own."""
        self._close()
        with self._desk.calling("disconnect", CONNECT_BUDGET_S):
            self._camera.disconnect()
        with self._desk.looking() as machine:
            awaited = machine.awaited()
            owes = "shutter may be open" if machine.frame is not None else "pictures are not fetched yet"
        back = f"put back {awaited}, whose {owes}, or say `duskhold body clear --replaced`"
        return CallFailed("connect", Failure.LOST, OTHER_BODY, f"another camera answers (serial {serial}): {back}")

    def _open(self, answered: type[OpenAnswered | DialAnswered], call: Callable[[], None], budget_s: float) -> Event:
        began_s = self._now_s()
        try:
            with self._desk.calling("open", budget_s):
                call()
        except CameraError as error:
            return _failed("open", error)
        return answered(began_s, self._now_s())

    def _hold(self, until_s: float) -> Event:
        """Wait for the end: let events in while there is time, then only sleep, to the absolute end.

        A link that hangs is asked nothing more, and the frame is held to its end: a stall of some seconds is no
        reason to ruin it. What is spent is the session, which is said at the end.
        """
        alive_s = self._now_s()
        hung: CallFailed | None = None
        longest_s = 0.0
        while (left_s := until_s - QUIET_S - longest_s - self._now_s()) > SHORTEST_WAIT_S:
            if self._desk.machine.stop_asked:
                return HoldEnded(alive_s, hung)
            began_s = self._now_s()
            slice_s = min(self._slice_s, left_s)
            failed = self._look(slice_s) if hung is None else None
            if failed is None and hung is None:
                alive_s = self._now_s()
            elif failed is not None and failed.failure is Failure.LOST:
                return HoldEnded(alive_s, failed)
            elif failed is not None and failed.failure is Failure.HUNG:
                hung = failed
            self._sleep_until(began_s + slice_s)
            # A slow link gets fewer questions: none may be on its way when the end comes.
            longest_s = max(longest_s, alive_s - began_s - slice_s)
        while not self._desk.machine.stop_asked and until_s - self._now_s() > self._slice_s:
            self._sleep_until(self._now_s() + self._slice_s)  # over a slow link this is some seconds
        if not self._desk.machine.stop_asked:
            self._sleep_until(until_s)
        return HoldEnded(alive_s, hung)  # nobody asked during the last sleep: it proves no link

    def _look(self, slice_s: float) -> CallFailed | None:
        """Let events in while the shutter is open; what went wrong, if anything."""
        try:
            for event in self._let_in(slice_s):
                self._desk.step(event)
        except CameraError as error:
            return _failed("wait", error)
        return None

    def _close(self) -> Event:
        called_s = self._now_s()
        try:
            with self._desk.calling("close", CLOSE_BUDGET_S):
                closing = self._camera.close_shutter()
        except CameraError as error:
            return _failed("close", error)
        return CloseAnswered(closing, called_s)

    def _count(self) -> Event:
        try:
            with self._desk.calling("list", CONNECT_BUDGET_S):
                return Counted(self._errands.count_new())
        except CameraError as error:
            return _failed("list", error)

    def run(self, errand: Errand) -> None:
        """Do an errand and answer it; an operating error is the answer."""
        try:
            with self._desk.calling(errand.word, errand.budget_s):
                self._desk.answer(errand.client, errand.run())
        except (OSError, ValueError) as error:
            self._desk.answer(errand.client, {"error": {"code": "failed", "message": str(error)}})
        except CameraError as error:
            self._desk.answer(errand.client, {"error": {"code": error.code, "message": str(error)}})
            if isinstance(error, (LinkLost, LinkHung)):
                self.carry_out(self._desk.step(_failed(errand.word, error)))

    def _end(self) -> None:
        with self._desk.calling("disconnect", CONNECT_BUDGET_S):
            self._camera.disconnect()
        self.ended = True


def _failed(call: str, error: CameraError) -> CallFailed:
    if isinstance(error, LinkHung):
        return CallFailed(call, Failure.HUNG, error.code, str(error))
    if isinstance(error, (LinkLost, CameraMissing, CameraClaimed, PermissionMissing, NoCard)):
        return CallFailed(call, Failure.LOST, error.code, str(error))
    return CallFailed(call, Failure.REFUSED, error.code, str(error))
