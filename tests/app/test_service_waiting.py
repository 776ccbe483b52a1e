"""The service while no evening runs: it waits for the time to be confirmed, for outings, and for being told to end.

Real time, tenths of a second: the service's own threads and its scheduler.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from duskhold.app import service as module
from duskhold.app.clock_gate import ClockWord
from duskhold.app.evening_bell import Bell
from duskhold.app.evening_run import Hooks, Place
from duskhold.app.folders import Folders
from duskhold.app.service import Service, Surroundings
from duskhold.app.service_notice import ServiceNotice
from duskhold.app.settings import Settings
from duskhold.journal.journal import Journal


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


@pytest.fixture
def waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Waiting]:
    monkeypatch.setattr(module, "system_word", lambda: ClockWord(False, "nobody says that the time is right"))
    monkeypatch.setattr(module, "HEARTBEAT_S", 0.1)
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
    assert service.hear("done")["answers"] == ["the time is right, says a person"]
    until(lambda: "soon.yaml: starts" in str(service.hear("state")["waiting"]))
    until(lambda: any("STATUS=soon.yaml" in said for said in waiting.notice.said))


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
