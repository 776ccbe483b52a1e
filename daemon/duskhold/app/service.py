"""The service: waits for the next outing of a folder, runs its evening, and waits again.

1. The plan is worked out from files and journal; nothing of it is only in memory.
2. Nothing begins before the time is confirmed: by the system, the camera's clock, or a person's `done`, to the service
   or to an evening, which counts until the computer is started anew or its clock is set. What was left in the middle
   does not wait for that: nothing of it fires by itself.
3. One evening at a time; one that only rests is ended for an outing that becomes due. Told to end, it closes and
   keeps, and the next start goes on.
4. What earlier runs left on a camera is recorded and fetched once, as soon as the camera answers.
"""

from __future__ import annotations

import queue
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from duskhold.app.alarms import Alarms, Miss
from duskhold.app.clock_gate import ClockWord, system_word
from duskhold.app.document import DocumentWrong
from duskhold.app.evening_clock import ClockWatch, look_at_clocks
from duskhold.app.evening_loop import HEARTBEAT_S, Happened
from duskhold.app.evening_record import EveningDamaged
from duskhold.app.evening_run import EveningProgram, Hooks, Place, take_up
from duskhold.app.hearing import STATE, hear
from duskhold.app.outing_calendar import LATE, Calendar, Due, calendar_of
from duskhold.app.past_visit import PastVisit
from duskhold.app.service_notice import ServiceNotice
from duskhold.app.station import stamp_now
from duskhold.app.word_socket import Body
from duskhold.journal.entry import Note
from duskhold.journal.journal import Journal
from duskhold.light.sign import signed
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.evening_words import PERSON, ClockStepped, Effect, Event, Said, Tell, Word
from duskhold.plan.outing import BadOuting
from duskhold.shutter.clock import mono_now_s, utc_now

LOOK_AGAIN_S = 60.0
CLOCK_AGAIN_S = 10.0
WAKE_MAX_S = 5.0
STEP_MAX_S = 60.0
"""A clock that was set by more is vouched for anew. Common practice, no source."""
_OUTING, _HEARTBEAT, _CLOCK = "outing", "heartbeat", "clock"
_TIME_SAID = "time_said"


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the service says to whom: systemd, whoever reads its log, and the hooks of each evening."""

    notice: ServiceNotice
    say: Callable[[str], None]
    hooks: Hooks


class Service:
    """`run` it in the main thread; `leave` and `hear` come from others."""

    def __init__(self, place: Place, folder: Path, journal: Journal, around: Surroundings) -> None:
        self._place, self._folder, self._journal, self._around = place, folder, journal, around
        self._inbox: queue.Queue[str] = queue.Queue(64)
        self._program: EveningProgram | None = None
        self._left = ""
        self._word: ClockWord | None = None
        self._is_word_to_keep = False
        self._known: Calendar | None = None
        self._over: dict[str, datetime] = {}
        self._spoilt: dict[Path, int | None] = {}
        self._is_resting = False
        self._blocked: set[Path] = set()
        self._past = PastVisit(place, lambda: self._word, self._camera_said, around.say)

    def run(self) -> None:
        """Until it is told to end. Raises `JournalError`."""
        alarms, clocks = Alarms(self._missed), ClockWatch(self._clock_did, lambda: None, look_at_clocks)
        alarms.start()
        clocks.start()
        try:
            self._word = self._first_word()
            self._beat(alarms)
            self._around.notice.ready()
            while not self._left:
                self._once(alarms)
        finally:
            self._past.stop()
            clocks.stop()
            alarms.stop()
            self._around.notice.stopping()

    def leave(self, why: str) -> None:
        """Told to end: the evening that runs closes and keeps, and waits for the next start."""
        self._left = why
        program = self._program
        if program is not None:
            program.leave(why)
        self._wake(_OUTING)

    def hear(self, word: str) -> Body:
        """A word from outside: for the evening that runs, or for the service while it waits."""
        program = self._program
        if program is not None:
            heard = hear(program.inbox, word)
            return {**heard, "next": self._next_line()} if word == STATE and "error" not in heard else heard
        if word == STATE:
            return {"answers": [], "evening": None, "waiting": self._line()}
        if word == Word.DONE.value and self._word is None:
            self._word, self._is_word_to_keep = ClockWord(True, PERSON), True
            self._wake(_OUTING)
            return {"answers": [f"the time is right, says {PERSON}"], "evening": None, "waiting": self._line()}
        message = f"No evening runs now; {self._line()}."
        return {"error": {"code": "nothing_runs", "message": message, "field": None, "hint": None}}

    def _once(self, alarms: Alarms) -> None:
        """Run what is due, or wait for it."""
        if self._is_word_to_keep:
            self._is_word_to_keep = False
            self._note(_TIME_SAID, {})
        if self._word is None:
            self._confirm()
        calendar = self._known = self._calendar()
        due = self._first_of(calendar)
        if due is not None and due.at_utc <= utc_now():
            self._past.stop()  # the evening settles what is its own
            self._known = Calendar(tuple(one for one in calendar.due if one is not due), calendar.troubles)
            self._run(due, alarms)
            return
        self._around.notice.status(self._line())
        self._past.start()
        until_s = LOOK_AGAIN_S if self._word is not None else CLOCK_AGAIN_S
        if due is not None:
            until_s = min(until_s, max(0.0, (due.at_utc - utc_now()).total_seconds()))
        alarms.arm(_OUTING, until_s, lambda: self._wake(_OUTING))
        self._wait(alarms, until_s + WAKE_MAX_S)

    def _first_of(self, calendar: Calendar) -> Due | None:
        """What may be begun first: without a confirmed time only what is gone on with."""
        return next((one for one in calendar.due if one.taken is not None or self._word is not None), None)

    def _wait(self, alarms: Alarms, longest_s: float) -> None:
        """Until something rings, or long enough that it should have, however often the heart beats meanwhile."""
        overdue_s = mono_now_s() + longest_s
        while True:
            try:
                rang = self._inbox.get(timeout=max(0.0, overdue_s - mono_now_s()))
            except queue.Empty:
                self._note("alarm_overdue", {"longest_s": longest_s})
                return
            if rang == _HEARTBEAT:
                self._around.notice.alive()
            if rang != _OUTING:
                self._beat(alarms)
            if rang != _HEARTBEAT:
                return

    def _run(self, due: Due, alarms: Alarms) -> None:
        self._around.say(due.line)
        try:
            taken = due.taken or take_up(self._place, due.path, self._journal, stamp_now())
        except (DocumentWrong, BadOuting, EveningDamaged, OSError, UnicodeDecodeError) as error:
            self._spoilt[due.path] = _written_ns(due.path)
            self._around.say(f"{due.path.name} cannot be begun: {error}")
            return
        alarms.disarm(_HEARTBEAT)  # the evening has its own
        person = self._word if self._word is not None and self._word.line == PERSON else None
        hooks = self._hooks_beside(taken.record.evening_id)
        program = EveningProgram(self._place, taken, self._journal, hooks, person)
        self._is_resting = False
        self._blocked.clear()
        self._program = program
        if self._left:
            program.leave(self._left)
        try:
            gone = program.run()
        finally:
            self._program = None
        self._around.say("left in the middle" if gone.ended is None else f"over: {gone.ended.line}")
        self._beat(alarms)

    def _hooks_beside(self, running_id: str) -> Hooks:
        """Those of the surroundings, and a look at what else becomes due at every heartbeat. In the evening's loop."""
        hooks = self._around.hooks

        def follow(view: View, now_utc: datetime) -> None:
            self._is_resting = view.phase is Phase.RESTING
            hooks.follow(view, now_utc)

        def alive() -> None:
            hooks.alive()
            if self._is_resting:
                if self._word is None:
                    self._confirm()
                self._known = self._calendar(running_id)
            self._look_beside()

        def told(effect: Effect) -> None:
            hooks.told(effect)
            match effect:
                case Tell("clock", _, {"source": str(source)}):
                    self._time_said_to_evening(source)

        return replace(hooks, follow=follow, alive=alive, told=told)

    def _time_said_to_evening(self, source: str) -> None:
        """Whoever is asked by an evening is not asked again by the service."""
        if self._word is None:
            self._word = ClockWord(True, source)
            if source == PERSON:
                self._note(_TIME_SAID, {})

    def _look_beside(self) -> None:
        """An outing that becomes due ends a rest; while frames are taken it is only said that it waits."""
        due, program = None if self._known is None else self._first_of(self._known), self._program
        if due is None or program is None or due.at_utc > utc_now():
            return
        if self._is_resting and program.inbox.offer(Happened(Said(Word.LEAVING))):
            self._is_resting = False
            self._around.say(f"the evening that only rests is ended: {due.line}")
        elif not self._is_resting and due.path not in self._blocked:
            self._blocked.add(due.path)
            late = f"up to {LATE.total_seconds() / 60.0:.0f} min after its start"
            self._around.say(f"waits for the evening that runs, {late}: {due.line}")

    def _calendar(self, running_id: str = "") -> Calendar:
        now_utc, before = utc_now(), self._known
        calendar = calendar_of(self._place, self._folder, self._journal, now_utc, self._over, running_id)
        for trouble in calendar.troubles:
            if before is None or trouble not in before.troubles:
                self._around.say(trouble)
        for one in () if before is None else before.due:
            if one.taken is None and one.missed_utc <= now_utc:
                self._around.say(f"missed, and not begun by itself: {one.line}")
        return Calendar(tuple(one for one in calendar.due if self._is_usable(one.path)), calendar.troubles)

    def _is_usable(self, path: Path) -> bool:
        """A file that could not be begun with is left out until it is written anew."""
        return path not in self._spoilt or self._spoilt[path] != _written_ns(path)

    def _next_line(self) -> str | None:
        """What comes after the evening that runs."""
        known = self._known
        return known.due[0].line if known is not None and known.due else None

    def _line(self) -> str:
        """What it waits for, by what is known at this moment."""
        known = self._known
        if known is None:
            return "begins"
        if self._word is None:
            return "waits for the time to be confirmed: say `duskhold tell done` when this computer's clock is right"
        if known.due:
            return known.due[0].line
        return f"no outing in {self._folder} has its start still ahead"

    def _first_word(self) -> ClockWord | None:
        """The system's word, or what a person said before; the camera is asked when it answers."""
        word = system_word()
        if not word.confirmed and self._was_said():
            word = ClockWord(True, PERSON)
        self._around.say(word.sentence)
        if not word.confirmed:
            self._around.say("nothing begins until it is: look at this computer's clock, then say `duskhold tell done`")
        return word if word.confirmed else None

    def _was_said(self) -> bool:
        """Whether a person vouched for the clock in this boot, and it was not set since."""
        found = self._journal.last_note(f"service_{_TIME_SAID}")
        if found is None:
            return False
        said, now = found[1], stamp_now()
        step_s = (now.utc - said.utc).total_seconds() - (now.mono_s - said.mono_s)
        return said.boot_id == now.boot_id and abs(step_s) <= STEP_MAX_S

    def _camera_said(self, word: ClockWord) -> None:
        self._around.say(word.sentence)
        if word.confirmed and self._word is None:
            self._word = word
            self._wake(_OUTING)

    def _clock_did(self, event: Event) -> None:
        """A clock that was set is vouched for anew, and what is due is worked out again."""
        if isinstance(event, ClockStepped) and abs(event.step_s) > STEP_MAX_S:
            self._around.say(
                f"the clock was set by {signed(event.step_s, 0)} s: what was said of the time before is void"
            )
            self._past.clock_was_set()  # first: then nothing that was read before is set after this
            self._word, self._is_word_to_keep = None, False
        self._wake(_CLOCK)

    def _confirm(self) -> None:
        word = system_word()
        if word.confirmed:
            self._word = word

    def _beat(self, alarms: Alarms) -> None:
        alarms.arm(_HEARTBEAT, HEARTBEAT_S, lambda: self._wake(_HEARTBEAT))

    def _missed(self, miss: Miss) -> None:
        self._around.say(f"alarm {miss.name or 'of all'}: {miss.what}")
        self._wake(_OUTING)

    def _wake(self, word: str) -> None:
        with suppress(queue.Full):
            self._inbox.put_nowait(word)

    def _note(self, word: str, detail: dict[str, object]) -> None:
        self._journal.note(Note(f"service_{word}", detail), stamp_now())


def _written_ns(path: Path) -> int | None:
    """When the file was written last; None for one that is not there."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return None
