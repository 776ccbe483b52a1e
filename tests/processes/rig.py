"""A served body, the real shutter processes and the real command, in folders of their own; all ended afterwards."""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from duskhold.app.folders import folders_for
from duskhold.camera.serving import ServedBody
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder_link import HolderLink, HolderSilent
from duskhold.shutter.places import Places, holder_lock, keeper_lock

SMALL = ("--profile", "width=192", "--profile", "height=128", "--profile", "storing_s=0.15")


@dataclass
class Rig:
    """Everything that one test needs of the outside world. Times are CLOCK_BOOTTIME seconds."""

    folder: Path
    body: ServedBody
    commands: list[subprocess.Popen[str]] = field(default_factory=list)

    @property
    def places(self) -> Places:
        return folders_for(str(self.folder / "data"), self.environment).places(self.body.address)

    @property
    def environment(self) -> dict[str, str]:
        return os.environ | {
            "DUSKHOLD_RUNTIME": str(self.folder / "run"),
            "XDG_STATE_HOME": str(self.folder / "state"),
            "XDG_CONFIG_HOME": str(self.folder / "config"),
        }

    def start(self, *words: str) -> subprocess.Popen[str]:
        """Start `duskhold WORDS --json` on this body."""
        line = [sys.executable, "-m", "duskhold", *words, "--json", "--data", str(self.folder / "data")]
        line += ["--camera", self.body.address] if words[0] in ("expose", "body", "check") else []
        process = subprocess.Popen(
            line,
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self.commands.append(process)
        return process

    def finish(self, process: subprocess.Popen[str], within_s: float = 30.0) -> tuple[int, dict[str, Any]]:
        """Exit status and the JSON object of a command."""
        out, err = process.communicate(timeout=within_s)
        assert out, err
        answer: dict[str, Any] = json.loads(out)
        return process.returncode, answer

    def run(self, *words: str, within_s: float = 30.0) -> tuple[int, dict[str, Any]]:
        return self.finish(self.start(*words), within_s)

    def state(self) -> dict[str, Any] | None:
        """What the holder says now, or None."""
        link = HolderLink(self.places.socket, patience_s=0.0)
        try:
            return link.state()
        except HolderSilent:
            return None
        finally:
            link.close()

    def wait_until(self, what: Callable[[dict[str, Any]], bool], within_s: float = 10.0) -> dict[str, Any]:
        """The first state of the holder of which `what` is true."""
        give_up_s = mono_now_s() + within_s
        while mono_now_s() < give_up_s:
            state = self.state()
            if state is not None and what(state):
                return state
            time.sleep(0.02)
        raise AssertionError(f"not within {within_s} s; the holder said {self.state()}")

    def wait_open(self) -> float:
        """When the body's shutter opened."""
        return self.body.wait_for("opened", 1, 15.0)[-1].now_mono

    def holder_pid(self) -> int | None:
        return holder_lock_owner(self.places)

    def keeper_pid(self) -> int | None:
        lock = keeper_lock(self.places)
        try:
            return lock.owner()
        finally:
            lock.close()

    def wait_gone(self, pid: int | None, within_s: float = 15.0) -> None:
        """Until that process has ended, whether anybody reaps it or not."""
        assert pid is not None
        try:
            descriptor = os.pidfd_open(pid)
        except ProcessLookupError:
            return
        try:
            assert select.select([descriptor], [], [], within_s)[0], f"process {pid} did not end within {within_s} s"
        finally:
            os.close(descriptor)

    def kill(self, pid: int | None) -> float:
        """SIGKILL; returns the instant."""
        assert pid is not None
        os.kill(pid, signal.SIGKILL)
        return mono_now_s()

    def openings(self) -> list[tuple[float, float | None]]:
        """The body's own record of its shutter: opened, closed."""
        pairs: list[tuple[float, float | None]] = []
        for line in self.body.log():
            if line.word == "opened":
                pairs.append((line.now_mono, None))
            elif line.word == "closed":
                pairs[-1] = (pairs[-1][0], line.now_mono)
        return pairs

    def one_opening(self) -> tuple[float, float]:
        """Opened and closed of the only opening there was."""
        ((opened_s, closed_s),) = self.openings()
        assert closed_s is not None, "left open"
        return opened_s, closed_s

    def pictures_home(self) -> bool:
        """Whether every picture on the card is on the disk, byte for byte."""
        on_card = sorted(path.read_bytes() for path in self.body.card.rglob("DSK_*") if path.is_file())
        at_home = sorted(path.read_bytes() for path in (self.folder / "data" / "frames").rglob("*DSK_*"))
        return bool(on_card) and on_card == at_home

    def end(self) -> None:
        """End what this test started, by process id: commands, then keeper, then holder."""
        for process in self.commands:
            if process.poll() is None:
                process.kill()
            process.communicate()
        for pid in (self.keeper_pid(), self.holder_pid()):
            if pid is not None:
                _end(pid)


def holder_lock_owner(places: Places) -> int | None:
    lock = holder_lock(places)
    try:
        return lock.owner()
    finally:
        lock.close()


def rig(folder: Path, options: Sequence[str]) -> Rig:
    made = Rig(folder, ServedBody(folder / "body", options))
    made.body.start()
    made.places.ensure_there()
    return made


def _end(pid: int) -> None:
    try:
        descriptor = os.pidfd_open(pid)
    except ProcessLookupError:
        return
    try:
        signal.pidfd_send_signal(descriptor, signal.SIGKILL)
    except ProcessLookupError:
        return
    finally:
        os.close(descriptor)
