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

from duskhold.faces.countdown import Countdown, clock
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.evening_words import Effect, Ended, Ring, Tell, Word
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
LEGEND = "c close and keep   h hold after this   d done it   l leaving   r resume   space heard   Ctrl-C leaves"
_DRAW_EVERY_S = 0.25
_LOOK_S = 0.25
_NOT_SHOWN = ("alarm", "frame", "person")
_WORDS = {
    Phase.WAITING: "waits",
    Phase.WATCHING: "watches the light",
    Phase.CHECKING: "checks the camera",
    Phase.ASKING: "waits for you",
    Phase.BETWEEN: "between frames",
    Phase.OPEN: "OPEN",
    Phase.MEASURING: "measures",
    Phase.HELD: "HELD",
    Phase.ENDED: "over",
}


class EveningScreen:
    """One line that is written over itself, and what the evening says above it. Any thread may tell it something."""

    def __init__(self, stream: TextIO) -> None:
        self._stream, self._countdown = stream, Countdown(stream)
        self._is_shown = stream.isatty()
        self._lock = threading.Lock()
        self._view: View | None = None
        self._until_s: float | None = None
        self._shutter = ""
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="screen", daemon=True)

    def follow(self, view: View, now_utc: datetime) -> None:
        """How the evening stands."""
        until_s = None if view.until_utc is None else mono_now_s() + (view.until_utc - now_utc).total_seconds()
        with self._lock:
            self._view, self._until_s = view, until_s

    def seen(self, state: Message) -> None:
        """A state of the shutter process: what it does now, and when it closes."""
        phase, closes_in_s = str(state.get("phase")), state.get("closes_in_s")
        with self._lock:
            self._shutter = phase
            if phase in ("open", "timed") and isinstance(closes_in_s, float):
                self._until_s = mono_now_s() + closes_in_s

    def told(self, effect: Effect) -> None:
        """What the evening says goes above the line, once."""
        match effect:
            case Tell(word, line, _) if word not in _NOT_SHOWN:
                self._say(f"  {word}: {line}")
            case Ring(urgency, line):
                self._say(f"! {urgency.value.upper()}: {line}")
            case Ended(_, line):
                self._say(f"  over: {line}")

    def sound(self) -> None:
        """The terminal's bell."""
        self._write(lambda: print("\a", end="", file=self._stream, flush=True))

    def complain(self, line: str) -> None:
        """Trouble beside the evening."""
        self._say(f"  trouble: {line}")

    @contextmanager
    def shown(self) -> Iterator[None]:
        if self._is_shown:
            self._thread.start()
        try:
            yield
        finally:
            self._over.set()
            if self._thread.is_alive():
                self._thread.join()
            self._write(self._countdown.clear)

    def _say(self, line: str) -> None:
        def write() -> None:
            self._countdown.clear()
            print(line, file=self._stream, flush=True)

        self._write(write)

    def _run(self) -> None:
        while not self._over.wait(_DRAW_EVERY_S):
            self._write(self._draw)

    def _draw(self) -> None:
        if self._view is not None:
            left_s = None if self._until_s is None else self._until_s - mono_now_s()
            self._countdown.say(line_of(self._view, left_s, self._shutter))

    def _write(self, write: Callable[[], None]) -> None:
        """A terminal that went away, as a login does, ends what is shown and not the evening."""
        with self._lock:
            if not self._is_shown:
                return
            try:
                write()
            except OSError:
                self._is_shown = False


def line_of(view: View, left_s: float | None, shutter: str) -> str:
    """The one line: what happens, how long still, what a person must do."""
    word = _WORDS[view.phase]
    if view.phase is Phase.OPEN:
        # Whether it is open says the shutter process alone.
        word = "OPEN" if shutter in ("open", "timed") else shutter or "opening"
    parts = [word if left_s is None or left_s < 0.0 else f"{word}  {clock(left_s)}"]
    if view.phase is Phase.OPEN and view.role is not None:
        parts.append(view.role)
    if view.line != "nothing":
        parts.append(view.line)
    elif view.next_open_s is not None and view.phase is not Phase.OPEN:
        parts.append(f"next {clock(view.next_open_s).strip()}")
    left = "" if view.frames_left is None else f", {view.frames_left} left"
    parts.append(f"{view.frames_done} done{left}")
    return "   ".join(parts)


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
