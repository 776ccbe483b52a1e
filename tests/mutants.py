"""Deliberate bugs planted in the safety files, one at a time: the shutter's tests must catch every one.

A mutant is a file, a piece of it, and what it is replaced with. The piece must stand in the file exactly once, so that
a mutant whose code has changed is noticed.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PACKAGE = HERE.parent / "daemon" / "duskhold"
_NAMES = ("test_machine.py", "test_recycling.py", "test_box_and_wire.py", "test_control.py", "test_shutter_life.py")
TESTS = tuple(HERE / "shutter" / name for name in _NAMES)


@dataclass(frozen=True)
class Mutant:
    name: str
    file: str
    piece: str
    bug: str


MUTANTS = (
    Mutant(
        "opens while an earlier frame is not settled",
        "machine.py",
        "        if self.frame is not None:\n            return Refused",
        "        if False:\n            return Refused",
    ),
    Mutant(
        "opens before the shutter is proven closed",
        "machine.py",
        "        if self.phase is not Phase.READY:\n            return Refused",
        "        if self.phase is Phase.CLOSING:\n            return Refused",
    ),
    Mutant(
        "opens although the latch is set",
        "machine.py",
        "        if self.latched:\n            return Refused",
        "        if False:\n            return Refused",
    ),
    Mutant(
        "opens before the last frame is collected",
        "machine.py",
        "        if self.reports:\n            return Refused",
        "        if False:\n            return Refused",
    ),
    Mutant(
        "opens first and writes afterwards",
        "machine.py",
        "return [opening, Open() if exposure.kind is Kind.HELD else Dial(exposure.open_s)]",
        "return [Open() if exposure.kind is Kind.HELD else Dial(exposure.open_s), opening]",
    ),
    Mutant(
        "does not close after an opening that was refused",
        "machine.py",
        "            self.phase = Phase.CLOSING\n            return [Close()]\n        if self.phase in",
        "            self.phase = Phase.READY\n            return []\n        if self.phase in",
    ),
    Mutant(
        "forgets a request to stop that came during the opening call",
        "machine.py",
        "        if self.stop_asked:\n            frame.cause",
        "        if False:\n            frame.cause",
    ),
    Mutant(
        "ignores the cap",
        "story.py",
        "wait_s = min(self.exposure.open_s - self.exposure.latency_s, self.exposure.cap_s)",
        "wait_s = self.exposure.open_s - self.exposure.latency_s",
    ),
    Mutant(
        "adds the latency to the wait instead of taking it off",
        "story.py",
        "self.exposure.open_s - self.exposure.latency_s, self",
        "self.exposure.open_s + self.exposure.latency_s, self",
    ),
    Mutant(
        "believes a body that says nothing is open, at once",
        "machine.py",
        "if self._nothing_open < 2:",
        "if self._nothing_open < 1:",
    ),
    Mutant(
        "takes a shutter that is still open for closed",
        "machine.py",
        "if event.closing is Closing.STILL_OPEN:",
        "if False:",
    ),
    Mutant(
        "never sets the latch",
        "machine.py",
        "        self.latched = True\n",
        "        self.latched = False\n",
    ),
    Mutant(
        "sets the latch one closing early",
        "machine.py",
        "CLOSINGS_BEFORE_LATCH = 3",
        "CLOSINGS_BEFORE_LATCH = 2",
    ),
    Mutant(
        "lets the latch be cleared while the shutter may be open",
        "machine.py",
        "        if self.phase not in (Phase.READY, Phase.STORING):\n            return [Refused",
        "        if False:\n            return [Refused",
    ),
    Mutant(
        "ends a worn process before the last frame is collected",
        "machine.py",
        "if self.phase is not Phase.READY or self.frame is not None or self.reports:",
        "if self.frame is not None:",
    ),
    Mutant(
        "goes on with a session that hung",
        "machine.py",
        "if event.failure is Failure.HUNG:",
        "if False:",
    ),
    Mutant(
        "does not notice a hold that overran",
        "machine.py",
        "if frame is not None and self.phase is Phase.OPEN and now_s >= frame.due_s + OVERRUN_S:",
        "if frame is None and now_s < 0:",
    ),
    Mutant(
        "connects without closing first",
        "machine.py",
        "event.serial\n                return [Close()]",
        "event.serial\n                self.phase = Phase.READY\n                return []",
    ),
    Mutant(
        "does not look for a lost camera again",
        "machine.py",
        "return [*news, Pause(pause_s), Connect()]",
        "return news",
    ),
    Mutant(
        "tells the planned time instead of the true one",
        "story.py",
        "open_s = max(0.0, frame.closing_s - frame.opened_s + frame.exposure.latency_s)",
        "open_s = frame.exposure.open_s",
    ),
    Mutant(
        "never says that a lost frame is unknown",
        "machine.py",
        "if frame is not None and not frame.told and now_s >= frame.planned_end_s + GIVE_UP_S:",
        "if frame is not None and not frame.told and now_s < 0:",
    ),
    Mutant(
        "holds on after a request to stop",
        "hands.py",
        "            if self._desk.machine.stop_asked:\n                return HoldEnded(alive_s, hung)",
        "            if False:\n                return HoldEnded(alive_s, hung)",
    ),
    Mutant(
        "ends the frame early when the link stalls",
        "hands.py",
        "                hung = failed\n",
        "                return HoldEnded(alive_s, failed)\n",
    ),
    Mutant(
        "closes half a second late",
        "hands.py",
        "            self._sleep_until(until_s)\n        return HoldEnded",
        "            self._sleep_until(until_s + 0.5)\n        return HoldEnded",
    ),
    Mutant(
        "forgets what the last process left open",
        "leftover.py",
        '        if line.word == "opening":\n            frame = _understood(lambda line: _opening(line, boot), line)',
        '        if line.word == "opening":\n            frame = None',
    ),
    Mutant(
        "reads the stamps of another boot as its own",
        "leftover.py",
        "same_boot=line.boot == boot,",
        "same_boot=True,",
    ),
    Mutant(
        "takes a message of any length",
        "wire.py",
        "if length > LONGEST_MESSAGE_BYTES:",
        "if length < 0:",
    ),
    Mutant(
        "lets a camera call take for ever",
        "control.py",
        "if call is not None and call.overdue(now_s, self._excused_s):",
        "if call is None and self._excused_s < 0:",
    ),
    Mutant(
        "counts the time in which the machine stood still",
        "control.py",
        "if now_s > self._looked_s + STALLED_S:",
        "if now_s < 0:",
    ),
    Mutant(
        "opens although the black box has not taken it",
        "hands.py",
        "                pending.clear()  # what was not written is not done",
        "                pending.rotate(0)",
    ),
    Mutant(
        "takes any word",
        "wire.py",
        "if not isinstance(word, str) or word not in WORDS:",
        "if not isinstance(word, str):",
    ),
)


@pytest.mark.parametrize("mutant", MUTANTS, ids=[mutant.name for mutant in MUTANTS])
def test_the_mutant_is_caught(mutant: Mutant, tmp_path: Path) -> None:
    planted = tmp_path / "duskhold"
    shutil.copytree(PACKAGE, planted, ignore=shutil.ignore_patterns("__pycache__", "templates"))
    file = planted / "shutter" / mutant.file
    source = file.read_text(encoding="utf-8")
    assert source.count(mutant.piece) == 1, f"the piece stands {source.count(mutant.piece)} times in {mutant.file}"
    file.write_text(source.replace(mutant.piece, mutant.bug), encoding="utf-8")
    outcome = _run_tests(tmp_path)
    # 1 is pytest's "some tests failed"; anything else would be a mutant that does not even import.
    assert outcome.returncode == 1, outcome.stdout[-2000:]
    assert "ImportError" not in outcome.stdout and "SyntaxError" not in outcome.stdout


def test_the_unchanged_files_pass(tmp_path: Path) -> None:
    shutil.copytree(PACKAGE, tmp_path / "duskhold", ignore=shutil.ignore_patterns("__pycache__", "templates"))
    outcome = _run_tests(tmp_path)
    assert outcome.returncode == 0, outcome.stdout[-2000:]


def _run_tests(folder: Path) -> subprocess.CompletedProcess[str]:
    options = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "--hypothesis-profile=unshrunk"]
    line = [sys.executable, "-m", "pytest", *options, *map(str, TESTS)]
    return subprocess.run(
        line,
        env=os.environ | {"PYTHONPATH": str(folder)},
        cwd=HERE.parent,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
