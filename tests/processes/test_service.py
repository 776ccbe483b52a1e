"""The service as systemd sees it: ready, alive, told to end in the middle, and going on from the journal.

Real time: real processes, and the words that the service says to its manager.
"""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from evening_rig import OUTING, SETTINGS, EveningRig
from rig import Rig


@contextmanager
def served(bench: Rig) -> Iterator[tuple[subprocess.Popen[str], socket.socket]]:
    """The service on this body, and the socket at which its manager listens."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        address = bench.folder / f"notify-{len(bench.commands)}"
        manager.bind(str(address))
        manager.settimeout(30.0)
        line = [sys.executable, "-m", "duskhold", "serve", "--json", "--data", str(bench.folder / "data")]
        line += ["--camera", bench.body.address, "--settings", str(bench.folder / "settings.yaml")]
        process = subprocess.Popen(
            [*line, "--outings", str(bench.folder / "outings")],
            env=bench.environment | {"NOTIFY_SOCKET": str(address), "WATCHDOG_USEC": "120000000"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        bench.commands.append(process)
        yield process, manager


def wait_for(manager: socket.socket, word: str) -> str:
    """The first message that begins with it."""
    give_up_s = time.monotonic() + 40.0
    while not (said := manager.recv(4096).decode()).startswith(word):
        assert time.monotonic() < give_up_s, f"no {word}; the last was {said}"
    return said


def test_it_begins_what_is_due_closes_when_told_to_end_and_goes_on_afterwards(bench: Rig) -> None:
    (bench.folder / "outings").mkdir()
    (bench.folder / "settings.yaml").write_text(SETTINGS + "zone: UTC\n", encoding="utf-8")
    start = f'start: {{clock: "{datetime.now(UTC).isoformat(timespec="seconds")}"}}'
    lines = [start if line.startswith("start:") else line for line in OUTING.splitlines()]
    text = "\n".join(lines).replace("first_s: 0.8", "first_s: 6").replace("longest_s: 2", "longest_s: 20")
    text = text.replace("frames: 500", "frames: 1")  # told to end in the last one that is wanted
    (bench.folder / "outings" / "now.yaml").write_text(text + "\n", encoding="utf-8")
    evening = EveningRig(bench)
    with served(bench) as (process, manager):
        wait_for(manager, "READY=1")
        evening.process = process
        bench.wait_open()
        process.send_signal(signal.SIGTERM)
        told_s = time.monotonic()
        out, err = process.communicate(timeout=40.0)
        assert process.returncode == 0, err
        assert json.loads(out) == {"ended_by": "SIGTERM"}
        assert time.monotonic() - told_s < 20.0
        wait_for(manager, "STOPPING=1")
    opened_s, closed_s = bench.one_opening()
    assert closed_s - opened_s < 5.5  # closed at once, and not at its own time
    with served(bench) as (process, manager):
        wait_for(manager, "READY=1")
        wait_for(manager, "STATUS=resting")  # the alarm of the restart is to be heard
        evening.process = process
        time.sleep(0.5)
        assert len(bench.openings()) == 1  # nothing fires on its own after a restart
        answer = evening.say("leaving")
        assert answer["evening"]["stop"]
        wait_for(manager, "STATUS=no outing")
        process.send_signal(signal.SIGTERM)
        assert process.wait(20.0) == 0
    evening.ensure_told()
