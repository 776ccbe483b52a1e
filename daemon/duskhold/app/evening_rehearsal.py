"""An outing rehearsed from start to end on the simulated camera, into a folder such as a real evening leaves."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

from duskhold.app.evening_account import accounts_of
from duskhold.app.evening_looking import RehearsedJudging
from duskhold.app.evening_record import mint_evening_id
from duskhold.app.evening_simulated import Say, SimulatedEvening
from duskhold.app.evening_world import Habits, Weather, World, world_of
from duskhold.app.folders import Folders
from duskhold.app.reporting import Written, gather_evening, write_evening
from duskhold.app.writing_down import record_folder
from duskhold.camera.faults import Faults, read_faults
from duskhold.camera.shot import BodyProfile
from duskhold.frames.account import Account
from duskhold.journal.entry import Frame
from duskhold.journal.journal import Journal
from duskhold.plan.evening_words import Word
from duskhold.plan.outing import Outing
from duskhold.shutter.clock import utc_now

WEATHERS: Mapping[str, Callable[[random.Random], Weather]] = {
    "clear": lambda draw: Weather((), draw.uniform(-5.0, 15.0)),
    "thin": lambda draw: Weather(_clouds(draw, 3, 0.4, 8.0), draw.uniform(-5.0, 15.0)),
    "broken": lambda draw: Weather(_clouds(draw, 12, 1.2, 3.0), draw.uniform(-5.0, 15.0)),
}
"""No cloud; thin cloud that passes; torn cloud all evening."""
PEOPLE: Mapping[str, Habits] = {
    "prompt": Habits(),
    "late": Habits(answer_s=(150.0, 420.0)),
    "careless": Habits(careless=0.5),
    "away": Habits(absent=1.0, resumes=0.0),
}
"""Who answers: at once; minutes late; half the time without having done it; nobody."""
_SIZE = (768, 512)
_MOST_FRAMES = 5000
_SLEEP_MAX_S = 0.2


@dataclass(frozen=True, slots=True)
class Staging:
    """How to rehearse. `speed` is simulated seconds per real one, None for as fast as can be; `crash_after_s` ends
    the program there, counted from ten minutes before the start, and starts it again."""

    seed: int
    weather: str | None = None
    person: str = "prompt"
    faults: tuple[str, ...] = ()
    speed: float | None = None
    crash_after_s: float | None = None


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """What became of it, and where it lies; `levels` is how bright the land came out, in stops from a mid-tone."""

    world: World
    folder: Path
    frames: tuple[Frame, ...]
    reason: str
    line: str
    written: Written | None
    levels: Mapping[str, float]


def stage_world(outing: Outing, staging: Staging) -> World:
    """The world of a rehearsal. Raises `ValueError` for faults that are none; `BadOuting`."""
    draw = random.Random(f"staging:{staging.seed}")
    world = world_of(outing, staging.seed)
    faults: Faults = read_faults(staging.faults, staging.seed)
    weather = world.weather if staging.weather is None else WEATHERS[staging.weather](draw)
    profile = BodyProfile(width=_SIZE[0], height=_SIZE[1])
    return replace(world, weather=weather, habits=PEOPLE[staging.person], faults=faults, profile=profile)


def rehearse_outing(
    outing: Outing, outing_text: str, staging: Staging, folders: Folders, say: Say, stop: Callable[[], bool]
) -> Rehearsed:
    """The whole evening, in a folder of its own. `stop` says whether the person wants to leave: it then ends as if
    they had said so on the evening itself.

    Raises `BadOuting`, `ValueError`, `JournalError`, `StoreError` or `OSError`.
    """
    world = stage_world(outing, staging)
    evening_id = mint_evening_id(outing, world.begins_utc)
    folder = folders.simulated().data / "rehearsals" / f"{utc_now():%Y%m%d-%H%M%S-%f}-{evening_id}-seed-{staging.seed}"
    folder.mkdir(parents=True)
    own = Folders(folder, folders.state, folders.runtime)
    with Journal.open(own.journal) as journal, RehearsedJudging(own) as judging:
        evening = SimulatedEvening(
            outing,
            world,
            own,
            journal,
            evening_id,
            outing_text,
            say,
            _pace(staging.speed),
            staging.crash_after_s,
            judging,
        )
        leaving = _Leaving(evening, stop)
        evening.at(leaving.every_s, leaving.look)
        try:
            evening.run()
            evening.go_home()
        finally:
            evening.close()
        frames = tuple(reversed(journal.frames(_MOST_FRAMES)))
        accounts = accounts_of(journal, frames)
        state = evening.evening.state
    reason = "not_ended" if state.stop is None else state.stop.value
    written = _write(own, frames, outing, accounts)
    return Rehearsed(world, folder, frames, reason, state.stop_line, written, evening.log.levels)


@dataclass(slots=True)
class _Leaving:
    """Looks now and then whether the person who watches wants to leave."""

    evening: SimulatedEvening
    stop: Callable[[], bool]
    every_s: float = 1.0

    def look(self) -> None:
        if self.stop():
            self.evening.say(Word.LEAVING)
        else:
            self.evening.at(self.evening.elapsed_s + self.every_s, self.look)


def _pace(speed: float | None) -> Callable[[float], None]:
    if speed is None:
        return lambda seconds: None

    def wait(seconds: float) -> None:
        left_s = seconds / speed
        while left_s > 0.0:
            time.sleep(min(left_s, _SLEEP_MAX_S))
            left_s -= _SLEEP_MAX_S

    return wait


def _write(
    folders: Folders, frames: tuple[Frame, ...], outing: Outing, accounts: tuple[Account, ...]
) -> Written | None:
    """The report, for the day on which the evening began."""
    if not frames:
        return None
    day = frames[0].written.utc.date()
    of_evening = [frame for frame in frames if frame.written.utc - frames[0].written.utc < timedelta(hours=24)]
    evening = gather_evening(of_evening, day, outing.place, accounts=accounts)
    return write_evening(evening, record_folder(folders, day), day)


def _clouds(draw: random.Random, count: int, depth: float, spread_min: float) -> tuple[tuple[float, float, float], ...]:
    return tuple(
        (draw.uniform(-10.0, 70.0), spread_min * draw.uniform(0.5, 2.0), draw.uniform(0.2, 1.0) * depth)
        for _ in range(count)
    )
