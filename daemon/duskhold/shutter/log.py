"""The shutter processes' own log: their standard error, which the keeper and the command send to a file."""

from __future__ import annotations

import sys


def say(sentence: str) -> None:
    """One line, at once."""
    sys.stderr.write(f"{sentence}\n")
    sys.stderr.flush()
