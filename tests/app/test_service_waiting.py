"""The service while no evening runs: it waits for the time to be confirmed, for outings, and for being told to end.

Real time, tenths of a second: the service's own threads and its scheduler.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest
from evening_bench import VIEW

from duskhold.app import evening_clock
from duskhold.app import service as module
from duskhold.app.alarms import Alarms
from duskhold.app.clock_gate import ClockWord
from duskhold.app.evening_bell import Bell
from duskhold.app.evening_clock import ClockLook
from duskhold.app.evening_loop import Happened, Inbox
from duskhold.app.evening_run import Hooks, Place, Taken
from duskhold.app.folders import Folders
from duskhold.app.outing_calendar import AHEAD, LATE, Calendar, Due
from duskhold.app.service import Service, Surroundings
from duskhold.app.service_notice import ServiceNotice
from duskhold.app.settings import Settings
from duskhold.app.station import Station, stamp_now
from duskhold.journal.entry import Note
from duskhold.journal.journal import Journal
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import PERSON, Said, Tell, Word
from duskhold.shutter.launch import NotStarted


class Noted(ServiceNotice):
    """Keeps what the manager was told."""

    def __init__(self) -> None:
        super().__init__({})
        self.said: list[str] = []

    def _say(self, text: str) -> None:
        self.said.append(text)


class Waiting:
    """A service in a thread of its own, with its journal opened there."""

    def __init__(self, tmp_path: Path) -> None:
        folders = Folders(tmp_path / "data", tmp_path / "state", tmp_path / "run")
        self.place = Place("simulated", Settings(), folders, (), None)
        self.folder = tmp_path / "outings"
        self.folder.mkdir()
        self.notice, self.said = Noted(), list[str]()
        self.service: Service | None = None
        self.thread = threading.Thread(target=self._run)

    def start(self) -> Service:
        self.thread.start()
        until(lambda: "READY=1" in self.notice.said)
        assert self.service is not None
        return self.service

    def end(self) -> None:
        if self.thread.is_alive() and self.service is not None:
            self.service.leave("the test is over")
        self.thread.join(10.0)
        assert not self.thread.is_alive()

    def _run(self) -> None:
        hooks = Hooks(Bell((), lambda: None, self.said.append))
        with Journal.open(self.place.own.journal) as journal:
            self.service = Service(self.place, self.folder, journal, Surroundings(self.notice, self.said.append, hooks))
            self.service.run()


def until(holds: Callable[[], bool], within_s: float = 10.0) -> None:
    give_up_s = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < give_up_s, "not in time"
        time.sleep(0.02)


def no_camera(_place: Place) -> AbstractContextManager[Station]:
    raise NotStarted("no shutter process after 30 s")


@pytest.fixture
def waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Waiting]:
    monkeypatch.setattr(module, "system_word", lambda: ClockWord(False, "nobody says that the time is right"))
    monkeypatch.setattr(module, "HEARTBEAT_S", 0.1)
    monkeypatch.setattr(evening_clock, "LOOK_EVERY_S", 0.05)
    monkeypatch.setattr(Place, "visit", no_camera)
    made = Waiting(tmp_path)
    yield made
    made.end()


def test_nothing_begins_before_somebody_says_that_the_time_is_right(waiting: Waiting) -> None:
    at_utc = datetime.now(UTC) + timedelta(hours=2)
    (waiting.folder / "soon.yaml").write_text(
        f'name: Soon\nstart: {{clock: "{at_utc.isoformat(timespec="seconds")}"}}\n'
        "want: {kind: again, first_s: 4}\nkit: {filters: [], aperture: f/8, iso: 100}\nbounds: {frames: 1}\n",
        encoding="utf-8",
    )
    service = waiting.start()
    until(lambda: "time to be confirmed" in str(service.hear("state")["waiting"]))
    answer = service.hear("close")
    assert answer["error"]["code"] == "nothing_runs"  # type: ignore[index]
    answer = service.hear("done")
    assert answer["answers"] == ["the time is right, says a person"]
    assert sum("then say `duskhold tell done`" in said for said in waiting.said) == 1
    assert "soon.yaml: starts" in str(answer["waiting"])  # what it waits for now, and not what it waited for before
    until(lambda: "soon.yaml: starts" in str(service.hear("state")["waiting"]))
    until(lambda: any("STATUS=soon.yaml" in said for said in waiting.notice.said))


def test_a_clock_that_is_set_takes_back_what_a_person_said(waiting: Waiting, monkeypatch: pytest.MonkeyPatch) -> None:
    set_s = [0.0]

    def look() -> ClockLook:
        now = evening_clock.look_at_clocks()
        return replace(now, real_s=now.real_s + set_s[0])

    monkeypatch.setattr(module, "look_at_clocks", look)
    service = waiting.start()
    until(lambda: "time to be confirmed" in str(service.hear("state")["waiting"]))
    service.hear("done")
    set_s[0] += 30.0
    time.sleep(0.2)
    assert "time to be confirmed" not in str(service.hear("state")["waiting"])
    set_s[0] += 3600.0
    until(lambda: "time to be confirmed" in str(service.hear("state")["waiting"]))
    assert any("+3600 s" in said for said in waiting.said)
    assert service._past._steps == 1  # the camera is asked anew
    assert service.hear("done")["answers"]


@pytest.mark.parametrize(
    ("boot", "off_s", "asks"), [("this", 0.0, False), ("another", 0.0, True), ("this", -90.0, True)]
)
def test_a_person_is_not_asked_again_in_the_same_boot(waiting: Waiting, boot: str, off_s: float, asks: bool) -> None:
    """Unless the clock was set meanwhile: then more or less time went by on it than in the boot."""
    now = stamp_now()
    said = replace(now, utc=now.utc + timedelta(seconds=off_s), boot_id=now.boot_id if boot == "this" else boot)
    with Journal.open(waiting.place.own.journal) as journal:
        journal.note(Note("service_time_said", {}), said)
    service = waiting.start()
    until(lambda: service.hear("state")["waiting"] != "begins")
    assert ("time to be confirmed" in str(service.hear("state")["waiting"])) == asks


def test_what_is_in_the_middle_does_not_wait_for_the_time(waiting: Waiting, monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[tuple[Due, ClockWord | None]] = []

    def run(service: Service, due: Due, _alarms: object) -> None:
        begun.append((due, service._word))
        service.leave("that is enough")

    monkeypatch.setattr(Service, "_run", run)
    middle = Due(Path("middle.yaml"), datetime.now(UTC), "in the middle", cast(Taken, object()))
    monkeypatch.setattr(module, "calendar_of", lambda *_given: Calendar((middle,), ()))
    waiting.thread.start()
    until(lambda: bool(begun))
    assert begun == [(middle, None)]


def test_the_heart_beats_while_it_waits_and_the_end_is_told(waiting: Waiting, monkeypatch: pytest.MonkeyPatch) -> None:
    waiting.notice.watchdog_s = 120.0
    waiting.start()
    until(lambda: waiting.notice.said.count("WATCHDOG=1") >= 3)
    waiting.end()
    assert waiting.notice.said[-1] == "STOPPING=1"


def test_a_clock_that_is_set_back_does_not_stop_the_heart(waiting: Waiting, monkeypatch: pytest.MonkeyPatch) -> None:
    """An alarm rings by the wall clock: one that was armed before would ring an hour late, and the watchdog bite."""
    set_s, armed, arm = [0.0], list[str](), Alarms.arm

    def noted(alarms: Alarms, name: str, in_s: float, ring: Callable[[], None]) -> None:
        armed.append(name)
        arm(alarms, name, in_s, ring)

    def look() -> ClockLook:
        now = evening_clock.look_at_clocks()
        return replace(now, real_s=now.real_s + set_s[0])

    monkeypatch.setattr(module, "HEARTBEAT_S", 3600.0)
    monkeypatch.setattr(module, "look_at_clocks", look)
    monkeypatch.setattr(Alarms, "arm", noted)
    waiting.start()
    assert armed.count("heartbeat") == 1
    set_s[0] -= 3600.0
    until(lambda: armed.count("heartbeat") == 2)


def test_an_alarm_that_is_lost_is_missed_although_the_heart_beats(
    waiting: Waiting, monkeypatch: pytest.MonkeyPatch
) -> None:
    def deaf(alarms: Alarms, name: str, in_s: float, ring: Callable[[], None]) -> None:
        if name == "heartbeat":
            arm(alarms, name, in_s, ring)

    arm = Alarms.arm
    monkeypatch.setattr(Alarms, "arm", deaf)
    for name in ("CLOCK_AGAIN_S", "WAKE_MAX_S"):
        monkeypatch.setattr(module, name, 0.2)
    noted: list[str] = []
    monkeypatch.setattr(Service, "_note", lambda _self, word, _detail: noted.append(word))
    waiting.notice.watchdog_s = 120.0
    waiting.start()
    until(lambda: "alarm_overdue" in noted)
    assert waiting.notice.said.count("WATCHDOG=1") >= 2


def test_a_spoilt_file_is_said_once(waiting: Waiting, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "CLOCK_AGAIN_S", 0.05)
    (waiting.folder / "bad.yaml").write_text("name: 5\n", encoding="utf-8")
    waiting.start()
    until(lambda: any("bad.yaml" in said for said in waiting.said))
    time.sleep(0.3)
    assert sum("bad.yaml" in said for said in waiting.said) == 1


def test_an_outing_that_becomes_due_waits_for_frames_and_ends_a_rest(
    waiting: Waiting, monkeypatch: pytest.MonkeyPatch
) -> None:
    now_utc = datetime.now(UTC)
    rests, next_one = Due(Path("rests.yaml"), now_utc, "rests.yaml"), Due(Path("next.yaml"), now_utc, "next.yaml: due")
    given: list[str] = []
    heard: list[object] = []

    class Rests:
        """An evening whose heart beats twice while it is open, and once while it rests."""

        def __init__(self, _place: Place, _taken: object, _journal: Journal, hooks: Hooks, _person: object) -> None:
            self.inbox, self._hooks = Inbox(), hooks
            if given:
                assert waiting.service is not None
                waiting.service.leave("that is enough")

        def leave(self, _why: str) -> None:
            given.append("left")

        def run(self) -> object:
            for phase in (Phase.OPEN, Phase.OPEN, Phase.RESTING):
                self._hooks.follow(replace(VIEW, phase=phase), now_utc)
                self._hooks.alive()
                heard.append(self.inbox.take(0.0))
            assert waiting.service is not None
            given.append(str(waiting.service._next_line()))
            return SimpleNamespace(ended=None)

    def calendar(*asked: object) -> Calendar:
        return Calendar((next_one,) if asked[-1] == "running" else (rests, next_one), ())

    taken = SimpleNamespace(record=SimpleNamespace(evening_id="running"))
    monkeypatch.setattr(module, "take_up", lambda *_given: taken)
    monkeypatch.setattr(module, "EveningProgram", Rests)
    monkeypatch.setattr(module, "calendar_of", calendar)
    monkeypatch.setattr(module, "system_word", lambda: ClockWord(True, "the system"))
    waiting.thread.start()
    until(lambda: "left" in given)
    assert heard[:3] == [None, None, Happened(Said(Word.LEAVING))]
    assert given[0] == "next.yaml: due"
    assert sum("waits for the evening that runs" in said for said in waiting.said[:3]) == 1
    assert any("only rests is ended: next.yaml" in said for said in waiting.said)


@pytest.mark.parametrize(("source", "is_kept"), [(PERSON, True), ("the camera's clock", False)])
def test_what_an_evening_heard_of_the_time_counts_for_the_service_too(
    still: tuple[Service, list[str]], source: str, is_kept: bool
) -> None:
    service = still[0]
    hooks = service._hooks_beside("running")
    hooks.told(Tell("clock", "the clock was set by +90 s", {"step_s": 90.0}))
    assert service._word is None
    hooks.told(Tell("clock", f"the time is right, says {source}", {"source": source}))
    assert service._word == ClockWord(True, source)
    assert service._was_said() == is_kept


@pytest.fixture
def still(tmp_path: Path) -> Iterator[tuple[Service, list[str]]]:
    """A service that was not begun, and what it said."""
    folders, said = Folders(tmp_path / "data", tmp_path / "state", tmp_path / "run"), list[str]()
    place = Place("simulated", Settings(), folders, (), None)
    around = Surroundings(Noted(), said.append, Hooks(Bell((), lambda: None, said.append)))
    with Journal.open(place.own.journal) as journal:
        yield Service(place, tmp_path, journal, around), said


def test_a_start_that_passed_meanwhile_is_said_to_be_missed(still: tuple[Service, list[str]]) -> None:
    service, said = still
    at_utc = datetime.now(UTC) - AHEAD - LATE
    due = [Due(Path("late.yaml"), at_utc, "late.yaml"), Due(Path("soon.yaml"), at_utc + timedelta(minutes=2), "soon")]
    service._known = Calendar(tuple(due), ())
    service._known = service._calendar()
    service._calendar()
    assert said == ["missed, and not begun by itself: late.yaml"]


def test_a_file_that_could_not_be_begun_with_is_tried_again_once_it_is_written_anew(
    still: tuple[Service, list[str]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    service, path = still[0], tmp_path / "bad.yaml"
    path.write_text("name: 5\n", encoding="utf-8")
    due = Due(path, datetime.now(UTC), "bad.yaml")
    monkeypatch.setattr(module, "calendar_of", lambda *_given: Calendar((due,), ()))
    assert service._calendar().due == (due,)
    service._run(due, cast(Alarms, None))
    assert service._calendar().due == ()
    os.utime(path, ns=(0, 0))
    assert service._calendar().due == (due,)
