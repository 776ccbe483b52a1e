"""What an evening says, once: without what was rung a moment ago, and in words instead of codes."""

import os
import textwrap
from datetime import datetime
from typing import Final, TextIO

USUAL_COLUMNS: Final = 80
_ALSO_RUNG = ("prompt", "held", "denied", "stop", "in_doubt")
"""Kept in the record under their own word, and mostly said by an alarm already."""


class Once:
    """Goes along with one evening; `said` takes everything it says, in order."""

    def __init__(self) -> None:
        self._rung = self._stop = ""

    def said(self, word: str, line: str) -> str | None:
        """What a person is to read of it, None for what was said already. `word` is `ring` for an alarm, `ended` for
        the end, else that of the record."""
        if word == "stop":
            self._stop = line
        if word == "ended":
            return "over" if line == self._stop else f"over: {line}"
        if word in _ALSO_RUNG and line in self._rung:
            return None
        # What comes after another line is said for itself, be it in the same words.
        self._rung = line if word == "ring" else ""
        return line


def row(at_utc: datetime, line: str, stream: TextIO) -> str:
    """A line with its time, wrapped where the stream is a terminal; a log has the whole of both in one row."""
    if not stream.isatty():
        return f"{at_utc:%Y-%m-%dT%H:%M:%SZ}  {line}"
    stamp = f"{at_utc:%H:%M:%S}  "
    return textwrap.fill(line, columns_of(stream) - 1, initial_indent=stamp, subsequent_indent=" " * len(stamp))


def columns_of(stream: TextIO) -> int:
    """How wide the terminal is, now: it may have been resized. Where it is none, or does not say, what `COLUMNS` says,
    or as usual. Text cannot be broken into less than 2."""
    try:
        columns = os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError):
        columns = 0
    asked = os.environ.get("COLUMNS", "")
    return max(columns or (int(asked) if asked.isdecimal() else 0) or USUAL_COLUMNS, 2)
