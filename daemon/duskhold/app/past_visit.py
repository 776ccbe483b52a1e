"""The camera visited once by the service while it waits: its clock is asked, and what earlier runs left is settled.

The clock is asked anew after it was set, what is left over only until it is settled.

In a thread of its own, since a camera may answer in a minute, in the evening, or not at all. Nothing is kept awake
afterwards: the shutter process that nobody asks lets the camera go.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

from duskhold.app.clock_gate import CAMERA, ClockWord, camera_word
from duskhold.app.evening_run import Place
from duskhold.app.exposing import Watch
from duskhold.app.folders import FolderUnsafe
from duskhold.app.settling import settle_the_past
from duskhold.app.station import Station
from duskhold.journal.database import JournalError
from duskhold.journal.entry import Frame
from duskhold.shutter.holder_link import HolderRefused, HolderSilent
from duskhold.shutter.launch import NotStarted
from duskhold.shutter.phase import Phase

LOOK_EVERY_S = 1.0
AGAIN_S = 30.0
TRIES_MAX = 3
"""A picture that a camera does not give is left to the next start: a camera in a bag is not to be kept awake."""
STOP_WITHIN_S = 5.0
_NO_CAMERA = (NotStarted, FolderUnsafe, HolderSilent, HolderRefused, JournalError, OSError)


class PastVisit:
    """`word` is asked for the time as it is known and `heard` told what the camera's clock says, both in the visit's
    own thread; `say` gets its lines. `start` and `stop` it as often as need be: what is done is not done again.
    """

    def __init__(
        self,
        place: Place,
        word: Callable[[], ClockWord | None],
        heard: Callable[[ClockWord], None],
        say: Callable[[str], None],
    ) -> None:
        self._place, self._word, self._heard, self._say = place, word, heard, say
        self._over = threading.Event()
        self._thread: threading.Thread | None = None
        self._tries_left = TRIES_MAX
        self._steps, self._asked_after = 0, -1
        self._lock = threading.Lock()
        self._last_trouble = ""

    def start(self) -> None:
        """Begin, unless it is under way or done."""
        if self._is_wanted and (self._thread is None or not self._thread.is_alive()):
            self._over.clear()
            self._thread = threading.Thread(target=self._run, name="past visit", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Let go of the camera soon; a picture that is just coming home comes first, and is not waited for."""
        self._over.set()
        if self._thread is not None:
            self._thread.join(STOP_WITHIN_S)

    def clock_was_set(self) -> None:
        """What the camera said of the clock before is void: nothing of it is heard once this returns."""
        with self._lock:
            self._steps += 1

    @property
    def _is_wanted(self) -> bool:
        return self._tries_left > 0 or self._asks_clock

    @property
    def _asks_clock(self) -> bool:
        return self._asked_after != self._steps and self._place.zone is not None and self._word() is None

    def _run(self) -> None:
        while self._is_wanted and not self._over.is_set():
            try:
                self._visit()
            except _NO_CAMERA as error:
                self._complain(str(error))
            if self._is_wanted:
                self._over.wait(AGAIN_S)

    def _visit(self) -> None:
        """Until the camera answered and was asked everything, or its shutter process let go of it."""
        with self._place.visit() as station:
            while not self._over.is_set():
                state = station.link.state()
                if state["phase"] == Phase.RELEASED.value:
                    return
                if state["phase"] == Phase.READY.value and state["frame_id"] is None:
                    self._ask(station)
                    return
                self._over.wait(LOOK_EVERY_S)

    def _ask(self, station: Station) -> None:
        if self._asks_clock:
            self._ask_clock(station)
        if self._tries_left:
            self._settle(station)

    def _ask_clock(self, station: Station) -> None:
        steps = self._steps
        word = camera_word(station, self._place.zone, ClockWord(False, f"{CAMERA} cannot be asked"))
        with self._lock:
            if steps == self._steps:  # otherwise it compared with a clock that is another one now
                self._asked_after = steps
                self._heard(word)

    def _settle(self, station: Station) -> None:
        self._tries_left -= 1
        watch = Watch(lambda _state: None, self._over.is_set, self._over.is_set)
        for frame in settle_the_past(station, watch):
            self._say(_line(frame))
        if not station.link.state()["reports"]:
            self._tries_left = 0

    def _complain(self, trouble: str) -> None:
        if trouble != self._last_trouble:
            self._say(f"what earlier runs left is looked for later: {trouble}")
        self._last_trouble = trouble


def _line(frame: Frame) -> str:
    outcome = frame.outcome
    if outcome is None:
        return f"left by an earlier run: {frame.asked.frame_id}, not known yet"
    pictures = f"{len(outcome.files)} pictures" if len(outcome.files) != 1 else "1 picture"
    said = f"left by an earlier run: {frame.asked.frame_id} {outcome.outcome}, {pictures} fetched"
    return f"{said} ({outcome.reason})" if outcome.reason else said
