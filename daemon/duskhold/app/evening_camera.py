"""The field on a real station: what an evening asks for, done by one thread that alone speaks with the shutter process.

1. Every request has its answer, whatever happens: a frame its `FrameTold`, a check its `Checked`, a question of means
   its `MeansTold`. What went wrong is told as a fault besides.
2. While nothing is asked the link is looked at every second; what an earlier run or a lost link left is told as soon as
   it is known. A camera that did not answer at the start is tried again until it does: the evening waits for its word.
3. Closing waits for nobody: it is a flag that the thread holding the frame looks at ten times a second.
"""

from __future__ import annotations

import math
import queue
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, tzinfo

from duskhold.app.bodies import ProfileDamaged
from duskhold.app.clock_gate import ClockWord, camera_word
from duskhold.app.evening_bell import Bell
from duskhold.app.evening_means import check_for, means_of
from duskhold.app.evening_measuring import Measuring
from duskhold.app.evening_taking import still_open, take_frame, told_of
from duskhold.app.exposing import Watch
from duskhold.app.folders import FolderUnsafe
from duskhold.app.picture_choice import picture_among
from duskhold.app.settling import recorded_of, settle_the_past
from duskhold.app.simulated_hand import SimulatedHand
from duskhold.app.station import Station
from duskhold.journal.database import JournalError
from duskhold.journal.entry import Outcome
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.evening_words import (
    Checked,
    CloseNow,
    Effect,
    Ended,
    Event,
    Fault,
    FaultGone,
    FaultSeen,
    FrameTold,
    MeansTold,
    Quiet,
    ReadMeans,
    Ring,
    RunCheck,
    Take,
    Tell,
)  # fmt: skip
from duskhold.plan.outing import Outing
from duskhold.plan.role import Role
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder_link import HolderRefused, HolderSilent
from duskhold.shutter.launch import NotStarted
from duskhold.shutter.wire import Message

LOOK_EVERY_S = 1.0
AWAKE_EVERY_S = 20.0  # an idle camera is let go after a minute
ASLEEP_BEFORE = timedelta(minutes=5)  # the camera is taken up again so long before the evening needs it
JOBS_MAX = 32
UP_WITHIN_S = 30.0
STOP_WITHIN_S = 20.0  # a shutter process that died is followed within seconds
SETTLE_EVERY_S = 5.0
LEFT_AGAIN_S = 15.0  # whoever asks for something has it tried at once
SETTLE_WITHIN_S = 2.0  # whoever asks for something, or leaves, waits behind such a try
_NO_CAMERA = (NotStarted, FolderUnsafe, HolderSilent, HolderRefused, ProfileDamaged, OSError)


@dataclass(frozen=True, slots=True)
class Post:
    """Where the field stands.

    `visit` opens the station in the field's own thread; `post` takes an event; `begin` makes the first events from
    what is known of the time and whether the past is settled. `fitted` is on the lens as far as the evening knows;
    frames written since `since_utc` are its own, and `told_before` those it has heard of, each with its outcome's word.
    """

    evening_id: str
    outing: Outing
    visit: Callable[[], AbstractContextManager[Station]]
    post: Callable[[Event], None]
    bell: Bell
    zone: tzinfo | None
    fitted: tuple[str, ...]
    since_utc: datetime
    begin: Callable[[ClockWord, bool], Sequence[Event]]
    system: Callable[[], ClockWord]
    told_before: Mapping[str, str] = field(default_factory=dict)
    seen: Callable[[Message], None] = lambda _state: None
    follow: Callable[[View, datetime], None] = lambda _view, _now_utc: None
    told: Callable[[Effect], None] = lambda _effect: None


@dataclass(slots=True)
class _Job:
    """An effect for the thread, or the beginning; `stop` closes the frame that it takes, which is waited for until
    `give_up_s` of CLOCK_BOOTTIME."""

    effect: Effect | None
    stop: threading.Event = field(default_factory=threading.Event)
    asked_s: float = field(default_factory=mono_now_s)
    give_up_s: float = math.inf


class CameraField:
    """Carries out effects; `start` it once, `stop` it in the end. What begins with `_at_camera` is its own thread's."""

    def __init__(self, post: Post) -> None:
        self._at = post
        self._jobs: queue.Queue[_Job] = queue.Queue(JOBS_MAX)
        self._lock = threading.Lock()
        self._waiting = 0
        self._taking: _Job | None = None
        self._view: tuple[View, datetime, float] | None = None
        self._leaving, self._over, self._is_left = threading.Event(), threading.Event(), threading.Event()
        self._is_ended = threading.Event()
        self._told = dict(post.told_before)
        self._faults: set[Fault] = set()
        self._is_settled = False
        self._unsettled: set[str] = set()
        self._left: object = None
        self._asked_s = self._tried_s = self._left_s = 0.0
        self._hand: SimulatedHand | None = None
        self._thread = threading.Thread(target=self._at_camera, name="camera field", daemon=True)

    def start(self) -> None:
        """Settle the past, then begin."""
        self._put(_Job(None))
        self._thread.start()

    def stop(self) -> None:
        """Close what is open, keep it, and end; pictures still on the card are fetched at the next start."""
        self.close_now(STOP_WITHIN_S)
        self._leaving.set()
        self._over.set()
        if self._thread.is_alive():
            self._thread.join()
        self._at.bell.close()

    def leave_pictures(self) -> None:
        """Do not wait for pictures: the next start fetches them."""
        self._leaving.set()

    def leave_to_next_start(self) -> None:
        """The program ends: without pictures, and without a word on what they would have told."""
        self._is_left.set()
        self._leaving.set()

    def close_now(self, within_s: float | None = None) -> None:
        """Close the frame that is being taken, or about to be; wait so long for what became of it."""
        with self._lock:
            taking = self._taking
        if taking is None:
            return
        if within_s is not None:
            taking.give_up_s = min(taking.give_up_s, mono_now_s() + within_s)
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

    def follow(self, view: View, now_utc: datetime) -> None:
        self._view = (view, now_utc, mono_now_s())
        self._at.follow(view, now_utc)

    def carry_out(self, effect: Effect) -> None:
        self._at.told(effect)
        match effect:
            case CloseNow(within_s):
                self.close_now(within_s)
            case Ended():
                self._is_ended.set()
            case Ring(urgency, line):
                self._at.bell.ring(urgency, line)
            case Quiet():
                self._at.bell.quiet()
            case Take():
                job = _Job(effect)
                with self._lock:
                    self._taking = job
                self._put(job)
            case RunCheck() | ReadMeans():
                self._put(_Job(effect))
            case Tell() if self._hand is not None:
                self._hand.hear(effect)  # before the frame that may follow from it

    def _put(self, job: _Job) -> None:
        with self._lock:
            self._waiting += 1
        self._jobs.put(job)

    def _at_camera(self) -> None:
        with ExitStack() as stay, Measuring(self._at.outing, self._at.evening_id) as measuring:
            bench = _Bench(stay, measuring)
            while not self._over.is_set():
                try:
                    job = self._jobs.get(timeout=LOOK_EVERY_S)
                except queue.Empty:
                    self._look(bench)
                    continue
                try:
                    self._do(job, bench)
                finally:
                    with self._lock:
                        self._waiting -= 1
                        self._taking = None if self._taking is job else self._taking

    def _do(self, job: _Job, bench: _Bench) -> None:
        try:
            station = self._ready(bench)
            self._settle(station)
            match job.effect:
                case Take() as take:
                    self._take(station, bench.measuring, take, job)
                case RunCheck():
                    self._at.post(check_for(station, self._at.outing, self._at.zone))
                case ReadMeans():
                    self._at.post(means_of(station))
        except JournalError as error:
            self._fail(job, Fault.STORAGE, str(error))
        except _NO_CAMERA as error:
            self._fail(job, Fault.CAMERA, str(error))

    def _ready(self, bench: _Bench, within_s: float = UP_WITHIN_S) -> Station:
        """The station, with a shutter process that answers. Raises what it says at the top."""
        if bench.station is None:
            bench.station = bench.stay.enter_context(self._at.visit())
            self._hand = SimulatedHand.at(bench.station, self._at.outing, self._at.fitted)
            if self._hand is not None:
                bench.stay.callback(self._hand.leave)
        ensure_awake(bench.station, within_s, lambda: self._leaving.is_set() or self._is_ended.is_set())
        self._asked_s = mono_now_s()
        return bench.station

    def _settle(self, station: Station) -> None:
        """Before anything else: what the time before left. A frame still held is followed to its own end."""
        if not self._is_settled or station.link.state()["reports"]:
            self._tell_settled(station)
        if self._is_settled:
            return
        # Another program may have recorded one, and this one may have died between the record and the evening.
        for frame in recorded_of(station.journal, self._at.evening_id):
            assert frame.outcome is not None, "settled ones were asked for"
            self._tell(frame.outcome, Role(frame.asked.role))
        in_hand = station.link.state()["frame_id"]
        word = self._at.system()
        if not word.confirmed:
            word = camera_word(station, self._at.zone, word)
        self._is_settled = True
        if isinstance(in_hand, str):
            self._post_frame(still_open(in_hand))
        for event in self._at.begin(word, in_hand is None):
            self._at.post(event)

    def _try_to_settle(self, bench: _Bench) -> None:
        """The camera did not answer at the start, and nobody asks for anything while that is so: try again."""
        if mono_now_s() - self._tried_s < SETTLE_EVERY_S:
            return
        try:
            self._settle(self._ready(bench, SETTLE_WITHIN_S))
        except JournalError as error:
            self._ill(Fault.STORAGE, str(error))
        except _NO_CAMERA as error:
            self._ill(Fault.CAMERA, str(error))
        else:
            self._well(Fault.STORAGE)
            self._well(Fault.CAMERA)
        self._tried_s = mono_now_s()

    def _take(self, station: Station, measuring: Measuring, take: Take, job: _Job) -> None:
        watch = Watch(self._see, job.stop.is_set, self._leaving.is_set, lambda: mono_now_s() > job.give_up_s)
        named = replace(take, reasoning={**take.reasoning, "evening_id": self._at.evening_id})
        taken = take_frame(station, named, watch, job.asked_s)
        outcome = taken.outcome
        self._tell(outcome, take.role)
        with self._lock:
            self._taking = None
        if taken.fault is not None:
            self._at.post(FaultSeen(taken.fault, outcome.reason))
        elif self._is_left.is_set() and picture_among(outcome.files) is None:
            return  # no picture fault: it is on the card, and the evening that goes on counts the frame
        elif outcome.outcome in ("complete", "cut_short") and outcome.open_s:
            self._at.post(measuring.measure(station, take, outcome))

    def _tell_settled(self, station: Station) -> None:
        watch = Watch(self._see, lambda: False, self._leaving.is_set)
        # Only this thread gives the evening's orders: what else has no outcome was given by a program that died.
        for frame in settle_the_past(station, watch, lambda one: one.decision.get("evening_id") == self._at.evening_id):
            if frame.outcome is not None and frame.written.utc >= self._at.since_utc:
                self._tell(frame.outcome, Role(frame.asked.role))

    def _tell(self, outcome: Outcome, role: Role) -> None:
        """Once: a frame whose pictures came later is no second frame, nor one that stays open for hours."""
        said = outcome.outcome if outcome.settled else f"{outcome.outcome}, and perhaps open"
        if self._told.get(outcome.frame_id) == said:
            return
        self._told[outcome.frame_id] = said
        self._post_frame(told_of(outcome, role))

    def _post_frame(self, told: FrameTold) -> None:
        """The camera stays awake until every frame that may still be open is told."""
        if told.settled:
            self._unsettled.discard(told.frame_id)
        else:
            self._unsettled.add(told.frame_id)
        self._at.post(told)

    def _look(self, bench: _Bench) -> None:
        """Between frames: is the link there, is something left to tell, does the camera stay awake?"""
        if not self._is_settled:
            self._try_to_settle(bench)
            return
        if bench.station is None or not self._needs_camera():
            return
        station = bench.station
        try:
            self._look_at(station)
        except HolderRefused:
            return  # busy: it is awake
        except HolderSilent:
            self._keep(station)
        except JournalError as error:
            self._ill(Fault.STORAGE, str(error))
        except _NO_CAMERA as error:
            self._ill(Fault.CAMERA, str(error))

    def _keep(self, station: Station) -> None:
        """A shutter process that died is followed by another; one that is silent for long is told."""
        try:
            station.ensure_kept()
        except (NotStarted, OSError) as error:
            self._ill(Fault.CAMERA, str(error))
        if mono_now_s() - self._asked_s > UP_WITHIN_S + AWAKE_EVERY_S:
            self._ill(Fault.CAMERA, "the shutter process does not answer; look at the camera")

    def _look_at(self, station: Station) -> None:
        state = station.link.state()
        self._see(state)
        if state["reports"] and self._is_due(state["reports"]):
            self._tell_settled(station)
        if state["phase"] == "released":
            ensure_awake(station)
        if state["phase"] != "ready":
            return
        self._well(Fault.LINK)
        self._well(Fault.CAMERA)
        if mono_now_s() - self._asked_s > AWAKE_EVERY_S:
            self._asked_s = mono_now_s()
            station.link.settings()

    def _is_due(self, reports: object) -> bool:
        """Whether what is left over changed, or was tried long ago: each try begins a session with the camera."""
        if reports == self._left and mono_now_s() - self._left_s < LEFT_AGAIN_S:
            return False
        self._left, self._left_s = reports, mono_now_s()
        return True

    def _see(self, state: Message) -> None:
        self._at.seen(state)
        if state.get("phase") == "lost":
            self._ill(Fault.LINK, str(state.get("trouble") or "the camera does not answer; look at the lead"))
        elif state.get("latched") is True:
            self._ill(Fault.SHUTTER, "it would not close: look at the camera, then `duskhold body clear`")
        elif state.get("latched") is False:
            self._faults.discard(Fault.SHUTTER)

    def _needs_camera(self) -> bool:
        """While it only waits for a start that is some time away, or for a person to go home, the camera may sleep."""
        if self._view is None or not self._is_settled or self._unsettled:
            return True
        view, then_utc, then_s = self._view
        if view.phase is Phase.RESTING:
            return False
        if view.phase is not Phase.WAITING or view.until_utc is None:
            return True
        # Nothing happens while it waits: the last event may be hours old.
        now_utc = then_utc + timedelta(seconds=mono_now_s() - then_s)
        return view.until_utc - now_utc < ASLEEP_BEFORE

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
        if not self._is_settled:
            self._faults.add(fault)  # not told again by every try that follows
            self._tried_s = mono_now_s()
        if not self._is_settled and job.effect is None:
            for event in self._at.begin(self._at.system(), False):
                self._at.post(event)
        match job.effect:
            case Take() as take:
                self._at.post(FrameTold("", take.role, "failed", None, None, None, True, reason))
            case RunCheck():
                self._at.post(Checked((f"camera ({reason})",)))
            case ReadMeans():
                self._at.post(MeansTold(None, None))
        self._at.post(FaultSeen(fault, reason))


@dataclass(slots=True)
class _Bench:
    """What the field's thread works with; `station` once it could be opened."""

    stay: ExitStack
    measuring: Measuring
    station: Station | None = None


def ensure_awake(station: Station, within_s: float = UP_WITHIN_S, is_over: Callable[[], bool] = lambda: False) -> None:
    """A shutter process that answers; one that let go of the camera is followed by another.

    Raises `HolderSilent`, and at once when nobody waits for it any more.
    """
    give_up_s = mono_now_s() + within_s
    while True:
        try:
            if station.link.state()["phase"] != "released":
                return
        except HolderSilent:
            if mono_now_s() > give_up_s or is_over():
                raise
        station.link.close()
        station.ensure_kept()
        time.sleep(0.2)
