"""What a person at the terminal sees of an evening, and the single keys that say words to it."""

import os
import select
import sys
import termios
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from typing import TextIO

from duskhold.faces.countdown import Countdown
from duskhold.faces.inputs import now_utc
from duskhold.faces.standing import OPENED, ROLES, awaited_utc, length, line_of
from duskhold.faces.telling import Once, columns_of, row
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.evening_words import Effect, Ended, Ring, Take, Tell, Word
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.wire import Message

KEYS = {
    "c": Word.CLOSE,
    "h": Word.HOLD,
    "d": Word.DONE,
    "l": Word.LEAVING,
    "r": Word.RESUME,
    " ": Word.HEARD,
}
LEGEND = (
    "c close and keep", "h hold after this", "d done it", "l leaving", "r resume", "space heard", "Ctrl-C leaves",
    "times are UTC",
)  # fmt: skip
_DRAW_EVERY_S = 0.25
_LOOK_S = 0.25
_NOT_SHOWN = ("alarm", "person")


class EveningScreen:
    """What the evening says, line by line, and on a terminal one line below that is written over itself. Any thread
    may tell it something."""

    def __init__(self, stream: TextIO) -> None:
        self._stream, self._countdown = stream, Countdown(stream)
        self._is_terminal, self._is_there = stream.isatty(), True
        self._lock = threading.Lock()
        self._once = Once()
        self._view: View | None = None
        self._until_s: float | None = None
        self._closes_s: float | None = None
        self._shutter = ""
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="screen", daemon=True)

    def follow(self, view: View, now_utc: datetime) -> None:
        """How the evening stands."""
        awaited = awaited_utc(view)
        until_s = None if awaited is None else mono_now_s() + (awaited - now_utc).total_seconds()
        with self._lock:
            if view.phase is not Phase.OPEN:
                self._shutter, self._closes_s = "", None
            self._view, self._until_s = view, until_s

    def seen(self, state: Message) -> None:
        """A state of the shutter process: what it does now, and when it closes."""
        phase, closes_in_s = str(state.get("phase")), state.get("closes_in_s")
        with self._lock:
            if phase in OPENED and isinstance(closes_in_s, float):
                self._closes_s = mono_now_s() + closes_in_s
            if phase == "ready":
                # Before it opens, or closed again: which of them tells what was seen of it.
                phase = "" if self._closes_s is None else "storing"
            self._shutter = phase

    def told(self, effect: Effect) -> None:
        """What the evening says, once."""
        match effect:
            case Take(role=role, open_s=open_s, filters=filters) if not self._is_terminal:
                behind = f" behind {' and '.join(filters)}" if filters else ""
                self._say(f"{ROLES[role.value]} opens, {length(open_s)}{behind}")
            case Tell("frame", line, _):
                if not self._is_terminal:  # elsewhere the line below shows it
                    self._say(line.replace("_", " "))
            case Tell(word, line, _):
                said = self._once.said(word, line)  # also of what is not shown: what was rung is a while ago then
                if word not in _NOT_SHOWN:
                    self._say(said)
            case Ring(urgency, line):
                self._say(f"! {urgency.value.upper()}: {self._once.said('ring', line)}")
            case Ended(_, line):
                self._say(self._once.said("ended", line))

    def legend(self) -> None:
        """The keys."""
        self._write(lambda: print(legend(columns_of(self._stream)), file=self._stream, flush=True))

    def sound(self) -> None:
        """The terminal's bell."""
        if self._is_terminal:
            self._write(lambda: print("\a", end="", file=self._stream, flush=True))

    def complain(self, line: str) -> None:
        """Trouble beside the evening."""
        self._say(f"trouble: {line}")

    @contextmanager
    def shown(self) -> Iterator[None]:
        if self._is_terminal:
            self._thread.start()
        try:
            yield
        finally:
            self._over.set()
            if self._thread.is_alive():
                self._thread.join()
            self._write(self._countdown.clear)

    def _say(self, line: str | None) -> None:
        if line is None:
            return
        text = row(now_utc(), line, self._stream)

        def write() -> None:
            self._countdown.clear()
            print(text, file=self._stream, flush=True)

        self._write(write)

    def _run(self) -> None:
        while not self._over.wait(_DRAW_EVERY_S):
            self._write(self._draw)

    def _draw(self) -> None:
        if self._view is not None:
            # An open frame closes when the shutter process says, which opened it a little after it was asked to.
            until_s = self._until_s if self._closes_s is None else self._closes_s
            left_s = None if until_s is None else until_s - mono_now_s()
            self._countdown.say(line_of(self._view, left_s, self._shutter))

    def _write(self, write: Callable[[], None]) -> None:
        """A terminal or a log that went away ends what is shown and not the evening."""
        with self._lock:
            if not self._is_there:
                return
            try:
                write()
            except OSError:
                self._is_there = False


def legend(columns: int) -> str:
    """The keys in as many rows as it takes."""
    rows = [LEGEND[0]]
    for one in LEGEND[1:]:
        longer = f"{rows[-1]}   {one}"
        rows = [*rows[:-1], longer] if len(longer) < columns else [*rows, one]
    return "\n".join(rows)


class Keys:
    """Single keys of a terminal as words; `say` is called in its own thread."""

    def __init__(self, stream: TextIO, say: Callable[[Word], None]) -> None:
        self._stream, self._say = stream, say
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="keys", daemon=True)

    @contextmanager
    def heard(self) -> Iterator[None]:
        """Keys count without Enter; the terminal is put back as it was."""
        descriptor = self._stream.fileno()
        before = termios.tcgetattr(descriptor)
        tty.setcbreak(descriptor)
        self._thread.start()
        try:
            yield
        finally:
            self._over.set()
            self._thread.join()
            with suppress(termios.error):  # it went away
                termios.tcsetattr(descriptor, termios.TCSADRAIN, before)

    def _run(self) -> None:
        descriptor = self._stream.fileno()
        while not self._over.is_set():
            if not select.select([descriptor], [], [], _LOOK_S)[0]:
                continue
            try:
                # Not by the stream, which would keep to itself what it has read too much.
                typed = os.read(descriptor, 64)
            except OSError:
                return  # the terminal went away
            if not typed:
                return
            for key in typed.decode(errors="ignore").lower():
                if key in KEYS:
                    self._say(KEYS[key])


def terminal_is_there() -> bool:
    """Whether keys can be heard. A service may have no standard input at all."""
    return sys.stdin is not None and sys.stdin.isatty()
