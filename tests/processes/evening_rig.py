"""An evening of short frames on the served body, by the real command, and what must hold of it whoever is killed."""

from __future__ import annotations

import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from rig import Rig

from duskhold.app.evening_socket import evening_socket
from duskhold.app.folders import folders_for
from duskhold.app.word_socket import NothingRuns, ask
from duskhold.journal.journal import Journal
from duskhold.shutter.clock import mono_now_s

FRAME_S = 0.8
CAP_S = FRAME_S + 5.0
SETTINGS = "limits: {disk_reserve_mb: 50, battery_reserve_percent: 5}\n"
OUTING = f"""\
name: Many short ones
start: {{clock: "2026-01-01T00:00:00Z"}}
want: {{kind: again, first_s: {FRAME_S}, between_s: 0.1}}
kit: {{filters: [], aperture: f/8, iso: 100}}
bounds: {{longest_s: 2, shortest_s: 0.5, frames: 500}}
costs: {{storing_s: 0.2}}
"""
AT_NOW = 'start: {{clock: "{now}"}}'


@dataclass
class EveningRig:
    """`process` is the running command; `starts` counts how often it was begun."""

    bench: Rig
    process: subprocess.Popen[str] | None = None
    starts: int = 0
    outing: str = field(default="")

    def begin(self, outing: str) -> None:
        """Write settings and outing, and begin with it."""
        (self.bench.folder / "settings.yaml").write_text(SETTINGS, encoding="utf-8")
        (self.bench.folder / "outing.yaml").write_text(outing, encoding="utf-8")
        self.start()

    def start(self) -> None:
        words = ("run", str(self.bench.folder / "outing.yaml"), "--time-is-right", "--camera", self.bench.body.address)
        self.process = self.bench.start(*words, "--settings", str(self.bench.folder / "settings.yaml"))
        self.starts += 1

    def say(self, word: str) -> dict[str, Any]:
        """A word to the evening; raises `NothingRuns`."""
        folders = folders_for(str(self.bench.folder / "data"), self.bench.environment)
        return ask(evening_socket(folders), word)

    def view(self) -> dict[str, Any] | None:
        """How it stands, or None while nothing answers."""
        try:
            answer = self.say("state")
        except NothingRuns:
            return None
        view: dict[str, Any] = answer["evening"]
        return view

    def wait_until(self, what: Callable[[dict[str, Any]], bool], within_s: float = 20.0) -> dict[str, Any]:
        """The first state of the evening of which `what` is true."""
        give_up_s = mono_now_s() + within_s
        view = None
        while mono_now_s() < give_up_s:
            view = self.view()
            if view is not None and what(view):
                return view
            assert self.process is not None
            assert self.process.poll() is None, self.process.communicate()
            time.sleep(0.05)
        raise AssertionError(f"not within {within_s} s; the evening said {view}")

    def opened(self) -> int:
        """How often the body's shutter opened."""
        return len(self.bench.openings())

    def ensure_sound(self) -> None:
        """By the body's own log: never opened twice without a close, never open beyond the cap."""
        words = [line.word for line in self.bench.body.log() if line.word in ("opened", "closed")]
        assert words == ["opened", "closed"] * (len(words) // 2) + ["opened"] * (len(words) % 2)
        for opened_s, closed_s in self.bench.openings():
            assert (closed_s if closed_s is not None else mono_now_s()) - opened_s < CAP_S

    def ensure_told(self) -> None:
        """Every intent has its outcome, and every picture is at home."""
        folders = folders_for(str(self.bench.folder / "data"), self.bench.environment)
        with Journal.open(folders.journal) as journal:
            assert journal.unfinished() == []
        assert self.bench.pictures_home()
