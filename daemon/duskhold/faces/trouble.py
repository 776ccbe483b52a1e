"""What can go wrong around a camera, as commands say it; and signals, which end no command with an open shutter."""

import signal
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from duskhold.faces.answer import Wrong

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
        hint = "If a frame was open it closes by itself; `duskhold status` tells what is known."
        raise Wrong("shutter_silent", f"{error}.", hint=hint, exit_status=4) from error
