"""The one thread that calls the camera, and that waits for the end of an opening."""

from __future__ import annotations

import queue
import threading

from duskhold.shutter.desk import Desk, Errand
from duskhold.shutter.events import Started
from duskhold.shutter.hands import Hands
from duskhold.shutter.phase import Phase
from duskhold.shutter.priority import claim_real_time

IDLE_S = 0.5  # a light poll between frames
EAGER_S = 0.02


class CameraThread(threading.Thread):
    """Carries out the machine's effects, and errands in between."""

    def __init__(self, hands: Hands, desk: Desk, begin: Started) -> None:
        super().__init__(name="camera", daemon=True)
        self._hands = hands
        self._desk = desk
        self._begin = begin

    def run(self) -> None:
        notice = claim_real_time()
        if notice is not None:
            self._desk.notices.append(notice)
        self._hands.carry_out(self._desk.step(self._begin))
        while not self._hands.ended:
            self._next()
        self._desk.released = True
        self._desk.wake()

    def _next(self) -> None:
        with self._desk.looking() as machine:
            phase = machine.phase
        try:
            job = self._desk.jobs.get(timeout=IDLE_S if phase is Phase.READY else EAGER_S)
        except queue.Empty:
            self._hands.carry_out(self._hands.listen(phase))
            return
        if isinstance(job, Errand):
            self._hands.run(job)
        else:
            self._hands.carry_out(job)
