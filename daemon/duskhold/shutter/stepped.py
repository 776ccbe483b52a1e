"""The shutter in one thread and simulated time: the same machine and the same hands, for rehearsals and tests.

What a dying process and its successor do is here one loop: the black box is a list, and the next life begins with it.
"""

from __future__ import annotations

from collections.abc import Sequence

from duskhold.camera.port import Camera
from duskhold.shutter.blackbox import BoxLine
from duskhold.shutter.clock import Clock
from duskhold.shutter.desk import Desk, Errand
from duskhold.shutter.errands import Errands
from duskhold.shutter.events import (
    BodyReplaced,
    Box,
    CloseAsked,
    Collected,
    Connect,
    Effect,
    ExposeAsked,
    LatchCleared,
    RecycleAsked,
    Refused,
    Tick,
)
from duskhold.shutter.hands import Hands
from duskhold.shutter.holder_link import HolderRefused
from duskhold.shutter.leftover import left_over
from duskhold.shutter.machine import Machine
from duskhold.shutter.phase import Phase
from duskhold.shutter.recycling import USUAL_WEAR, Wear
from duskhold.shutter.report import Exposure, ShutterReport
from duskhold.shutter.stock import Stock

_BOOT = "simulated"
IDLE_S = 0.5
SLICE_S = 10.0  # a simulated wait ends at the instant of a fault, however long it was asked to be


class _Died(Exception):
    """The process ended itself."""


class _Told(Exception):
    """The frame was told as unknown; the search for a close goes on in a later call."""


class SteppedShutter:
    """The shutter of one camera, stepped by its caller. `lines` is the black box."""

    def __init__(
        self, camera: Camera, clock: Clock, utc_offset_s: float, slice_s: float = SLICE_S, wear: Wear = USUAL_WEAR
    ) -> None:
        self._camera = camera
        self._slice_s = slice_s
        self._wear = wear
        self._clock = clock
        self._utc_offset_s = utc_offset_s
        self._stock = Stock(None)
        self.lines: list[BoxLine] = []
        self._desk = Desk(Machine(), clock)
        self.live_again()

    def expose(self, exposure: Exposure) -> ShutterReport:
        """Hold one exposure and return its report, settled or not. Raises `HolderRefused`."""
        if self._hands.ended:
            self.live_again()  # released while idle: whoever asks next starts a new process
        effects = self._desk.step(ExposeAsked(exposure, self._utc_offset_s))
        if isinstance(effects[0], Refused):
            raise HolderRefused(effects[0].code, effects[0].reason)
        self._go_on(effects)
        while (report := self._desk.machine.reports.get(exposure.frame_id)) is None:
            self.idle(IDLE_S)
        return report

    @property
    def machine(self) -> Machine:
        """The machine of the life that runs now."""
        return self._desk.machine

    def collect(self, frame_id: str) -> None:
        """Its report is kept elsewhere now, and its pictures are home: what is on the card is old from now on."""
        if self._hands.ended:
            self._note(Box("collected", frame_id))  # released while idle: the next life reads it here
            return
        effects = self._desk.step(Collected(frame_id))
        self._note_all(effects)
        if effects:
            self._run(self._errands.take_stock())
            self._recycle_if_worn()

    def close(self) -> None:
        """Over: let go of what the operating system lent."""
        self._desk.close()

    def ask_to_close(self) -> None:
        """Close now and keep, as a person would ask while the shutter is open."""
        self._desk.step(CloseAsked())

    def clear_latch(self) -> None:
        """A person has looked. Raises `HolderRefused` while the shutter is not proven closed."""
        effects = self._desk.step(LatchCleared())
        if isinstance(effects[0], Refused):
            raise HolderRefused(effects[0].code, effects[0].reason)
        self._note_all(effects)

    def give_up_body(self) -> None:
        """A person says that another camera took its place. Raises `HolderRefused` where none answers."""
        effects = self._desk.step(BodyReplaced())
        if isinstance(effects[0], Refused):
            raise HolderRefused(effects[0].code, effects[0].reason)
        self._note_all(effects)

    def ready(self) -> bool:
        """Whether an exposure would be taken on now."""
        return self._desk.machine.refusal() is None

    def idle(self, seconds: float) -> None:
        """Let time pass: events, deadlines, and the search for a lost camera."""
        until_s = self._clock.now_s() + seconds
        while self._clock.now_s() < until_s:
            if self._hands.ended:
                self._clock.sleep_until(until_s)
                return
            phase = self._desk.machine.phase
            if phase in (Phase.LOST, Phase.STARTING, Phase.CLOSING):
                self._go_on([Connect()])
            else:
                self._go_on(self._hands.listen(phase))
            self._clock.sleep_until(min(until_s, self._clock.now_s() + IDLE_S))

    def _recycle_if_worn(self) -> None:
        reason = self._wear.reason(self._desk.machine.frames, 0)
        if reason is not None:
            self._go_on(self._desk.step(RecycleAsked(reason)))

    def live_again(self) -> None:
        """A process begins, with the black box that the last one left."""
        self._desk.close()
        self._desk = Desk(Machine(), self._clock)
        self._errands = Errands(self._camera, self._stock, self._desk.seen)
        self._hands = Hands(self._camera, self._desk, self._errands, self._note, self._die, self._slice_s, self._due)
        self._go_on(self._desk.step(left_over(self.lines, _BOOT)))

    def _go_on(self, effects: Sequence[Effect]) -> None:
        try:
            self._hands.carry_out([*self._due(), *effects])
        except _Told:
            return
        except _Died:
            self.live_again()

    def _run(self, errand: Errand) -> None:
        try:
            self._hands.run(errand)
        except _Told:
            return
        except _Died:
            self.live_again()

    def _due(self) -> Sequence[Effect]:
        while not self._desk.boxes.empty():
            self._note(self._desk.boxes.get())
        deadline_s = self._desk.machine.deadline_s()
        if deadline_s is None or self._clock.now_s() < deadline_s:
            return ()
        effects = self._desk.step(Tick())
        if any(isinstance(effect, Box) and effect.word == "unknown" for effect in effects):
            self._note_all(effects)
            raise _Told
        return effects

    def _note_all(self, effects: Sequence[Effect]) -> None:
        for effect in effects:
            assert isinstance(effect, Box), effect
            self._note(effect)

    def _note(self, box: Box) -> None:
        self.lines.append(BoxLine(box.word, self._clock.now_s(), _BOOT, box.frame_id, box.detail))

    def _die(self, reason: str) -> None:
        self._note(Box("died", None, {"reason": reason}))
        raise _Died(reason)
