"""A whole evening played on the simulated camera in simulated time, and what an outside eye then finds.

Nothing here is asked of the evening machine: openings and closings are the body's own log, levels are the numbers in
the raw files, words are what a person at the terminal was told.
"""

from __future__ import annotations

import math
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import rawpy

from duskhold.app.evening_simulated import SimulatedEvening
from duskhold.app.evening_world import LAND, Habits, Weather, World, world_of
from duskhold.app.folders import Folders
from duskhold.camera.shot import BodyProfile
from duskhold.camera.stage import Light
from duskhold.journal.entry import Frame, Note
from duskhold.journal.journal import Journal
from duskhold.plan.evening_words import Take, Word
from duskhold.plan.known_light import KnownLight
from duskhold.plan.outing import Outing
from duskhold.plan.role import Role

SMALL = BodyProfile(width=192, height=128, settings={"quality": "raw"})
CLEAR = Weather()
IN_TIME = Habits(answer_s=(58.0, 58.0))
"""A change takes a minute."""
_MEMORY = Path("/dev/shm")

Drive = Callable[["Played"], None]


@dataclass
class Said:
    """A line that a person was told, in the evening's time."""

    at_utc: datetime
    word: str
    line: str


@dataclass
class Opening:
    """One opening of the shutter by the body's own log, with the role and the place of its picture."""

    role: Role
    order: Take
    opened_utc: datetime
    open_s: float
    level_stops: float | None
    aperture: str
    iso: str

    @property
    def closed_utc(self) -> datetime:
        return self.opened_utc + timedelta(seconds=self.open_s)


@dataclass
class Played:
    """An evening as it was played; `openings` and `frames` are there when it is over."""

    evening: SimulatedEvening
    world: World
    said: list[Said]
    openings: list[Opening] = field(default_factory=list)
    frames: list[Frame] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    happened: list[dict[str, Any]] = field(default_factory=list)

    def second(self, at_utc: datetime) -> float:
        """An instant in seconds of the body."""
        return (at_utc - self.world.begins_utc).total_seconds()

    def utc(self, body_s: float) -> datetime:
        return self.world.begins_utc + timedelta(seconds=body_s)

    def at(self, at_utc: datetime, act: Callable[[], None]) -> None:
        self.evening.at(self.second(at_utc), act)

    def say_at(self, at_utc: datetime, word: Word) -> None:
        """A person says a word then."""
        self.at(at_utc, lambda: self.evening.say(word))

    def light(self, light: Light) -> None:
        """Another light before the lens, from the beginning."""
        self.evening.body.stage.light = light

    def forget_the_sky(self) -> None:
        """The light is taken as it is measured, and as steady between: worked examples do so."""
        state = self.evening.evening.state
        state.light = KnownLight(None, state.outing.limits.reading_age_max_s)

    def of(self, role: Role) -> list[Opening]:
        return [one for one in self.openings if one.role is role]

    def lines(self, *words: str) -> list[Said]:
        return [one for one in self.said if one.word in words]

    def level_errors_stops(self) -> list[float]:
        """How much brighter each long frame came out than the first, in the raw files."""
        levels = [one.level_stops for one in self.of(Role.LONG)]
        assert levels and all(level is not None for level in levels), "every long frame is on the disk"
        return [level - levels[0] for level in levels if level is not None and levels[0] is not None]


@contextmanager
def played(
    outing: Outing, drive: Drive = lambda _: None, habits: Habits = IN_TIME, crash_at_s: float | None = None,
    **changes: object,
) -> Iterator[Played]:  # fmt: skip
    """Play it to its end. `drive` stages words and weather before it begins; `changes` are fields of the world."""
    staged = {"weather": CLEAR, "habits": habits, "filter_error_stops": 0.0, "profile": SMALL, **changes}
    world = replace(world_of(outing, 1), **staged)  # type: ignore[arg-type]
    home = Path(tempfile.mkdtemp(dir=_MEMORY if _MEMORY.is_dir() else None, prefix="story-"))
    try:
        folders = Folders(home, home / "state", home / "run")
        said: list[Said] = []
        with Journal.open(folders.journal) as journal:
            evening = SimulatedEvening(
                outing, world, folders, journal, "story", "outing",
                lambda at_utc, word, line: said.append(Said(at_utc, word, line)), crash_at_s=crash_at_s,
            )  # fmt: skip
            found = Played(evening, world, said)
            drive(found)
            try:
                evening.run()
                evening.go_home()
            finally:
                evening.close()
            found.frames, found.notes = list(reversed(journal.frames(500))), journal.notes(500)
            found.happened = [dict(event) for _, event in journal.happenings("story")]
            found.openings = _openings(found)
            yield found
    finally:
        shutil.rmtree(home)


def utc(clock: str, day: str) -> datetime:
    return datetime.fromisoformat(f"{day}T{clock}+00:00")


def near(moment: datetime, clock: str, within_s: float) -> bool:
    return abs((moment - utc(clock, f"{moment:%Y-%m-%d}")).total_seconds()) <= within_s


def left_told(one: Played) -> list[int]:
    """The number of long frames left, as it was told, one after the other."""
    return [int(each.line.split()[0]) for each in one.lines("left", "replanned")]


def raw_level_stops(path: Path) -> float:
    """log2 of the green mean of the land above black, straight from the file."""
    with rawpy.imread(str(path)) as raw:
        numbers = raw.raw_image_visible.astype(np.float64) - raw.black_level_per_channel[0]
        green = np.char.equal(np.array(list("RGBG"))[raw.raw_colors_visible], "G")
    height, width = numbers.shape
    rows = slice(round(LAND.top * height), round(LAND.bottom * height))
    return math.log2(float(numbers[rows, :width][green[rows, :width]].mean()))


def _openings(found: Played) -> list[Opening]:
    """The body's log, each opening with the newest order before it and its picture on the disk."""
    body = found.evening.body
    opened = [line for line in body.log if line.word == "opened"]
    closed = [line for line in body.log if line.word in ("closed", "lost")]
    orders = [(at, one) for at, one in found.evening.log.effects if isinstance(one, Take)]
    paths = {
        frame.asked.frame_id: [Path(str(one["path"])) for one in frame.outcome.files]
        for frame in found.frames
        if frame.outcome is not None
    }
    taken = [frame for frame in found.frames if frame.outcome is not None and frame.outcome.open_s != 0.0]
    assert len(opened) == len(closed) == len(taken), "each opening has its closing and its record"
    result = []
    for start, end, frame in zip(opened, closed, taken, strict=True):
        opened_utc = found.utc(start.now_s)
        order = [one for at, one in orders if at <= opened_utc][-1]
        raws = [path for path in paths[frame.asked.frame_id] if path.suffix.lower() == ".dng" and path.is_file()]
        level = raw_level_stops(raws[0]) if raws else None
        result.append(
            Opening(
                Role(frame.asked.role), order, opened_utc, end.now_s - start.now_s, level, order.aperture, order.iso
            )
        )
    return result
