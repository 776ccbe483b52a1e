"""How answers and complaints are said: in words for people, or as one JSON object for programs."""

import io
import json
import sys
from collections.abc import Mapping, Sequence
from typing import Protocol

from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.wording import wrapped


class Voice(Protocol):
    def say(self, answer: Answer) -> None: ...

    def complain(self, wrong: Wrong) -> None: ...


def voice_for(words: Sequence[str]) -> Voice:
    """The voice that the command line's words ask for, known before they are understood."""
    return ForPrograms() if "--json" in words else ForPeople()


class ForPrograms:
    """One JSON object on standard output and nothing else there; NaN and Infinity are programmer errors."""

    def say(self, answer: Answer) -> None:
        self._print(answer.body)

    def complain(self, wrong: Wrong) -> None:
        self._print(wrong.body())

    def _print(self, body: Mapping[str, object]) -> None:
        print(json.dumps(body, allow_nan=False), flush=True)


class ForPeople:
    """Words: the answer on standard output, complaints on standard error."""

    def __init__(self) -> None:
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):
                # A sign that the terminal cannot show must not cost the record of a frame.
                stream.reconfigure(errors="replace")

    def say(self, answer: Answer) -> None:
        answer.show()
        sys.stdout.flush()

    def complain(self, wrong: Wrong) -> None:
        # What has no name on the command line but its place there is named by the message itself.
        is_said = not wrong.field or wrong.field.isupper() or f"{wrong.field}: " in wrong.message
        where = "" if is_said else f"{wrong.field}: "
        print(wrapped(f"duskhold: {where}{wrong.message}", sys.stderr), file=sys.stderr)
        if wrong.hint:
            print(wrapped(f"  {wrong.hint}", sys.stderr), file=sys.stderr)
        sys.stderr.flush()
