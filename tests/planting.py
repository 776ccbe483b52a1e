"""Deliberate bugs, planted one at a time in a copy of one module: the tests that are named must catch each of them.

A mutant is a file, a piece of it, and what it is replaced with. The piece must stand in the file exactly once, so that
a mutant whose code has changed is noticed.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PACKAGE = HERE.parent / "daemon" / "duskhold"
RUNNER = HERE / "planting_runner.py"
PATIENCE_S = 240

TESTS_FAILED = 1  # pytest's own word; anything else would be a bug that does not even import


@dataclass(frozen=True, slots=True)
class Mutant:
    """`file` is below the package, `caught_by` the test that must fail, as pytest names it below tests/."""

    name: str
    file: str
    caught_by: str
    piece: str
    bug: str

    def standing(self) -> int:
        """How often the piece stands in its file."""
        return (PACKAGE / self.file).read_text(encoding="utf-8").count(self.piece)


Fates = dict[str, dict[str, Any]]


def fates(mutants: Sequence[Mutant]) -> Fates:
    """What became of each mutant by its name; and of the files as they are, by the name "", under all their tests."""
    clean = {"name": "", "file": "", "caught_by": sorted({one.caught_by for one in mutants}), "piece": "", "bug": ""}
    orders = [clean, *({**asdict(one), "caught_by": [one.caught_by]} for one in mutants)]
    done = subprocess.run(
        [sys.executable, str(RUNNER)],
        input="".join(json.dumps(order) + "\n" for order in orders),
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=True,
    )
    return {answer["name"]: answer for answer in map(json.loads, done.stdout.splitlines())}


def ensure_clean(found: Fates) -> None:
    """Fails when the files as they are do not pass, since nothing is caught then; prints how many bugs were."""
    assert found[""]["status"] == 0, found[""]["tail"]
    planted = [fate for name, fate in found.items() if name]
    print(f"\ncaught {sum(fate['status'] == TESTS_FAILED for fate in planted)} of {len(planted)}")


def ensure_caught(mutant: Mutant, found: Fates) -> None:
    """Fails when the bug was not planted, was not caught, or is one that nobody could import."""
    assert mutant.standing() == 1, f"the piece stands {mutant.standing()} times in {mutant.file}"
    fate = found[mutant.name]
    assert fate["status"] == TESTS_FAILED, fate["tail"]
    assert "ImportError" not in fate["tail"] and "SyntaxError" not in fate["tail"]
