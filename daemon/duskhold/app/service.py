"""The service: waits for the next outing of a folder, runs its evening, and waits again.

1. The plan is worked out from files and journal; nothing of it is only in memory.
2. Nothing begins before the time is confirmed: by the system, the camera's clock, or a person's `done`.
3. One evening at a time. Told to end, it closes and keeps, and the next start goes on.
"""

from __future__ import annotations

import queue
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from duskhold.app.alarms import Alarms, Miss
from duskhold.app.clock_gate import PERSON, ClockWord, camera_word, system_word
from duskhold.app.document import DocumentWrong
from duskhold.app.evening_loop import HEARTBEAT_S
from duskhold.app.evening_run import EveningProgram, Hooks, Place, take_up
from duskhold.app.folders import FolderUnsafe
from duskhold.app.hearing import STATE, hear
from duskhold.app.outing_calendar import Calendar, Due, calendar_of
from duskhold.app.service_notice import ServiceNotice
from duskhold.app.station import stamp_now
from duskhold.app.word_socket import Body
from duskhold.journal.database import JournalError
from duskhold.journal.entry import Note
from duskhold.journal.journal import Journal
from duskhold.plan.evening_words import Word
from duskhold.plan.outing import BadOuting
from duskhold.shutter.clock import utc_now
from duskhold.shutter.holder_link import HolderSilent
from duskhold.shutter.launch import NotStarted

LOOK_AGAIN_S = 60.0
CLOCK_AGAIN_S = 10.0
WAKE_MAX_S = 5.0
_OUTING, _HEARTBEAT = "outing", "heartbeat"


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
        self._waiting = "begins"
        self._troubles: tuple[str, ...] = ()
        self._spoilt: set[Path] = set()

    def run(self) -> None:
        """Until it is told to end. Raises `JournalError`."""
        alarms = Alarms(self._missed)
        alarms.start()
        try:
            self._word = self._first_word()
            self._beat(alarms)
            self._around.notice.ready()
            while not self._left:
                self._once(alarms)
        finally:
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
            return hear(program.inbox, word)
        if word == STATE:
            return {"answers": [], "evening": None, "waiting": self._waiting}
        if word == Word.DONE.value and self._word is None:
            self._word = ClockWord(True, PERSON)
            self._wake(_OUTING)
            return {"answers": [f"the time is right, says {PERSON}"], "evening": None, "waiting": self._waiting}
        message = f"No evening runs now; {self._waiting}."
        return {"error": {"code": "nothing_runs", "message": message, "field": None, "hint": None}}

    def _once(self, alarms: Alarms) -> None:
        """Run what is due, or wait for it."""
        if self._word is None:
            self._confirm()
        calendar = self._calendar()
        due = calendar.due[0] if calendar.due and self._word is not None else None
        if due is not None and due.at_utc <= utc_now():
            self._run(due, alarms)
            return
        self._waiting = self._line(calendar)
        self._around.notice.status(self._waiting)
        until_s = LOOK_AGAIN_S if self._word is not None else CLOCK_AGAIN_S
        if due is not None:
            until_s = min(until_s, max(0.0, (due.at_utc - utc_now()).total_seconds()))
        alarms.arm(_OUTING, until_s, lambda: self._wake(_OUTING))
        self._wait(alarms, until_s + WAKE_MAX_S)

    def _wait(self, alarms: Alarms, longest_s: float) -> None:
        """Until something rings, or long enough that it should have."""
        while True:
            try:
                rang = self._inbox.get(timeout=longest_s)
            except queue.Empty:
                self._note("alarm_overdue", {"longest_s": longest_s})
                return
            if rang != _HEARTBEAT:
                return
            self._around.notice.alive()
            self._beat(alarms)

    def _run(self, due: Due, alarms: Alarms) -> None:
        self._around.say(due.line)
        try:
            taken = take_up(self._place, due.path, self._journal, stamp_now())
        except (DocumentWrong, BadOuting, OSError, UnicodeDecodeError) as error:
            self._spoilt.add(due.path)
            self._around.say(f"{due.path.name} cannot be begun: {error}")
            return
        alarms.disarm(_HEARTBEAT)  # the evening has its own
        program = EveningProgram(self._place, taken, self._journal, self._around.hooks, self._word)
        self._program = program
        if self._left:
            program.leave(self._left)
        try:
            gone = program.run()
        finally:
            self._program = None
        self._around.say("left in the middle" if gone.ended is None else f"over: {gone.ended.line}")
        self._beat(alarms)

    def _calendar(self) -> Calendar:
        calendar = calendar_of(self._place, self._folder, self._journal, utc_now())
        for trouble in calendar.troubles:
            if trouble not in self._troubles:
                self._around.say(trouble)
        self._troubles = calendar.troubles
        usable = tuple(one for one in calendar.due if one.path not in self._spoilt)
        return Calendar(usable, calendar.troubles)

    def _line(self, calendar: Calendar) -> str:
        if self._word is None:
            return "waits for the time to be confirmed: say `duskhold tell done` when this computer's clock is right"
        if calendar.due:
            return calendar.due[0].line
        return f"no outing in {self._folder} has its start still ahead"

    def _first_word(self) -> ClockWord | None:
        """The system's word, or that of the camera's clock, asked once."""
        word = system_word()
        if not word.confirmed and self._place.zone is not None:
            try:
                with self._place.visit() as station:
                    word = camera_word(station, self._place.zone, word)
            except (NotStarted, HolderSilent, FolderUnsafe, JournalError) as error:
                self._around.say(f"the camera's clock could not be asked: {error}")
        self._around.say(word.line)
        return word if word.confirmed else None

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
