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
def terminal(bench: Rig, request: pytest.FixtureRequest) -> Iterator[Terminal]:
    ours, theirs = pty.openpty()
    settings = bench.folder / "settings.yaml"
    # So small a picture is 96 cells wide, and a cell of noise as large as the smallest drop that is looked for.
    limits = "limits: {longest_s: 6, disk_reserve_mb: 50, cap_margin_s: 3}\nverdict: {spots: 50}\n"
    settings.write_text(limits, encoding="utf-8")
    asked = getattr(request, "param", ("--filters", "5.3", "--base", "1/15", "--go-on"))
    words = ["one", *asked, "--camera", bench.body.address, "--settings", str(settings)]
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
    os.write(terminal.descriptor, b"no\n")
    terminal.wait_for("Only Enter, y or done goes on; Ctrl-C leaves.")
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
    assert "then press Enter \r\n" in terminal.shown and "was not taken" in terminal.shown
    refused, base = bench.run("frames")[1]["frames"]
    assert (refused["role"], refused["outcome"], refused["open_s"]) == ("long", "refused", 0.0)
    assert "was not taken" in refused["reason"]
    assert [one["frame_id"] for one in refused["decision"]["base_frames"]] == [base["frame_id"]]


@pytest.mark.parametrize("terminal", [("--filters", "6.9", "--scout", "never")], indirect=True)
@pytest.mark.parametrize("bench", [("--filters", "none")], indirect=True)
def test_a_slip_of_the_keys_is_asked_again_and_what_falls_short_is_a_persons_choice(
    bench: Rig, terminal: Terminal
) -> None:
    terminal.wait_for("no time to take a base frame at")
    os.write(terminal.descriptor, b"1/1z5\n")
    terminal.wait_for("cannot be set to 1/1z5")
    os.write(terminal.descriptor, b"1/15\n")
    terminal.wait_for("Fit the filter (6.9), then press Enter")
    bench.body.order("fit", filters="6.9")
    os.write(terminal.descriptor, b"\n")
    # 1/16 s through 6.9 stops is 7.46 s, and 6 s is the longest allowed: log2(7.46 / 6) = 0.32 stop short
    terminal.wait_for("Open it for 6 s all the same, 0.32 stop short? y and Enter does")
    assert "With a new base frame:" in terminal.shown and "stop wider" in terminal.shown
    assert len(bench.openings()) == 1
    os.write(terminal.descriptor, b"y\n")
    assert terminal.status() == 0, terminal.shown
    assert "taken all the same, 0.32 stop short" in terminal.shown and "level −0.3" in terminal.shown
    assert "verdict: good" in terminal.shown
    (_, _), (opened_s, closed_s) = bench.openings()
    assert closed_s is not None and closed_s - opened_s == pytest.approx(6.0, abs=0.5)
    long = next(frame for frame in bench.run("frames")[1]["frames"] if frame["role"] == "long")
    choice = long["decision"]["choice"]
    assert (choice["kind"], choice["open_s"]) == ("accept", 6.0)
    assert choice["shortfall_stops"] == pytest.approx(0.315, abs=0.005)
    assert {"aperture", "iso", "accept"} <= {way["kind"] for way in long["decision"]["ways_out"]}


@pytest.mark.parametrize("terminal", [("--filters", "d1.6", "--base", "1/15", "--scout", "always")], indirect=True)
@pytest.mark.parametrize("bench", [("--filters", "none")], indirect=True)
def test_a_scout_that_sees_another_filter_than_is_stored_asks_and_its_stops_are_taken(
    bench: Rig, terminal: Terminal
) -> None:
    terminal.wait_for("Fit the filter (d1.6), then press Enter")
    bench.body.order("fit", filters="4.95")
    os.write(terminal.descriptor, b"\n")
    terminal.wait_for("is this the filter d1.6?")
    os.write(terminal.descriptor, b"y\n")
    assert terminal.status() == 0, terminal.shown
    long = next(frame for frame in bench.run("frames")[1]["frames"] if frame["role"] == "long")
    assert long["decision"]["filter_stops"] == pytest.approx(4.95, abs=0.08)
    assert long["decision"]["filter_stops_by"] == "scout"
    assert long["decision"]["scout"]["filter_check"]["stored_stops"] == pytest.approx(5.315, abs=5e-4)  # 1.6 / log10(2)
    # A pair in steady light tells it as well as a measurement; a label's word alone would be good to 0.3 stop.
    assert long["decision"]["filter_sigma_stops"] == pytest.approx(0.03, abs=0.005)
    assert long["verdict"]["level_error_stops"] == pytest.approx(0.0, abs=0.1)
