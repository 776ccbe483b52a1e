"""What can go wrong around a camera, as commands say it; and signals, which end no command with an open shutter."""

import signal
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from duskhold.faces.answer import Wrong
from duskhold.faces.countdown import Countdown, clock

if TYPE_CHECKING:
    from duskhold.app.exposing import Watch

EXIT_OF_SIGNAL = {signal.SIGINT: 130, signal.SIGTERM: 143, signal.SIGHUP: 129}


@contextmanager
def catching_signals() -> Iterator[list[signal.Signals]]:
    """Ctrl-C, a hang-up and a request to end are noted: the shutter is closed and the record told before leaving."""
    caught: list[signal.Signals] = []

    def note(number: int, _frame: object) -> None:
        caught.append(signal.Signals(number))

    before = {number: signal.signal(number, note) for number in EXIT_OF_SIGNAL}
    try:
        yield caught
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def not_asked(code: str, error: Exception) -> Wrong:
    """What a camera that could not be asked is told as; one that is in a frame is only not ready."""
    said, closes_in_s = str(error), getattr(error, "closes_in_s", None)
    rest = "" if closes_in_s is None else f"; it closes in {clock(closes_in_s).strip()}"
    busy = getattr(error, "code", "") in ("busy", "starting")
    return Wrong(code, f"{said[:1].upper()}{said[1:]}{rest}.", exit_status=3 if busy else 4)


def watch_of(countdown: Countdown, caught: Sequence[signal.Signals]) -> "Watch":
    """Show what is seen; the first signal closes and keeps, a second one leaves without waiting for the pictures."""
    from duskhold.app.exposing import Watch

    return Watch(countdown.seen, lambda: bool(caught), lambda: len(caught) > 1)


def status_after(caught: Sequence[signal.Signals], otherwise: int) -> int:
    """The exit status: that of the first signal, if one came."""
    return EXIT_OF_SIGNAL[caught[0]] if caught else otherwise


@contextmanager
def saying_trouble() -> Iterator[None]:
    """What keeps a camera from being used becomes a `Wrong`: not ready, and what to do about it."""
    from duskhold.app.bodies import ProfileDamaged
    from duskhold.app.folders import FolderUnsafe
    from duskhold.shutter.holder_link import HolderSilent
    from duskhold.shutter.launch import NotStarted

    try:
        yield
    except FolderUnsafe as error:
        raise Wrong("folder_unsafe", f"{error}.", field="--data", exit_status=3) from error
    except ProfileDamaged as error:
        raise Wrong("profile_damaged", f"{error}.", exit_status=3) from error
    except NotStarted as error:
        raise Wrong("not_started", f"{error}.", exit_status=3) from error
    except HolderSilent as error:
        hint = "Look at the camera. `duskhold status` tells what is known; the next command closes the shutter first."
        raise Wrong("shutter_silent", f"{error}.", hint=hint, exit_status=4) from error
