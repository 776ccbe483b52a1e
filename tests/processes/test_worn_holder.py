"""A holder that has served long enough is followed at once by another, between two frames. Real processes."""

from __future__ import annotations

import subprocess
import sys

from rig import Rig

from duskhold.shutter.blackbox import BlackBox


def start_worn_keeper(bench: Rig) -> None:
    """A keeper whose holders take two frames each."""
    shared = ["--runtime", str(bench.places.runtime), "--state", str(bench.places.state)]
    holder = [sys.executable, "-m", "duskhold.shutter.holding", "--camera", bench.body.address, *shared]
    line = [sys.executable, "-m", "duskhold.shutter.keeper", *shared, "--", *holder, "--recycle-after", "2"]
    subprocess.run(line, env=bench.environment, stdin=subprocess.DEVNULL, check=True)


def test_after_its_frames_a_holder_is_replaced_between_two_of_them(bench: Rig) -> None:
    start_worn_keeper(bench)
    pids = []
    for _ in range(5):
        status, record = bench.run("expose", "--for", "0.5")
        assert status == 0, record
        assert record["earlier"] == []
        pids.append(bench.wait_until(lambda state: state["phase"] == "ready")["pid"])
    keeper = bench.keeper_pid()
    assert keeper is not None
    # The successor of the second and of the fourth frame answers before the command that took them has ended.
    assert pids[0] != pids[1] == pids[2] != pids[3] == pids[4]
    box = BlackBox(bench.places.black_box)
    words = [line.word for line in box.lines() if line.word in ("started", "recycled", "died")]
    assert words == ["started", "recycled", "started", "recycled", "started"]
    assert len(bench.openings()) == 5
    assert bench.pictures_home()
