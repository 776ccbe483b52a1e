"""An evening begun, or gone on with where its program ended: outing, journal, clock, camera and loop put together."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from duskhold.app.alarms import Alarms
from duskhold.app.clock_gate import ClockWord, system_word
from duskhold.app.evening_bell import Bell
from duskhold.app.evening_camera import CameraField, Post
from duskhold.app.evening_clock import ClockWatch, EveningClock
from duskhold.app.evening_loop import Call, EveningLoop, Inbox
from duskhold.app.evening_record import END, EveningRecord, mint_evening_id
from duskhold.app.login_manager import BusLoginManager
from duskhold.app.outing_file import load_outing
from duskhold.app.sleep_watch import SleepWatch
from duskhold.app.station import Station, at_station, stamp_now
from duskhold.journal.entry import Stamp
from duskhold.journal.journal import Journal
from duskhold.plan.evening import Evening
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.evening_words import (
    Begun,
    ClockConfirmed,
    ClockStepped,
    Effect,
    Ended,
    Event,
    Fault,
    FaultSeen,
    FrameTold,
    Restarted,
    SleepAhead,
)  # fmt: skip
from duskhold.plan.outing import Outing
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.wire import Message

if TYPE_CHECKING:
    from duskhold.app.folders import Folders
    from duskhold.app.settings import Settings
    from duskhold.plan.bag import BagFilter

STEP_LEAST_S = 2.0
LOOK_S = 0.02
STALE = timedelta(hours=12)
"""An evening left for longer is not gone on with: the same outing begins a new one."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where an evening runs: on which camera, with which settings, in which folders."""

    camera: str
    settings: Settings
    folders: Folders
    bag: Sequence[BagFilter]
    zone: tzinfo | None

    def visit(self) -> AbstractContextManager[Station]:
        return at_station(self.camera, self.settings, self.folders)

    @property
    def own(self) -> Folders:
        """The folders of real or of simulated frames, as the camera is."""
        return self.folders.of(self.camera)


@dataclass(frozen=True, slots=True)
class Hooks:
    """What the surroundings take part in: bell, shutter's states, how it stands, what is asked for and said, and
    the heartbeat that came the whole way. None of them may wait for anything.
    """

    bell: Bell
    seen: Callable[[Message], None] = lambda _state: None
    follow: Callable[[View, datetime], None] = lambda _view, _now_utc: None
    told: Callable[[Effect], None] = lambda _effect: None
    alive: Callable[[], None] = lambda: None


@dataclass(frozen=True, slots=True)
class Gone:
    """How the program left the evening: ended, or left in the middle (`ended` is None) for the next start."""

    evening_id: str
    ended: Ended | None
    view: View
    worst_alarm_late_s: float


@dataclass(frozen=True, slots=True)
class Last:
    """The end of the time before: by how much the clock was set since, and whether the computer was started anew."""

    step_s: float
    other_boot: bool


@dataclass(frozen=True, slots=True)
class Taken:
    """An evening ready to run: its record, its machine, its clock, and what it must be told first.

    `told` are the frames that it has heard of already, each with its outcome's word.
    """

    record: EveningRecord
    outing: Outing
    evening: Evening
    clock: EveningClock
    opening: Opening
    since_utc: datetime
    told: Mapping[str, str] = field(default_factory=dict)


class Opening:
    """The first events. A start in the middle tells more than one at the beginning, and none of it fires anything."""

    def __init__(self, last: Last | None) -> None:
        self._last = last
        self._is_told = False

    def __call__(self, word: ClockWord, settled: bool) -> Sequence[Event]:
        """`word` is what is known of the time; `settled` whether every frame of the time before is told.

        Called again once a camera answers that did not at first.
        """
        again, self._is_told = self._is_told, True
        confirmed: list[Event] = [ClockConfirmed(word.line)] if word.confirmed else []
        if self._last is None:
            return confirmed if again else [Begun(word.confirmed), *confirmed]
        if again:
            # A frame that is still held was told as such, by its name: only that nothing is left is news.
            return [*([Restarted(True)] if settled else []), *confirmed]
        stepped: list[Event] = [ClockStepped(self._last.step_s)] if abs(self._last.step_s) >= STEP_LEAST_S else []
        doubted: list[Event] = []
        if self._last.other_boot and not word.confirmed:
            reason = f"the computer was started anew, and {word.line}: look at the clock"
            doubted = [FaultSeen(Fault.CLOCK, reason)]
        return [Restarted(settled), *stepped, *confirmed, *doubted]


def take_up(place: Place, path: Path, journal: Journal, now: Stamp) -> Taken:
    """The evening of this outing that has not come to its end, or a new one. Begins nothing yet.

    Raises `DocumentWrong`, `BadOuting`, `OSError`, `JournalError` or `EveningDamaged`.
    """
    text = path.read_text(encoding="utf-8")
    record = EveningRecord.find(journal, place.camera, text)
    if record is not None:
        found = find_in_the_middle(place, path, journal, record, now)
        if found is not None:
            return found
    clock = EveningClock(now.utc, anchor_s=now.mono_s)
    begun_utc = clock.now_utc()
    outing = load_outing(path, place.settings, place.bag, begun_utc)
    evening = Evening(outing, begun_utc)
    record = EveningRecord.begin(journal, mint_evening_id(outing, begun_utc), place.camera, text, now)
    return Taken(record, outing, evening, clock, Opening(None), now.utc)


def find_in_the_middle(place: Place, path: Path, journal: Journal, record: EveningRecord, now: Stamp) -> Taken | None:
    """That evening as it stood; None for one that is over, never began, or was left too long ago.

    Raises as `take_up` does.
    """
    if record.has_end():
        return None
    last_utc, last = record.last_utc(), journal.last_happening(record.evening_id)
    if last_utc is None or last is None or now.utc - last_utc > STALE:
        return None
    events = list(record.events())
    begun_utc = events[0][0]
    outing = load_outing(path, place.settings, place.bag, begun_utc)
    evening = record.go_over(outing)
    assert evening is not None, "there are events"
    stood_utc = _stood_utc(*events[-1])
    stood = evening.view(stood_utc)
    if stood.phase is Phase.ENDED:
        # Its program ended just before it could write this.
        journal.note(record.note_of(END, stood.stop or "", {}), now)
        return None
    now_utc, found = resume_clock(stood_utc, last, now)
    clock = EveningClock(now_utc, anchor_s=now.mono_s)
    return Taken(record, outing, evening, clock, Opening(found), begun_utc, _told_in(events))


def _told_in(events: Sequence[tuple[datetime, Event]]) -> Mapping[str, str]:
    told = [event for _, event in events if isinstance(event, FrameTold) and event.settled and event.frame_id]
    return {event.frame_id: event.outcome for event in told}


def _stood_utc(now_utc: datetime, event: Event) -> datetime:
    """The evening's time once it had that event."""
    return now_utc + timedelta(seconds=event.step_s if isinstance(event, ClockStepped) else 0.0)


def resume_clock(stood_utc: datetime, last: Stamp, now: Stamp) -> tuple[datetime, Last]:
    """The evening's time at a start, and by how much the computer's clock is off from it.

    In the same boot the evening's clock ran on; after another one the wall clock is all there is, but time never
    goes back without being told.
    """
    other_boot = last.boot_id != now.boot_id
    runs_on = stood_utc if other_boot else stood_utc + timedelta(seconds=now.mono_s - last.mono_s)
    step_s = (now.utc - runs_on).total_seconds()
    if other_boot and step_s > 0.0:
        return now.utc, Last(0.0, other_boot)
    return runs_on, Last(step_s, other_boot)


class EveningProgram:
    """One evening as it runs in this process: loop, field, alarms and watches. Words come in by `inbox`."""

    def __init__(self, place: Place, taken: Taken, journal: Journal, hooks: Hooks, person: ClockWord | None) -> None:
        self.inbox = Inbox()
        self._keeper = _JournalKeeper(taken.record, journal)
        self._alarms = Alarms(lambda miss: _ignore(self.inbox.offer(miss)))
        self._word = person
        self._is_confirmed = person is not None
        self.field = CameraField(Post(
            evening_id=taken.record.evening_id,
            outing=taken.outing,
            visit=place.visit,
            post=self.inbox.post,
            bell=hooks.bell,
            zone=place.zone,
            fitted=taken.evening.view(taken.clock.now_utc()).filters,
            since_utc=taken.since_utc,
            told_before=taken.told,
            begin=taken.opening,
            system=self._system,
            seen=hooks.seen,
            follow=hooks.follow,
            told=hooks.told,
        ))  # fmt: skip
        self.loop = EveningLoop(
            taken.evening, taken.clock, self._keeper, self.field, self._alarms, self.inbox, hooks.alive
        )
        self._clocks = ClockWatch(self.inbox.post, self._look_at_time)
        self._sleep = SleepWatch(BusLoginManager.connect, self._sleep_ahead, self._trouble)
        self._evening_id = taken.record.evening_id
        self.was_interrupted = False

    def run(self) -> Gone:
        """Until the evening ends or the program is told to leave. Raises `JournalError`; the shutter is closed then."""
        self._alarms.start()
        self._clocks.start()
        self._sleep.start()
        self.field.start()
        try:
            view = self.loop.run()
        finally:
            self.inbox.close()
            self._sleep.stop()
            self._clocks.stop()
            self._alarms.stop()
            self.field.stop()
        return Gone(self._evening_id, self.loop.ended, view, self.loop.worst_late_s)

    def leave(self, why: str) -> None:
        """The program is told to end: close and keep, and leave the evening and its pictures to the next start."""
        self.field.leave_to_next_start()
        self.loop.leave(why)

    def _system(self) -> ClockWord:
        word = self._word if self._word is not None else system_word()
        self._is_confirmed = word.confirmed
        return word

    def _look_at_time(self) -> None:
        """Every second until somebody says that the time is right."""
        if self._is_confirmed:
            return
        word = system_word()
        if word.confirmed:
            self._is_confirmed = True
            self.inbox.post(ClockConfirmed(word.line))

    def _sleep_ahead(self, within_s: float) -> None:
        self.inbox.post(SleepAhead())
        give_up_s = mono_now_s() + within_s
        # The loop has to come to it first.
        while not self.inbox.is_empty and mono_now_s() < give_up_s:
            time.sleep(LOOK_S)
        self.field.wait_closed(give_up_s - mono_now_s())

    def _trouble(self, line: str) -> None:
        self.inbox.offer(Call(trouble=line))


class _JournalKeeper:
    """The loop's pen: events into the evening's record, everything else as notes of it."""

    def __init__(self, record: EveningRecord, journal: Journal) -> None:
        self._record, self._journal = record, journal

    def keep(self, event: Event, now_utc: datetime) -> None:
        self._record.keep(event, now_utc, stamp_now())

    def note(self, word: str, line: str, detail: dict[str, object]) -> None:
        self._journal.note(self._record.note_of(word, line, detail), stamp_now())


def frames_of(record: EveningRecord) -> list[str]:
    """The names of the evening's frames, in order."""
    told = [event.frame_id for _, event in record.events() if isinstance(event, FrameTold) and event.frame_id]
    return list(dict.fromkeys(told))


def _ignore(_said: bool) -> None:
    """A full queue means that the loop is busy: it looks by itself."""
