"""The one line that says what is happening while a person waits: written over itself on a terminal, nowhere else."""

from typing import TextIO

from duskhold.faces import wording
from duskhold.faces.telling import columns_of
from duskhold.shutter.wire import Message

GAP = "   "
_WORDS = {
    "starting": "closing the shutter first, to be sure",
    "opening": "opening",
    "closing": "closing",
    "proving": "the body says nothing was open; waiting for its picture",
    "storing": "closed; the camera stores it or takes its own dark frame   Ctrl-C twice leaves",
    "ready": "bringing the pictures home",
    "silent": "the shutter process is silent: looking for it",
}
_ENDS = {"open": "Ctrl-C closes and keeps", "timed": "the body's own dial closes it; it cannot be stopped"}


class Countdown:
    """Shows states of the shutter on `stream` if that is a terminal."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._shows = stream.isatty()
        self._last = ""

    def seen(self, state: Message) -> None:
        """A state of the shutter process."""
        self.say(_line(state))

    def say(self, line: str) -> None:
        """In one row, however narrow: what is wider would not be written over, but pushed up."""
        if self._shows and line != self._last:
            self._stream.write(f"\r\x1b[K{fitted(line, columns_of(self._stream))}")
            self._stream.flush()
            self._last = line

    def clear(self) -> None:
        """Leave the line empty for what comes next."""
        if self._shows and self._last:
            self._stream.write("\r\x1b[K")
            self._stream.flush()
            self._last = ""


def _line(state: Message) -> str:
    phase, left_s = state["phase"], state.get("closes_in_s")
    if phase in _ENDS and isinstance(left_s, (int, float)):
        return f"OPEN  {clock(left_s)} left   {_ENDS[str(phase)]}"
    if phase == "lost":
        return f"LINK LOST: {state.get('trouble')}. Put the lead back; the shutter is closed first."
    return _WORDS.get(str(phase), str(phase))


def fitted(line: str, columns: int) -> str:
    """As much of the line as a terminal shows in one row: without its last part, or cut off."""
    if len(line) < columns:
        return line
    shorter = line.rpartition(GAP)[0]
    return shorter if 0 < len(shorter) < columns else f"{line[: columns - 2]}…"


def clock(seconds: float) -> str:
    """`2:41`, or `0:07`; under a minute to the tenth: `7.4 s`."""
    if seconds < 60.0:
        return f"{seconds:4.1f} s"
    whole = int(seconds)
    return wording.duration(float(whole)).removesuffix(".0")
