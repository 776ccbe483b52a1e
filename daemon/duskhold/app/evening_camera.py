"""The field on a real station: what an evening asks for, done by one thread that alone speaks with the shutter process.

1. Every request has its answer, whatever happens: a frame its `FrameTold`, a check its `Checked`, a question of means
   its `MeansTold`. What went wrong is told as a fault besides.
2. While nothing is asked the link is looked at every second; what an earlier run or a lost link left is told as soon as
   it is known.
3. Closing waits for nobody: it is a flag that the thread holding the frame looks at ten times a second.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, field
from datetime import timedelta, tzinfo

from duskhold.app.bodies import ProfileDamaged
from duskhold.app.evening_bell import Bell
from duskhold.app.evening_means import checked, means_told
from duskhold.app.evening_measuring import Measuring
from duskhold.app.evening_taking import Refused, told_of, took, unasked
from duskhold.app.exposing import Watch
from duskhold.app.folders import FolderUnsafe
from duskhold.app.settling import settle_the_past
from duskhold.app.simulated_hand import SimulatedHand
from duskhold.app.station import Station
from duskhold.journal.database import JournalError
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.evening_words import (
    Checked, CloseNow, Effect, Event, Fault, FaultGone, FaultSeen, FrameTold, MeansTold, Quiet, ReadMeans, Restarted,
    Ring, RunCheck, Take, Tell,
)  # fmt: skip
from duskhold.plan.outing import Outing
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder_link import HolderRefused, HolderSilent
from duskhold.shutter.launch import NotStarted
from duskhold.shutter.wire import Message

LOOK_EVERY_S = 1.0
AWAKE_EVERY_S = 20.0  # an idle camera is let go after a minute
ASLEEP_BEFORE_S = 300.0  # the camera is taken up again so long before the evening needs it
JOBS_MAX = 32
UP_WITHIN_S = 30.0
_NOT_STARTED = (NotStarted, FolderUnsafe, HolderSilent, HolderRefused, ProfileDamaged, OSError)


@dataclass(slots=True)
class _Job:
    """Something for the thread: an effect, or the settling of the past; `stop` closes the frame that it takes."""

    effect: Effect | None
    stop: threading.Event = field(default_factory=threading.Event)


@dataclass(frozen=True, slots=True)
class Post:
    """Where the field stands: its outing, a way to open the station in its own thread, and whom it tells.

    `begins_anew` is False for an evening that goes on after a restart.
    """

    outing: Outing
    visit: Callable[[], AbstractContextManager[Station]]
    post: Callable[[Event], None]
    bell: Bell
    zone: tzinfo | None
    begins_anew: bool
    seen: Callable[[Message], None] = lambda _state: None


class CameraField:
    """Carries out effects; `start` it once, `stop` it in the end."""

    def __init__(self, post: Post) -> None:
        self._at = post
        self._jobs: queue.Queue[_Job] = queue.Queue(JOBS_MAX)
        self._waiting = 0
        self._lock = threading.Lock()
        self._taking: _Job | None = None
        self._leaving = threading.Event()
        self._over = threading.Event()
        self._view: View | None = None
        self._faults: set[Fault] = set()
        self._thread = threading.Thread(target=self._work, name="camera field", daemon=True)

    def start(self) -> None:
        """Settle the past first; after a restart the evening is told of it."""
        self._put(_Job(None))
        self._thread.start()

    def stop(self) -> None:
        """Close what is open, keep it, and end; pictures still on the card are fetched at the next start."""
        self.close_now()
        self._leaving.set()
        self._over.set()
        if self._thread.is_alive():
            self._thread.join()
        self._at.bell.close()

    def leave_pictures(self) -> None:
        """Do not wait for pictures: the next start fetches them."""
        self._leaving.set()

    def close_now(self) -> None:
        """Close the frame that is being taken, or about to be."""
        with self._lock:
            taking = self._taking
        if taking is not None:
            taking.stop.set()

    def wait_closed(self, within_s: float) -> None:
        """Until no frame is being taken, or so long."""
        give_up_s = mono_now_s() + within_s
        while self._taking is not None and mono_now_s() < give_up_s:
            time.sleep(0.05)

    @property
    def is_idle(self) -> bool:
        with self._lock:
            return self._waiting == 0

    @property
    def is_alive(self) -> bool:
        return self._thread.is_alive()

    def follow(self, view: View) -> None:
        self._view = view

    def carry_out(self, effect: Effect) -> None:
        match effect:
            case CloseNow():
                self.close_now()
            case Ring(urgency, line):
                self._at.bell.ring(urgency, line)
            case Quiet():
                self._at.bell.quiet()
            case Take():
                job = _Job(effect)
                with self._lock:
                    self._taking = job
                self._put(job)
            case RunCheck() | ReadMeans() | Tell():
                self._put(_Job(effect))

    def _put(self, job: _Job) -> None:
        with self._lock:
            self._waiting += 1
        self._jobs.put(job)

    # From here on: the field's own thread

    def _work(self) -> None:
        with ExitStack() as stay, Measuring(self._at.outing) as measuring:
            station: Station | None = None
            looked = Looked()
            while not self._over.is_set():
                try:
                    job = self._jobs.get(timeout=LOOK_EVERY_S)
                except queue.Empty:
                    if station is not None:
                        self._look(station, looked)
                    continue
                try:
                    if station is None and not isinstance(job.effect, Tell):
                        station = stay.enter_context(self._at.visit())
                    self._do(job, station, measuring, looked)
                except JournalError as error:
                    self._fail(job, Fault.STORAGE, str(error))
                except _NOT_STARTED as error:
                    self._fail(job, Fault.CAMERA, str(error))
                finally:
                    with self._lock:
                        self._waiting -= 1
                        self._taking = None if self._taking is job else self._taking
            if station is not None and self._hand is not None:
                self._hand.leave()

    _hand: SimulatedHand | None = None

    def _do(self, job: _Job, station: Station | None, measuring: Measuring, looked: Looked) -> None:
        if isinstance(job.effect, Tell):
            if self._hand is not None:
                self._hand.hear(job.effect)
            return
        assert station is not None, "everything else is done at a camera"
        watch = Watch(self._see, job.stop.is_set, self._leaving.is_set)
        ensure_awake(station)
        looked.asked_s = mono_now_s()
        match job.effect:
            case None:
                self._hand = SimulatedHand.at(station, self._at.outing, self._at.begins_anew)
                self._settle_first(station, watch)
            case Take() as take:
                self._take(station, measuring, take, watch)
            case RunCheck():
                self._at.post(checked(station, self._at.outing, self._at.zone))
            case ReadMeans():
                self._at.post(means_told(station))

    def _take(self, station: Station, measuring: Measuring, take: Take, watch: Watch) -> None:
        taken = took(station, take, watch)
        outcome = taken.outcome
        self._at.post(told_of(outcome, take.role))
        with self._lock:
            self._taking = None
        if isinstance(taken, Refused) and taken.fault is not None:
            self._at.post(FaultSeen(taken.fault, outcome.reason))
        elif outcome.outcome in ("complete", "cut_short") and outcome.open_s:
            self._at.post(measuring.measure(station, take, outcome))

    def _settle_first(self, station: Station, watch: Watch) -> None:
        """What the time before left; a frame that is still held is followed to its own end."""
        self._tell_settled(station, watch)
        state = station.link.state()
        in_hand = state["frame_id"]
        if isinstance(in_hand, str):
            self._at.post(unasked(in_hand, "it was left open by the time before, and closes at its own time"))
        if not self._at.begins_anew:
            self._at.post(Restarted(settled=in_hand is None))

    def _tell_settled(self, station: Station, watch: Watch) -> None:
        for frame in settle_the_past(station, watch):
            if frame.outcome is not None:
                self._at.post(told_of(frame.outcome, role_of(frame.asked.role)))

    def _look(self, station: Station, looked: Looked) -> None:
        """Between frames: is the link there, is something left to tell, does the camera stay awake?"""
        if not self._needs_camera():
            return
        try:
            state = station.link.state()
            self._see(state)
            if state["phase"] == "released":
                ensure_awake(station)
                return
            if state["reports"]:
                self._tell_settled(station, Watch(self._see, lambda: False, self._leaving.is_set))
            if state["phase"] == "ready":
                self._well(Fault.LINK)
                self._well(Fault.CAMERA)
                if mono_now_s() - looked.asked_s > AWAKE_EVERY_S:
                    looked.asked_s = mono_now_s()
                    station.link.settings()
        except HolderRefused:
            return  # busy: it is awake
        except HolderSilent:
            station.ensure_kept()
            if mono_now_s() - looked.asked_s > UP_WITHIN_S + AWAKE_EVERY_S:
                self._ill(Fault.CAMERA, "the shutter process does not answer; look at the camera")
        except JournalError as error:
            self._ill(Fault.STORAGE, str(error))

    def _see(self, state: Message) -> None:
        self._at.seen(state)
        if state["phase"] == "lost":
            self._ill(Fault.LINK, str(state.get("trouble") or "the camera does not answer; look at the lead"))
        elif state.get("latched") is True:
            self._ill(Fault.SHUTTER, "it would not close: look at the camera, then `duskhold body clear`")

    def _needs_camera(self) -> bool:
        """While it only waits for a start that is some time away, the camera may sleep."""
        view = self._view
        if view is None or view.phase is not Phase.WAITING or view.until_utc is None:
            return True
        return view.until_utc - view.now_utc < timedelta(seconds=ASLEEP_BEFORE_S)

    def _ill(self, fault: Fault, reason: str) -> None:
        if fault not in self._faults:
            self._faults.add(fault)
            self._at.post(FaultSeen(fault, reason))

    def _well(self, fault: Fault) -> None:
        if fault in self._faults:
            self._faults.discard(fault)
            self._at.post(FaultGone(fault))

    def _fail(self, job: _Job, fault: Fault, reason: str) -> None:
        """Nothing came of it: it is answered all the same, and the fault is told."""
        match job.effect:
            case Take() as take:
                self._at.post(FrameTold("", take.role, "failed", None, None, None, True, reason))
            case RunCheck():
                self._at.post(Checked((f"camera ({reason})",)))
            case ReadMeans():
                self._at.post(MeansTold(None, None))
            case None if not self._at.begins_anew:
                self._at.post(Restarted(settled=False))
        self._at.post(FaultSeen(fault, reason))
