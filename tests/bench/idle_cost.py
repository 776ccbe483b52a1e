"""What an evening costs while nothing happens: processor and memory of the daemon and of the shutter's processes.

    .venv/bin/python tests/bench/idle_cost.py [--seconds 60]

A served body behind the real camera library, and an outing that waits for its start four minutes ahead (the camera is
kept awake and its link is looked at every second), in folders of their own. Memory is PSS of proc_pid_smaps_rollup(5):
pages shared with other processes count in part.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from duskhold.app.evening_socket import evening_socket
from duskhold.app.folders import folders_for
from duskhold.app.word_socket import NothingRuns, ask
from duskhold.camera.serving import ServedBody
from duskhold.shutter.places import holder_lock, keeper_lock

OUTING = """\
name: Waits
start: {{clock: "{at}"}}
want: {{kind: again, first_s: 4}}
kit: {{filters: [], aperture: f/8, iso: 100}}
bounds: {{longest_s: 60, frames: 1}}
"""
SMALL = ("--profile", "width=192", "--profile", "height=128")
CPU_PER_SECOND = os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Start it, wait, and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=60.0)
    seconds = parser.parse_args().seconds
    with tempfile.TemporaryDirectory(prefix="dh-") as name, ServedBody(Path(name) / "body", SMALL) as body:
        folder = Path(name)
        environment = os.environ | {
            "DUSKHOLD_RUNTIME": str(folder / "run"),
            "XDG_STATE_HOME": str(folder / "state"),
            "XDG_CONFIG_HOME": str(folder / "config"),
        }
        at_utc = datetime.now(UTC) + timedelta(minutes=4)
        (folder / "outing.yaml").write_text(OUTING.format(at=at_utc.isoformat(timespec="seconds")), encoding="utf-8")
        words = ["run", str(folder / "outing.yaml"), "--camera", body.address, "--time-is-right", "--json"]
        daemon = subprocess.Popen(
            [sys.executable, "-m", "duskhold", *words, "--data", str(folder / "data")],
            env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        folders = folders_for(str(folder / "data"), environment)
        try:
            _wait(lambda: _phase(evening_socket(folders)) == "waiting")
            time.sleep(5.0)
            places = folders.places(body.address)
            pids = {"daemon": daemon.pid}
            for word, lock in (
                ("keeper", keeper_lock(places)),
                ("holder", holder_lock(places)),
            ):
                pids[word] = lock.owner() or 0
                lock.close()
            before = {word: _cpu_s(pid) for word, pid in pids.items()}
            time.sleep(seconds)
            for word, pid in pids.items():
                share = (_cpu_s(pid) - before[word]) / seconds
                print(f"{word:10} {share:8.3%} of one core   {_pss_mb(pid):6.1f} MB")
            ask(evening_socket(folders), "leaving")
            daemon.wait(30.0)
        finally:
            if daemon.poll() is None:
                daemon.kill()
            daemon.wait()


def _phase(path: Path) -> object:
    try:
        return ask(path, "state")["evening"]["phase"]
    except NothingRuns:
        return None


def _wait(holds: object, within_s: float = 60.0) -> None:
    give_up_s = time.monotonic() + within_s
    while time.monotonic() < give_up_s:
        if callable(holds) and holds():
            return
        time.sleep(0.2)
    raise SystemExit("the evening did not come up")


def _cpu_s(pid: int) -> float:
    """User and system time, proc_pid_stat(5)."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / CPU_PER_SECOND


def _pss_mb(pid: int) -> float:
    told = re.search(r"^Pss:\s+(\d+) kB", Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii"), re.MULTILINE)
    assert told is not None
    return int(told.group(1)) / 1024.0


if __name__ == "__main__":
    main()
