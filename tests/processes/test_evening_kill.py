"""Daemon, keeper and holder killed at any moment of a running evening; the body's log is the truth.

Real time, because what is tested is the death of real processes. The moments come from a seed, which a failure shows.
"""

from __future__ import annotations

import random
import time
from datetime import UTC, datetime

import pytest
from evening_rig import OUTING, EveningRig
from rig import Rig

QUIET_S = 0.8
WHO = ("daemon", "holder", "keeper")


def begun(bench: Rig) -> EveningRig:
    evening = EveningRig(bench)
    start = f'start: {{clock: "{datetime.now(UTC).isoformat(timespec="seconds")}"}}'
    lines = [start if line.startswith("start:") else line for line in OUTING.splitlines()]
    evening.begin("\n".join(lines) + "\n")
    evening.wait_until(lambda view: view["frames_done"] >= 1, 30.0)
    return evening


def kill(evening: EveningRig, who: str, after_s: float) -> None:
    """Kill it, see that nothing fires by itself, and go on as a person would."""
    bench = evening.bench
    time.sleep(after_s)
    process = evening.process
    assert process is not None
    if who == "daemon":
        process.kill()
        process.communicate()
        evening.start()
        evening.wait_until(lambda view: view["phase"] == "held", 40.0)
        opened = evening.opened()
        time.sleep(QUIET_S)
        assert evening.opened() == opened, "fired on its own after a restart"
    else:
        pid = bench.holder_pid() if who == "holder" else bench.keeper_pid()
        if pid is not None:
            bench.kill(pid)
    if who != "keeper":  # whose death nobody notices before the holder's
        done = (evening.view() or {"frames_done": 0})["frames_done"]
        evening.wait_until(lambda view: _goes_on(evening, view, done), 40.0)
    evening.ensure_sound()


def _goes_on(evening: EveningRig, view: dict[str, object], done: int) -> bool:
    if view["phase"] == "held":
        evening.say("resume")
    frames = view["frames_done"]
    assert isinstance(frames, int)
    return frames > done


def end(evening: EveningRig) -> None:
    evening.say("leaving")
    assert evening.process is not None
    status, story = evening.bench.finish(evening.process, 40.0)
    assert story["stop"]["reason"] == "left_by_person"
    assert status in (0, 4), story
    evening.ensure_sound()
    evening.ensure_told()


def kills(bench: Rig, count: int, seed: int) -> None:
    chance = random.Random(seed)
    evening = begun(bench)
    moments = [(WHO[number % len(WHO)], chance.uniform(0.0, 1.8)) for number in range(count)]
    for number, (who, after_s) in enumerate(moments):
        try:
            kill(evening, who, after_s)
        except AssertionError as error:
            raise AssertionError(f"seed {seed}, kill {number}: {who} after {after_s:.3f} s: {error}") from error
    end(evening)


def test_ten_kills_at_any_moment_of_an_evening(bench: Rig) -> None:
    kills(bench, 10, seed=20261125)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_two_hundred_kills(bench: Rig, seed: int) -> None:
    kills(bench, 20, seed)
