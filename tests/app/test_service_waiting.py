"""The service while no evening runs: it waits for the time to be confirmed, for outings, and for being told to end.

Real time, tenths of a second: the service's own threads and its scheduler.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import cast

import pytest

from duskhold.app import evening_clock
from duskhold.app import service as module
from duskhold.app.clock_gate import ClockWord
from duskhold.app.evening_bell import Bell
from duskhold.app.evening_clock import ClockLook
from duskhold.app.evening_run import Hooks, Place, Taken
from duskhold.app.folders import Folders
from duskhold.app.outing_calendar import Calendar, Due
from duskhold.app.service import Service, Surroundings
from duskhold.app.service_notice import ServiceNotice
from duskhold.app.settings import Settings
from duskhold.app.station import Station, stamp_now
from duskhold.journal.entry import Note
from duskhold.journal.journal import Journal
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


def test_a_spoilt_file_is_said_once(waiting: Waiting, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "CLOCK_AGAIN_S", 0.05)
    (waiting.folder / "bad.yaml").write_text("name: 5\n", encoding="utf-8")
    waiting.start()
    until(lambda: any("bad.yaml" in said for said in waiting.said))
    time.sleep(0.3)
    assert sum("bad.yaml" in said for said in waiting.said) == 1
