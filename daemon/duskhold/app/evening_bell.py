"""An alarm that goes on until a person says a word: the terminal's bell, and the person's own command."""

from __future__ import annotations

import os
import subprocess
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from duskhold.plan.evening_words import Urgency

SOUND_EVERY_S = 2.0
COMMAND_EVERY_S = 30.0
COMMAND_MAX_S = 20.0
_END_S = 1.0


@dataclass(frozen=True, slots=True)
class BellTimes:
    """How often it sounds and the command runs, and how long the command may take, in seconds."""

    sound_every_s: float = SOUND_EVERY_S
    command_every_s: float = COMMAND_EVERY_S
    command_max_s: float = COMMAND_MAX_S


class Bell:
    """`command` is run without a shell, with the line as its last word and the urgency in DUSKHOLD_ALARM.

    `trouble` hears once why the command cannot be run. Nothing of this waits for anything.
    """

    def __init__(
        self,
        command: Sequence[str],
        sound: Callable[[], None],
        trouble: Callable[[str], None],
        times: BellTimes = BellTimes(),
    ) -> None:
        self._command, self._sound, self._trouble, self._times = tuple(command), sound, trouble, times
        self._ringing: threading.Event | None = None
        self._threads: list[threading.Thread] = []
        self._complained = False

    def ring(self, urgency: Urgency, line: str) -> None:
        """Ring until `quiet`; a newer alarm takes the place of the one before."""
        self.quiet()
        over = self._ringing = threading.Event()
        jobs = [lambda: self._sound_on(over)]
        if self._command:
            jobs.append(lambda: self._command_on(over, urgency, line))
        self._threads = [each for each in self._threads if each.is_alive()]
        for job in jobs:
            thread = threading.Thread(target=job, name="bell", daemon=True)
            thread.start()
            self._threads.append(thread)

    def quiet(self) -> None:
        if self._ringing is not None:
            self._ringing.set()
        self._ringing = None

    def close(self) -> None:
        """Quiet, and nothing of it is left running."""
        self.quiet()
        for thread in self._threads:
            thread.join()
        self._threads = []

    def _sound_on(self, over: threading.Event) -> None:
        while True:
            self._sound()
            if over.wait(self._times.sound_every_s):
                return

    def _command_on(self, over: threading.Event, urgency: Urgency, line: str) -> None:
        while True:
            self._run(over, urgency, line)
            if over.wait(self._times.command_every_s):
                return

    def _run(self, over: threading.Event, urgency: Urgency, line: str) -> None:
        try:
            process = subprocess.Popen(
                [*self._command, line],
                env=os.environ | {"DUSKHOLD_ALARM": urgency.value},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
            )
        except OSError as error:
            if not self._complained:
                self._complained = True
                self._trouble(f"alarm_command {self._command[0]!r} cannot be run: {error.strerror}")
            return
        # One that sounds on and on ends with the alarm.
        left_s = self._times.command_max_s
        while process.poll() is None and left_s > 0.0 and not over.wait(min(0.1, left_s)):
            left_s -= 0.1
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(_END_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
