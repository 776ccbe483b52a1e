"""`duskhold one` at a terminal: it asks for the filter, and opens nothing before Enter, nor after Ctrl-C."""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from rig import Rig


@dataclass
class Terminal:
    """The command with a terminal as all its streams; `shown` is everything it wrote."""

    process: subprocess.Popen[bytes]
    descriptor: int
    shown: str = ""

    def wait_for(self, text: str, within_s: float = 20.0) -> None:
        give_up_s = time.monotonic() + within_s
        while text not in self.shown:
            assert time.monotonic() < give_up_s, self.shown
            if select.select([self.descriptor], [], [], 0.1)[0]:
                self.shown += os.read(self.descriptor, 4096).decode(errors="replace")

    def status(self, within_s: float = 20.0) -> int:
        give_up_s = time.monotonic() + within_s
        while self.process.poll() is None:
            assert time.monotonic() < give_up_s, self.shown
            self._drain()
        self._drain()
        return self.process.returncode

    def _drain(self) -> None:
        if select.select([self.descriptor], [], [], 0.1)[0]:
            try:
                self.shown += os.read(self.descriptor, 4096).decode(errors="replace")
            except OSError:  # the other end is closed: nothing more comes
                time.sleep(0.05)


@pytest.fixture
def terminal(bench: Rig) -> Iterator[Terminal]:
    ours, theirs = pty.openpty()
    words = ["one", "--filters", "5.3", "--base", "1/15", "--go-on", "--camera", bench.body.address]
    process = subprocess.Popen(
        [sys.executable, "-m", "duskhold", *words, "--data", str(bench.folder / "data")],
        env=bench.environment, stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
    )  # fmt: skip
    os.close(theirs)
    yield Terminal(process, ours)
    if process.poll() is None:
        process.kill()
    process.wait()
    os.close(ours)


@pytest.mark.parametrize("bench", [("--filters", "none")], indirect=True)
def test_it_opens_after_enter_and_not_before(bench: Rig, terminal: Terminal) -> None:
    terminal.wait_for("Fit the filter (5.3), then press Enter")
    time.sleep(1.5)
    assert len(bench.openings()) == 1
    bench.body.order("fit", filters="4.7")  # another filter than the one that was said
    os.write(terminal.descriptor, b"\n")
    assert terminal.status() == 0
    assert len(bench.openings()) == 2
    assert "level +0.6" in terminal.shown
    assert "4.70 stops seen" in terminal.shown and "is this the filter 5.3?" in terminal.shown
    assert bench.pictures_home()


@pytest.mark.parametrize("bench", [("--filters", "none")], indirect=True)
def test_ctrl_c_in_place_of_enter_opens_nothing_more(bench: Rig, terminal: Terminal) -> None:
    terminal.wait_for("then press Enter")
    os.kill(terminal.process.pid, signal.SIGINT)
    assert terminal.status() == 130
    assert len(bench.openings()) == 1
    assert "was not taken" in terminal.shown
    refused, base = bench.run("frames")[1]["frames"]
    assert (refused["role"], refused["outcome"], refused["open_s"]) == ("long", "refused", 0.0)
    assert "was not taken" in refused["reason"]
    assert [one["frame_id"] for one in refused["decision"]["base_frames"]] == [base["frame_id"]]
