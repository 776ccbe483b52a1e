"""Waiting at the camera between frames: for a while, or for a person's Enter, with the camera kept awake."""

import argparse
import select
import signal
import sys
import textwrap
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from duskhold.faces.answer import Wrong
from duskhold.faces.countdown import Countdown, clock
from duskhold.faces.inputs import number_of, person_is_there
from duskhold.faces.telling import columns_of
from duskhold.faces.trouble import status_after

if TYPE_CHECKING:
    from duskhold.app.station import Station

LONGEST_WAIT_S = 3600.0
_AWAKE_EVERY_S = 20.0  # an idle camera is let go after a minute
_LOOK_S = 0.1
_DONE = ("", "y", "yes", "d", "done", "ok")


def add_person_options(parser: argparse.ArgumentParser) -> None:
    """What stands in for a person's Enter where none can come."""
    stands_in = parser.add_mutually_exclusive_group()
    stands_in.add_argument("--fitted", action="store_true", help="do not ask: each filter is as it should be at once")
    stands_in.add_argument("--wait", metavar="SECONDS", type=float, help="wait so long instead of asking for Enter")


def ensure_somebody_answers(args: argparse.Namespace) -> None:
    """Said before anything starts: whom to ask. Raises `Wrong`."""
    if args.wait is not None:
        number_of("--wait", args.wait, 0.0, LONGEST_WAIT_S, "s")
    elif not args.fitted and (args.json or not person_is_there()):
        raise Wrong(
            "usage", "There is nobody to ask whether the filter is fitted.", field="--fitted",
            hint="--wait SECONDS gives a person the time to fit it; --fitted does not wait.",
        )  # fmt: skip


def stay_awake(station: "Station") -> Callable[[], None]:
    """Ask the camera something, so that it is not let go of; one that is busy is awake."""
    from duskhold.shutter.holder_link import HolderRefused

    def ask() -> None:
        with suppress(HolderRefused):
            station.link.settings()

    return ask


@dataclass(frozen=True, slots=True)
class Vigil:
    """`caught` are the signals that ended it; `awake` is called now and then. Both ways raise `Wrong` when ended."""

    countdown: Countdown
    caught: Sequence[signal.Signals]
    awake: Callable[[], None]

    def pause(self, seconds: float, line: str) -> None:
        """Wait, and say how long still."""
        ends_s, asked_s = time.monotonic() + seconds, time.monotonic()
        while (left_s := ends_s - time.monotonic()) > 0.0 and not self.caught:
            self.countdown.say(f"{line}: {clock(left_s)}   Ctrl-C leaves")
            time.sleep(min(_LOOK_S, left_s))
            asked_s = self._keep_awake(asked_s)
        self._ended()

    def enter(self, line: str) -> str:
        """Ask a person; returns what was typed before Enter."""
        self.countdown.clear()
        columns = columns_of(sys.stderr) - 1
        rows = [textwrap.fill(each, columns, subsequent_indent="  ") for each in line.split("\n")]
        print("\a" + "\n".join(rows), end=" ", file=sys.stderr, flush=True)
        asked_s = time.monotonic()
        while not self.caught and not select.select([sys.stdin], [], [], _LOOK_S)[0]:
            asked_s = self._keep_awake(asked_s)
        if self.caught:
            print(file=sys.stderr, flush=True)  # the question is left on a row of its own
        self._ended()
        typed = sys.stdin.readline()
        if not typed:
            raise Wrong("interrupted", "No answer came; the long frame was not taken.", exit_status=130)
        return typed.strip()

    def agreed(self, question: str) -> bool:
        """Ask a person what only y or yes agrees to."""
        return self.enter(f"{question} y and Enter does, Enter alone does not:").lower() in ("y", "yes")

    def until_done(self, args: argparse.Namespace, line: str) -> None:
        """A person does what `line` says: asked for Enter, or waited for, or taken for done."""
        if args.wait is not None:
            self.pause(args.wait, line)
        elif not args.fitted:
            # Whoever types something else has not only pressed Enter: minutes hang on a word that was meant as no.
            question = f"{line}, then press Enter"
            while self.enter(question).lower() not in _DONE:
                question = f"Only Enter, y or done goes on; Ctrl-C leaves. {line}, then press Enter"

    def _keep_awake(self, asked_s: float) -> float:
        if time.monotonic() - asked_s < _AWAKE_EVERY_S:
            return asked_s
        self.awake()
        return time.monotonic()

    def _ended(self) -> None:
        if self.caught:
            status = status_after(self.caught, 130)
            raise Wrong("interrupted", "Interrupted; the long frame was not taken.", exit_status=status)
