"""Signals told to a thread at once, whatever the main thread waits for; nothing is done inside a handler."""

import os
import select
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from duskhold.faces.trouble import EXIT_OF_SIGNAL, catching_signals

_LOOK_S = 0.5


@contextmanager
def hearing_signals(hear: Callable[[signal.Signals], None]) -> Iterator[list[signal.Signals]]:
    """`hear` is called with each signal in a thread of its own; yields the list of those caught."""
    reading, writing = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
    over = threading.Event()

    def listen() -> None:
        while not over.is_set():
            if select.select([reading], [], [], _LOOK_S)[0]:
                for number in os.read(reading, 64):
                    if number in EXIT_OF_SIGNAL:
                        hear(signal.Signals(number))

    thread = threading.Thread(target=listen, name="signals", daemon=True)
    with catching_signals() as caught:
        before = signal.set_wakeup_fd(writing, warn_on_full_buffer=False)
        thread.start()
        try:
            yield caught
        finally:
            signal.set_wakeup_fd(before)
            over.set()
            thread.join()
            os.close(reading)
            os.close(writing)
