"""`duskhold run` on the served body: a pulled lead, keys at a terminal, Ctrl-C, a second evening, words from elsewhere.

Real time: real processes, the real library, and the body's own log.
"""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime

import pytest
from evening_rig import OUTING, SETTINGS, EveningRig
from rig import Rig


def outing(first_s: float, more: str = "") -> str:
    start = f'start: {{clock: "{datetime.now(UTC).isoformat(timespec="seconds")}"}}'
    lines = [start if line.startswith("start:") else line for line in OUTING.splitlines()]
    text = "\n".join(lines).replace("first_s: 0.8", f"first_s: {first_s}").replace("longest_s: 2", "longest_s: 60")
    return f"{text}\n{more}"


@pytest.mark.parametrize("after", [pytest.param("stop", marks=pytest.mark.slow), "resume"])
def test_a_pulled_lead_stops_the_series_and_what_comes_next_is_as_the_outing_says(bench: Rig, after: str) -> None:
    evening = EveningRig(bench)
    evening.begin(outing(3.0, f"after_link_loss: {after}\n"))
    opened_s = bench.wait_open()
    time.sleep(0.5)
    dropped_s = bench.body.order("drop")
    evening.wait_until(lambda view: view["phase"] in ("held", "open") and "link" in view["line"], 5.0)
    time.sleep(1.0)
    bench.body.order("return")
    (closed,) = bench.body.wait_for("closed", 1, 15.0)
    assert dropped_s - opened_s < 1.5
    if after == "resume":
        # Closed for certain, the check passed: a scout looks first, and then it goes on.
        bench.body.wait_for("opened", 2, 30.0)
    else:
        evening.wait_until(lambda view: view["phase"] == "held")
        time.sleep(1.5)
        assert evening.opened() == 1
    evening.say("leaving")
    assert evening.process is not None
    status, story = bench.finish(evening.process, 40.0)
    assert story["stop"]["reason"] == "left_by_person", story
    lost = story["frames"][0]
    assert lost["outcome"] in ("link_lost", "cut_short")
    # The record has the true open time once it is known.
    assert lost["open_s"] == pytest.approx(closed.now_mono - opened_s, abs=0.3)
    assert status in (0, 4)
    evening.ensure_sound()
    evening.ensure_told()


def test_ctrl_c_closes_keeps_and_ends_with_the_record(bench: Rig) -> None:
    evening = EveningRig(bench)
    evening.begin(outing(30.0))
    bench.wait_open()
    time.sleep(0.7)
    assert evening.process is not None
    second = bench.start("run", str(bench.folder / "outing.yaml"), "--camera", bench.body.address)
    status, refused = bench.finish(second)
    assert (status, refused["error"]["code"]) == (3, "already_running")
    evening.process.send_signal(signal.SIGINT)
    status, story = bench.finish(evening.process, 40.0)
    opened_s, closed_s = bench.one_opening()
    assert closed_s - opened_s < 8.0
    assert status == 130
    assert story["stop"] == {"reason": "left_by_person", "line": "you leave; get home safely"}
    (frame,) = story["frames"]
    assert frame["outcome"] == "cut_short" and frame["role"] == "long"
    assert frame["open_s"] == pytest.approx(closed_s - opened_s, abs=0.2)
    assert frame["decision"]["aperture"] == "f/8"
    evening.ensure_told()
    status, nobody = bench.run("tell", "close")
    assert (status, nobody["error"]["code"]) == (3, "nothing_runs")


@pytest.mark.slow
def test_keys_and_the_countdown_at_a_terminal(bench: Rig) -> None:
    (bench.folder / "settings.yaml").write_text(SETTINGS, encoding="utf-8")
    (bench.folder / "outing.yaml").write_text(outing(40.0), encoding="utf-8")
    ours, theirs = pty.openpty()
    words = ["run", str(bench.folder / "outing.yaml"), "--time-is-right", "--camera", bench.body.address]
    words += ["--settings", str(bench.folder / "settings.yaml"), "--data", str(bench.folder / "data")]
    process = subprocess.Popen(
        [sys.executable, "-m", "duskhold", *words],
        env=bench.environment, stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
    )  # fmt: skip
    os.close(theirs)
    shown = ""

    def read_until(text: str, within_s: float = 20.0) -> None:
        nonlocal shown
        give_up_s = time.monotonic() + within_s
        while text not in shown:
            assert time.monotonic() < give_up_s, shown
            if select.select([ours], [], [], 0.1)[0]:
                shown += os.read(ours, 4096).decode(errors="replace")

    try:
        read_until("c close and keep")
        read_until("OPEN  ")
        os.write(ours, b"c")
        bench.body.wait_for("closed", 1, 10.0)
        read_until("looks at the picture")
        os.write(ours, b"h")
        read_until("HELD")
        os.write(ours, b"l")
        read_until("you leave; get home safely")
        read_until("Frames")
        assert process.wait(20.0) == 0
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        os.close(ours)
    assert len(bench.openings()) == 1
    assert bench.pictures_home()
