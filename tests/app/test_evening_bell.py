"""The alarm: rings on until it is heard, runs the person's command without a shell, and waits for neither.

Real time, tenths of a second, because processes are started and ended.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from duskhold.app.evening_bell import Bell, BellTimes
from duskhold.plan.evening_words import Urgency

QUICK = BellTimes(sound_every_s=0.03, command_every_s=0.05, command_max_s=0.4)


def writes(path: Path) -> list[str]:
    """A command that writes its last word and the urgency."""
    code = "import os,sys; open(sys.argv[1], 'a').write(sys.argv[2] + '|' + os.environ['DUSKHOLD_ALARM'] + '\\n')"
    return [sys.executable, "-S", "-c", code, str(path)]


def until(holds: object, within_s: float = 10.0) -> None:
    give_up_s = time.monotonic() + within_s
    while time.monotonic() < give_up_s:
        if callable(holds) and holds():
            return
        time.sleep(0.01)
    raise AssertionError("not in time")


def test_it_sounds_on_and_on_until_it_is_heard() -> None:
    sounds: list[float] = []
    bell = Bell((), lambda: sounds.append(time.monotonic()), pytest.fail, QUICK)
    bell.ring(Urgency.DO, "fit the six")
    until(lambda: len(sounds) >= 4)
    bell.quiet()
    bell.close()
    count = len(sounds)
    time.sleep(0.1)
    assert len(sounds) == count


def test_the_command_gets_the_line_as_one_word_and_no_shell_sees_it(tmp_path: Path) -> None:
    said = tmp_path / "said"
    bell = Bell(writes(said), lambda: None, pytest.fail, QUICK)
    line = "fit `touch x`; $(six)"
    bell.ring(Urgency.LEAVE, line)
    until(lambda: said.exists() and said.read_text().count("\n") >= 2)
    bell.close()
    assert set(said.read_text().splitlines()) == {f"{line}|leave"}
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize("ends", ["heard", "in its time"])
def test_a_command_that_never_ends_is_ended(tmp_path: Path, ends: str) -> None:
    pid = tmp_path / "pid"
    code = f"import os,time; open({str(pid)!r}, 'w').write(str(os.getpid())); time.sleep(60)"
    bell = Bell([sys.executable, "-S", "-c", code], lambda: None, pytest.fail, QUICK)
    bell.ring(Urgency.FAILED, "look at the camera")
    until(lambda: pid.exists() and bool(pid.read_text()))
    first = int(pid.read_text())
    if ends == "heard":
        bell.quiet()
    until(lambda: not Path(f"/proc/{first}").exists())
    bell.close()


def test_a_command_that_is_not_there_is_said_once_and_the_bell_goes_on() -> None:
    complaints: list[str] = []
    sounds: list[int] = []
    bell = Bell(["/none/of/this"], lambda: sounds.append(1), complaints.append, QUICK)
    bell.ring(Urgency.DO, "fit the six")
    until(lambda: len(sounds) >= 5)
    bell.close()
    assert len(complaints) == 1 and "/none/of/this" in complaints[0]


def test_a_newer_alarm_takes_the_place_of_the_one_before(tmp_path: Path) -> None:
    said = tmp_path / "said"
    bell = Bell(writes(said), lambda: None, pytest.fail, QUICK)
    bell.ring(Urgency.DO, "first")
    bell.ring(Urgency.DO, "second")
    until(lambda: said.exists() and said.read_text().count("second") >= 2)
    bell.close()
    assert said.read_text().rfind("first") < said.read_text().find("second")
