"""The service's visit to the camera: settled once as soon as it answers, and nothing is in its way while it does not.

Real time, hundredths of a second: the visit has a thread of its own. The station is played.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast

import pytest

from duskhold.app import past_visit
from duskhold.app.clock_gate import ClockWord
from duskhold.app.evening_run import Place
from duskhold.app.folders import Folders
from duskhold.app.past_visit import TRIES_MAX, PastVisit
from duskhold.app.settings import Settings
from duskhold.app.station import Station
from duskhold.camera.port import Setting
from duskhold.journal.entry import Frame, Intent, Outcome, Stamp
from duskhold.shutter.launch import NotStarted

ID = "20270309-172100-aaaa"
LEFT = Frame(
    Intent(ID, "usb", "long", "held", 4.0, 9.0), Stamp(datetime(2027, 3, 9, 17, 21, tzinfo=UTC), 0.0, "boot"),
    Outcome(ID, "complete", 4.0, None, None, None, "closed", True, "", files=({"path": "a.jpg"},)),
)  # fmt: skip


@dataclass
class Link:
    """A shutter process: the phases that it is found in, one look after another, and what it still has to tell."""

    phases: list[str]
    owed: int = 1
    gives: bool = True
    during: Callable[[], None] = lambda: None

    def state(self) -> dict[str, object]:
        phase = self.phases.pop(0) if len(self.phases) > 1 else self.phases[0]
        return {"phase": phase, "frame_id": None, "reports": [{"frame_id": ID}] * self.owed}

    def settings(self) -> Mapping[Setting, str]:
        self.during()
        return {Setting.CLOCK: datetime.now(UTC).strftime("%Y-%m-%d %H:%M:%S")}


@dataclass
class Desk:
    """`absent` visits find no shutter process."""

    tmp_path: Path
    link: Link
    absent: int = 0
    word: ClockWord | None = None
    visits: int = 0
    settled: int = 0
    let_go: int = 0
    heard: list[ClockWord] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    @contextmanager
    def visit(self, _place: Place) -> Iterator[Station]:
        self.visits += 1
        if self.visits <= self.absent:
            raise NotStarted("no shutter process after 30 s")
        folders = Folders(self.tmp_path, self.tmp_path, self.tmp_path)
        yield Station("usb", folders, cast(Any, None), cast(Any, self.link), Settings(), {})
        self.let_go += 1

    def settle(self, *_given: object) -> list[Frame]:
        self.settled += 1
        self.link.owed -= self.link.gives
        return [LEFT]

    def begin(self, monkeypatch: pytest.MonkeyPatch) -> PastVisit:
        monkeypatch.setattr(past_visit, "settle_the_past", self.settle)
        monkeypatch.setattr(past_visit, "LOOK_EVERY_S", 0.01)
        monkeypatch.setattr(past_visit, "AGAIN_S", 0.01)
        monkeypatch.setattr(Place, "visit", lambda place: self.visit(place))
        place = Place("usb", Settings(), Folders(self.tmp_path, self.tmp_path, self.tmp_path), (), UTC)
        made = PastVisit(place, lambda: self.word, self.heard.append, self.said.append)
        made.start()
        return made


def until(holds: Callable[[], bool]) -> None:
    give_up_s = time.monotonic() + 5.0
    while not holds():
        assert time.monotonic() < give_up_s, "not in time"
        time.sleep(0.01)


def test_it_is_settled_once_as_soon_as_the_camera_answers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = Desk(tmp_path, Link(["starting", "lost", "closing", "ready"]), absent=2)
    made = desk.begin(monkeypatch)
    until(lambda: desk.let_go == 1)
    time.sleep(0.1)
    assert (desk.visits, desk.settled) == (3, 1)
    assert [word.confirmed for word in desk.heard] == [True]
    complaint, told = desk.said
    assert "no shutter process" in complaint  # said once, however often it is tried
    assert ID in told and "1 picture fetched" in told
    made.start()
    made.stop()
    assert desk.visits == 3


def test_a_camera_that_gives_no_picture_is_let_sleep_after_some_tries(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = Desk(tmp_path, Link(["ready"], gives=False), word=ClockWord(True, "somebody"))
    made = desk.begin(monkeypatch)
    until(lambda: desk.let_go == TRIES_MAX)
    made.stop()
    assert desk.settled == TRIES_MAX and desk.heard == []


def test_nobody_waits_for_a_camera_that_is_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = Desk(tmp_path, Link(["starting", "released", "lost"]))
    made = desk.begin(monkeypatch)
    until(lambda: desk.visits == 2)  # a shutter process that let go is followed by another
    began_s = time.monotonic()
    made.stop()
    assert time.monotonic() - began_s < 1.0
    assert desk.settled == 0
    made.start()
    desk.link.phases = ["ready"]
    until(lambda: desk.settled == 1)
    made.stop()


def test_a_clock_that_was_set_is_asked_about_anew_and_nothing_is_settled_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = Desk(tmp_path, Link(["ready"]))
    made = desk.begin(monkeypatch)
    until(lambda: desk.let_go == 1)
    made.start()
    made.stop()
    assert len(desk.heard) == 1
    made.clock_was_set()
    made.start()
    until(lambda: desk.let_go == 2)
    made.stop()
    assert (len(desk.heard), desk.settled) == (2, 1)
    desk.word = ClockWord(True, "somebody")
    made.clock_was_set()
    made.start()
    made.stop()
    assert desk.visits == 2


def test_an_answer_from_before_the_clock_was_set_is_not_heard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = Desk(tmp_path, Link(["starting"]))
    made = desk.begin(monkeypatch)

    def is_set_meanwhile() -> None:
        desk.link.during = lambda: None
        made.clock_was_set()

    desk.link.during = is_set_meanwhile
    desk.link.phases = ["ready"]
    until(lambda: desk.let_go == 2)
    made.stop()
    assert len(desk.heard) == 1
