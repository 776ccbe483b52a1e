"""A whole evening on the simulated camera in simulated time: the same machine, journal, shutter and folders.

What the daemon does with a worker, alarms and a socket is here one loop that jumps to whatever comes next: a deadline
of the machine, a person's hand, a change at the camera. While a frame is open, the clock itself calls the loop.
"""

from __future__ import annotations

import heapq
import os
import random
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

from duskhold.app.concluding import outcome_of
from duskhold.app.evening_looking import Judging, Log, look_at, unjudged
from duskhold.app.evening_record import END, EveningRecord
from duskhold.app.evening_world import CAP, World, build_body, true_channels
from duskhold.app.folders import SIMULATED, Folders
from duskhold.camera.port import CameraError, Picture, Setting
from duskhold.camera.simulated import SimulatedCamera
from duskhold.frames.store import Arrival, StoredFile, file_name
from duskhold.journal.entry import Intent, Outcome, Stamp
from duskhold.journal.journal import Journal
from duskhold.plan import evening_words as words
from duskhold.plan.evening import Evening
from duskhold.plan.evening_words import Effect, Event, Fault, Take, Urgency, Word
from duskhold.plan.outing import Outing
from duskhold.plan.role import Role
from duskhold.plan.stamp import mint_frame_id, utc_from
from duskhold.shutter.clock import PacedClock
from duskhold.shutter.holder_link import HolderRefused
from duskhold.shutter.phase import Phase
from duskhold.shutter.report import Exposure, Kind, ShutterReport
from duskhold.shutter.stepped import SteppedShutter

LATENCY_SIGMA_S = 0.1
_LOOK_S = 1.0
_SLICE_S = 1.0
_LINK_LOOK_S = 5.0
_HANDS_OFF_S = 5.0
_HOME_LOOK_S = 5.0
_HOME_LOOKS = 120
_LONGEST_S = 20 * 3600.0
_BOOT = "simulated"

Say = Callable[[datetime, str, str], None]


class SimulatedEvening:
    """One evening; `run` it once, then read `log`, the journal and the body's own log. `close` it when done.

    `pace` is called with every stretch of simulated time that goes by, so that somebody can look on. `crash_at_s`
    ends the program there (its shutter process lives on), and it is started again a little later.
    """

    def __init__(
        self, outing: Outing, world: World, folders: Folders, journal: Journal, evening_id: str, outing_text: str,
        say: Say, pace: Callable[[float], None] = lambda seconds: None, crash_at_s: float | None = None,
        judging: Judging = unjudged,
    ) -> None:  # fmt: skip
        self.outing, self.world = outing, world
        self.log = Log()
        self._folders, self._journal, self._say, self._judging = folders, journal, say, judging
        self._chance = random.Random(f"evening:{world.seed}")
        self._clock = PacedClock(pace)
        self.body = build_body(outing, world)
        self.camera = SimulatedCamera(self.body, self._clock.now_s, self._sleep)
        self.shutter = SteppedShutter(self.camera, self._clock.as_clock(), world.begins_utc.timestamp(), _SLICE_S)
        self._record = EveningRecord.begin(journal, evening_id, SIMULATED, outing_text, self._stamp())
        self.evening = Evening(outing, self.now_utc)
        self._queue: list[Event] = []
        self._acts: list[tuple[float, int, Callable[[], None]]] = []
        self._order = count()
        self._takes: list[Take] = []
        self._fetched: set[Picture] = set()
        self._stored_bytes = 0
        self._owed: list[ShutterReport] = []
        self._last: ShutterReport | None = None
        self._taken: dict[str, Take] = {}
        self._told: set[str] = set()
        self._dead = False
        self._link_lost = False
        if crash_at_s is not None:
            self._at(crash_at_s, self._die)

    @property
    def now_utc(self) -> datetime:
        """The evening's clock, in whole milliseconds as the journal keeps it."""
        at = self.world.begins_utc + timedelta(seconds=self._clock.now_s())
        return at.replace(microsecond=at.microsecond // 1000 * 1000)

    @property
    def elapsed_s(self) -> float:
        """Seconds of the evening that have gone by."""
        return self._clock.now_s()

    def run(self) -> None:
        """The whole evening. Raises `JournalError`, `StoreError`."""
        self._feed(words.Begun(time_confirmed=True))
        while not self.evening.state.ended and self._clock.now_s() < _LONGEST_S:
            if self._dead:
                self._start_again()
            elif self._queue:
                self._feed(self._queue.pop(0))
            elif self._takes:
                self._carry_out(self._takes.pop(0))
            else:
                self._wait()
        self._settle()

    def go_home(self) -> None:
        """After the end: what the shutter process still has to tell is waited for, recorded and fetched."""
        for _ in range(_HOME_LOOKS):
            if self.shutter.machine.frame is None and self.shutter.ready():
                break
            if self.shutter.machine.phase is Phase.RELEASED:
                self.shutter.live_again()
            self.shutter.idle(_HOME_LOOK_S)
        self._settle()
        if self._last is not None:
            self._owed.append(self._last)  # the card is listed once more: a body may have stored late
        self._pay()

    def close(self) -> None:
        self.shutter.close()

    def say(self, word: Word) -> None:
        """A person says a word now."""
        self._feed(words.Said(word))

    def at(self, at_s: float, act: Callable[[], None]) -> None:
        """Have something done at an instant of the evening, such as a person's word."""
        self._at(at_s, act)

    # The loop

    def _feed(self, event: Event) -> None:
        if self._dead or self.evening.state.ended:
            return
        now_utc = self.now_utc
        self._record.keep(event, now_utc, self._stamp())
        self.log.events.append((now_utc, event))
        for effect in self.evening.step(event, now_utc):
            self.log.effects.append((now_utc, effect))
            self._do(effect)
        self._arm()

    def _arm(self) -> None:
        """While a frame is open the clock rings at the machine's deadline."""
        deadline_utc = self.evening.deadline_utc()
        if deadline_utc is not None:
            self._clock.at(self._second(deadline_utc), self._ring)

    def _ring(self) -> None:
        deadline_utc = self.evening.deadline_utc()
        if deadline_utc is not None and deadline_utc <= self.now_utc:
            self._feed(words.Ticked())

    def _wait(self) -> None:
        """Nothing is to be done: on to whatever comes next."""
        deadline_utc = self.evening.deadline_utc()
        moments = [_LONGEST_S if deadline_utc is None else self._second(deadline_utc)]
        moments += [self._acts[0][0]] if self._acts else []
        moments += [self._clock.now_s() + _LINK_LOOK_S] if self._link_lost or self.evening.state.unsettled else []
        until_s = max(min(moments), self._clock.now_s())
        self.shutter.idle(until_s - self._clock.now_s())
        self._look_at_link()
        self._tell_settled()
        if not self._queue:
            self._ring()

    def _at(self, at_s: float, act: Callable[[], None]) -> None:
        heapq.heappush(self._acts, (at_s, next(self._order), act))
        self._clock.at(at_s, self._act)

    def _act(self) -> None:
        while self._acts and self._acts[0][0] <= self._clock.now_s():
            heapq.heappop(self._acts)[2]()

    def _second(self, at_utc: datetime) -> float:
        """Not before its whole millisecond."""
        return (at_utc - self.world.begins_utc).total_seconds() + 0.001

    # What the machine asks for

    def _do(self, effect: Effect) -> None:
        match effect:
            case Take():
                self._takes.append(effect)
            case words.CloseNow():
                self.shutter.ask_to_close()
            case words.RunCheck():
                self._queue.append(words.Checked(self._bad_items()))
            case words.ReadMeans():
                self._queue.append(self._means())
            case words.Ring(urgency, line):
                self._say(self.now_utc, "ring", line)
                self._rung(urgency)
            case words.Tell(word, line, detail):
                self._say(self.now_utc, word, line)
                self._journal.note(self._record.note_of(word, line, detail), self._stamp())
            case words.Ended(reason, line):
                self._say(self.now_utc, "ended", line)
                self._journal.note(self._record.note_of(END, line, {"reason": reason}), self._stamp())
            case words.Quiet():
                pass  # nothing rings here

    def _bad_items(self) -> tuple[str, ...]:
        now_s = self._clock.now_s()
        free = {
            "mode": self.body.value("mode", now_s) == "manual",
            "focus": self.body.value("focus", now_s) == "manual",
        }
        return tuple(item for item, is_good in free.items() if not is_good)

    def _means(self) -> words.MeansTold:
        percent = float(self.body.value("battery", self._clock.now_s()).rstrip("%"))
        return words.MeansTold(percent, self.world.disk_free_bytes - self._stored_bytes)

    # A person

    def _rung(self, urgency: Urgency) -> None:
        """The alarm rings; whether anybody comes, and after how long, is chance."""
        habits = self.world.habits
        is_fault = urgency is Urgency.FAILED
        if self._chance.random() < (1.0 - habits.resumes if is_fault else habits.absent):
            return
        after_s = self._chance.uniform(*habits.answer_s)
        is_careless = self._chance.random() < habits.careless
        self._at(self._clock.now_s() + after_s, lambda: self._come(is_careless))

    def _come(self, is_careless: bool) -> None:
        state = self.evening.state
        if state.ended or self._dead:
            return
        if state.taking is not None:
            self._at(self._clock.now_s() + _HANDS_OFF_S, lambda: self._come(is_careless))
        elif state.request is not None and not state.request.answered:
            if not is_careless:
                self._fit(true_channels(self.outing, self.world, state.request.after.filters))
            self.say(Word.DONE)
        elif state.darks_left and not state.cap_on:
            self._fit(CAP)
            self.say(Word.DONE)
        elif state.resting:
            self.say(Word.LEAVING)
        elif state.held is not None:
            self.say(Word.RESUME)

    def _fit(self, channels: tuple[float, float, float]) -> None:
        self.body.fit(channels, self._clock.now_s())

    # A frame

    def _carry_out(self, take: Take) -> None:
        frame_id = self._mint()
        self._taken[frame_id] = take
        if self.shutter.machine.phase is Phase.RELEASED:
            self.shutter.live_again()
        try:
            self._set_up(take)
            report = self._expose(frame_id, take)
        except (HolderRefused, CameraError) as error:
            self._queue.append(self._refused(frame_id, take, str(error)))
            self._look_at_link()
            return
        if self._dead:
            return  # whoever starts again finds the shutter's report
        self._queue += self._conclude(report)

    def _set_up(self, take: Take) -> None:
        self.camera.change(Setting.APERTURE, take.aperture)
        self.camera.change(Setting.ISO, take.iso)
        if take.dial is not None:
            self.camera.change(Setting.SHUTTER, take.dial)

    def _expose(self, frame_id: str, take: Take) -> ShutterReport:
        kind = Kind.HELD if take.dial is None else Kind.DIAL
        asked = {} if take.dial is None else {"asked": {"dial": take.dial}}
        decision = {**take.reasoning, **asked, "filters": list(take.filters), "evening_id": self._record.evening_id}
        intent = Intent(frame_id, SIMULATED, take.role.value, kind.value, take.open_s, take.cap_s, decision)
        self._journal.intend(intent, self._stamp())
        exposure = Exposure(
            frame_id, kind, take.open_s, take.cap_s, 0.0, LATENCY_SIGMA_S, str(self._folders.data)
        )  # fmt: skip
        try:
            report = self.shutter.expose(exposure)
        except HolderRefused as refused:
            self._journal.conclude(_never_opened(frame_id, "refused", str(refused)), self._stamp())
            raise
        while self.shutter.machine.phase is Phase.STORING:
            self.shutter.idle(_LOOK_S)
        return report

    def _conclude(self, report: ShutterReport) -> list[Event]:
        """The record of a frame, its pictures brought home, and what is to be told of both."""
        if report.settled:
            self._told.add(report.frame_id)
            self._last = report
        outcome = outcome_of(report)
        self._journal.conclude(outcome, self._stamp())
        role = self._taken[report.frame_id].role
        files: tuple[StoredFile, ...] = ()
        if report.settled and report.open_s != 0.0:
            files = self._bring_home(report, role)
            outcome = replace(outcome, files=tuple(one.record() for one in files))
            self._journal.conclude(outcome, self._stamp())
        if report.settled:
            self.shutter.collect(report.frame_id)
        self._link_lost |= report.outcome.value == "link_lost"
        told = words.FrameTold(
            report.frame_id, role, report.outcome.value, report.open_s, _utc(report.opened_utc),
            _utc(report.closed_utc), report.settled, report.reason, len(files),
        )  # fmt: skip
        is_seen = report.outcome.value in ("complete", "cut_short") and report.open_s
        return [told, self._look(report, outcome, files)] if is_seen else [told]

    def _refused(self, frame_id: str, take: Take, reason: str) -> words.FrameTold:
        if self._journal.frame(frame_id) is None:
            intent = Intent(frame_id, SIMULATED, take.role.value, "held", take.open_s, take.cap_s, dict(take.reasoning))
            self._journal.intend(intent, self._stamp())
            self._journal.conclude(_never_opened(frame_id, "refused", reason), self._stamp())
        return words.FrameTold(frame_id, take.role, "refused", 0.0, None, None, True, reason)

    def _bring_home(self, report: ShutterReport, role: Role) -> tuple[StoredFile, ...]:
        """Everything new on the card. What a lost link keeps there is owed, and fetched when it is back."""
        if self.shutter.machine.phase is Phase.RELEASED:
            self.shutter.live_again()
        folder = self._folders.session(self.now_utc.date())
        files: list[StoredFile] = []
        try:
            for one in [each for each in self.camera.pictures() if each not in self._fetched]:
                files.append(self._fetch(one, folder, report.frame_id, role))
                self._fetched.add(one)
                self._stored_bytes += files[-1].bytes
        except CameraError as error:
            self._owed.append(report)
            self._queue.append(words.FaultSeen(Fault.LINK, str(error)))
            self._link_lost = True
        return tuple(files)

    def _pay(self) -> None:
        """Fetch what is owed, into the records of the frames it belongs to."""
        owed, self._owed = self._owed, []
        for report in owed:
            files = self._bring_home(report, self._taken[report.frame_id].role)
            if files:
                known = self._journal.frame(report.frame_id)
                told = outcome_of(report)
                before = told if known is None or known.outcome is None else known.outcome
                both = (*before.files, *(one.record() for one in files))
                told = replace(told, files=both, report={**before.report, **told.report})
                self._journal.conclude(told, self._stamp())

    def _fetch(self, picture: Picture, folder: Path, frame_id: str, role: Role) -> StoredFile:
        with (
            Arrival(folder, file_name(frame_id, role, picture.name), role, picture.size_bytes) as arrival,
            os.fdopen(os.dup(arrival.descriptor), "wb") as out,
        ):
            self.camera.fetch(picture, lambda piece: _write(out.write, piece))
            out.flush()
            return arrival.keep()

    def _look(self, report: ShutterReport, outcome: Outcome, files: tuple[StoredFile, ...]) -> Event:
        take = self._taken[report.frame_id]
        event, level_stops = look_at(self.outing, take, report, files)
        if level_stops is not None:
            self.log.levels[report.frame_id] = level_stops
        if isinstance(event, words.Measured):
            event, told = self._judging(take, outcome, event)
            if told is not outcome:
                self._journal.conclude(told, self._stamp())
        return event

    # Death and restart

    def _die(self) -> None:
        self._dead = True

    def _start_again(self) -> None:
        """A new program: it goes over the journal, records what the shutter process has to tell, and asks."""
        self._queue.clear()
        self._takes.clear()
        self._acts.clear()
        self.shutter.idle(self._chance.uniform(2.0, 60.0))
        self._dead = False
        self.log.restarts.append(self.now_utc)
        found = self._record.go_over(self.outing)
        assert found is not None, "it began before it ended"
        self.evening = found
        for event in self._settle():
            self._feed(event)
        self._feed(words.Restarted(settled=self.shutter.machine.frame is None))
        if self.evening.state.held is not None:
            self._rung(Urgency.FAILED)

    def _settle(self) -> list[Event]:
        """Every frame that the shutter process has still to tell is recorded and fetched; what became of each."""
        told: list[Event] = []
        for report in list(self.shutter.machine.reports.values()):
            if report.frame_id in self._taken and report.frame_id not in self._told:
                told += self._conclude(report)[:1]
        for one in self._journal.unfinished():
            if one.known is None:
                reason = "its program ended before the shutter process had the order; nothing was opened"
                self._journal.conclude(_never_opened(one.intent.frame_id, "failed", reason), self._stamp())
        return told

    def _tell_settled(self) -> None:
        unsettled = self.evening.state.unsettled
        report = None if unsettled is None else self.shutter.machine.reports.get(unsettled)
        if report is not None and report.settled:
            self._queue += self._conclude(report)

    def _look_at_link(self) -> None:
        if self._link_lost and self.shutter.ready():
            self._link_lost = False
            self._pay()
            self._queue.append(words.FaultGone(Fault.LINK))

    # Time

    def _sleep(self, seconds: float) -> None:
        self._clock.sleep_until(self._clock.now_s() + seconds)

    def _stamp(self) -> Stamp:
        return Stamp(self.now_utc, self._clock.now_s(), _BOOT)

    def _mint(self) -> str:
        return mint_frame_id(self.now_utc, f"{self._chance.randrange(0x10000):04x}")


def _never_opened(frame_id: str, outcome: str, reason: str) -> Outcome:
    return Outcome(frame_id, outcome, 0.0, None, None, None, "closed", True, reason)


def _utc(text: str | None) -> datetime | None:
    return None if text is None else utc_from(text).astimezone(UTC)


def _write(write: Callable[[bytes], object], piece: bytes) -> None:
    write(piece)
