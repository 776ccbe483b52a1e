"""The keeper: starts the holder and starts it again, whatever ends it.

Its own session, so that a key press or a lost login in somebody's terminal reaches only the command. It never
touches the camera. It holds the sleep inhibitor while the shutter is open, and ends when the camera is released.
"""

from __future__ import annotations

import argparse
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder import DIED, OCCUPIED, RECYCLED, RELEASED
from duskhold.shutter.holder_link import HolderLink, HolderSilent
from duskhold.shutter.inhibitor import Inhibitor
from duskhold.shutter.log import say
from duskhold.shutter.places import Places, holder_lock, keeper_lock, log_of

LOOK_EVERY_S = 1.0
# Calls that hold the interpreter have been seen to last 5 s. While a frame is open, silence counts from its planned end
# only: a machine that stalls for some seconds is no reason to lose a frame of half an hour.
SILENCE_MAX_S = 10.0
START_SILENCE_MAX_S = 40.0  # before it listens, a holder may be trying a body that does not answer
RESTART_PAUSES_S = (0.0, 0.0, 0.2, 0.5, 1.0, 2.0, 5.0, 5.0, 5.0, 5.0, 15.0)
NOT_FOUND = 127  # as a shell says it
CALM_S = 60.0  # a holder that lived this long starts the pauses over


class Keeper:
    """Watches one holder after another."""

    def __init__(self, places: Places, command: Sequence[str]) -> None:
        self._places = places
        self._command = list(command)
        self._inhibitor = Inhibitor()
        self._told_to_end = False

    def keep(self) -> None:
        """Run until the holder has released the camera. One that died is followed even at the end: it may be open.

        One that does not even begin, as after its files were taken away, is tried a number of times then.
        """
        lock = keeper_lock(self._places)
        if not lock.take():
            return
        signal.signal(signal.SIGTERM, self._end)
        for number in (signal.SIGINT, signal.SIGHUP):
            signal.signal(number, signal.SIG_IGN)
        restarts = 0
        while True:
            began_s = mono_now_s()
            status = self._watch_one()
            self._inhibitor.release()
            if status == RELEASED or (self._told_to_end and status in (RECYCLED, OCCUPIED)):
                return
            if status == RECYCLED:
                continue
            restarts = 0 if mono_now_s() - began_s > CALM_S else restarts + 1
            if self._told_to_end and restarts > len(RESTART_PAUSES_S) and _cannot_run(status):
                return
            time.sleep(RESTART_PAUSES_S[min(restarts, len(RESTART_PAUSES_S) - 1)])

    def _watch_one(self) -> int:
        """Start or adopt a holder and watch it to its end; its exit status, as far as it can be known."""
        adopted = self._holder()
        if adopted is not None:
            self._watch(adopted)
            return DIED if self._places.socket.exists() else RELEASED
        with log_of(self._places) as log:
            try:
                child = subprocess.Popen(
                    self._command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True
                )
            except OSError as error:
                say(f"no process for the shutter could be started: {error}")
                return NOT_FOUND if isinstance(error, FileNotFoundError) else DIED
        self._watch(child.pid)
        return child.wait()

    def _watch(self, pid: int) -> None:
        descriptor = _descriptor_of(pid)
        if descriptor is None:
            return
        silent_until_s = mono_now_s() + START_SILENCE_MAX_S
        try:
            while not select.select([descriptor], [], [], LOOK_EVERY_S)[0]:
                rest_s = self._ask()
                if rest_s is not None:
                    silent_until_s = mono_now_s() + rest_s + SILENCE_MAX_S
                    self._inhibitor.follow(rest_s > 0.0)
                    if self._told_to_end:
                        _send(descriptor, signal.SIGTERM)  # it came after one that was told, and died over it
                elif mono_now_s() > silent_until_s:
                    _send(descriptor, signal.SIGKILL)
        finally:
            os.close(descriptor)

    def _holder(self) -> int | None:
        try:
            lock = holder_lock(self._places)
        except OSError as error:
            say(f"who holds the camera cannot be looked up: {error}")
            return None  # one that is started now finds out
        try:
            return lock.owner()
        finally:
            lock.close()

    def _ask(self) -> float | None:
        """How long a frame is still to be held, 0 for none (an overdue one counts a moment); None when silent."""
        link = HolderLink(self._places.socket, patience_s=0.0)
        try:
            state = link.state()
            rest_s = state["closes_in_s"]
            return 0.0 if state["frame_id"] is None or not isinstance(rest_s, float) else max(rest_s, LOOK_EVERY_S)
        except HolderSilent:
            return None
        finally:
            link.close()

    def _end(self, _number: int, _frame: object) -> None:
        """Asked to terminate (the machine goes down): pass it on; the holder closes the shutter first."""
        self._told_to_end = True
        owner = self._holder()
        if owner is not None:
            with suppress(ProcessLookupError):
                os.kill(owner, signal.SIGTERM)


def _cannot_run(status: int) -> bool:
    """Whether that is no end of a holder's own, nor of one that a signal ended: it has no camera to let go of."""
    return status > 0 and status not in (DIED, RECYCLED, OCCUPIED)


def _descriptor_of(pid: int) -> int | None:
    """A descriptor of a process, or None when it has ended. Where none is left just now, one is waited for."""
    while True:
        try:
            return os.pidfd_open(pid)
        except ProcessLookupError:
            return None
        except OSError as error:
            say(f"the shutter process is not watched yet: {error}")
        time.sleep(LOOK_EVERY_S)


def _send(descriptor: int, number: signal.Signals) -> None:
    with suppress(ProcessLookupError):  # it ended just now
        signal.pidfd_send_signal(descriptor, number)


def main(arguments: Sequence[str] | None = None) -> None:
    """Entry of the process: leave the starter's session, then keep."""
    parser = argparse.ArgumentParser(prog="duskhold-keeper")
    parser.add_argument("--runtime", type=Path, required=True)
    parser.add_argument("--state", type=Path, required=True)
    parser.add_argument("--foreground", action="store_true", help="for a service manager: do not detach")
    parser.add_argument("command", nargs="+", help="the holder's command line")
    options = parser.parse_args(arguments)
    places = Places(options.runtime, options.state)
    places.ensure_there()
    if not options.foreground:
        _detach()
    Keeper(places, options.command).keep()
    sys.exit(0)


def _detach() -> None:
    if os.fork() != 0:
        os._exit(0)
    os.setsid()


if __name__ == "__main__":
    main()
