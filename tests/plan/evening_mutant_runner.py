"""Runs the evening machine's pure tests against planted bugs: one process, warm, and a child of it for each bug.

Reads mutants as JSON lines `{"name", "file", "caught_by", "piece", "bug"}` from standard input and answers each with a
line `{"name", "status", "tail"}`, where `status` is pytest's (1: some test failed).
"""

from __future__ import annotations

import importlib.abc
import importlib.machinery
import json
import os
import sys
import tempfile
from collections.abc import Sequence
from importlib.util import spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest

HERE = Path(__file__).parent
PLAN = HERE.parents[1] / "daemon" / "duskhold" / "plan"
TESTS = ("test_evening_trouble.py", "test_evening_person.py")


class Planted(importlib.abc.MetaPathFinder):
    """Finds one module of the plan in another file."""

    def __init__(self, name: str, path: Path) -> None:
        self._name, self._path = name, path

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        return spec_from_file_location(fullname, self._path) if fullname == self._name else None


def run(mutant: dict[str, str]) -> dict[str, object]:
    """In a child: plant it, run the tests."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        child = os.fork()
        if child == 0:
            status = 70
            try:
                status = _in_child(mutant, Path(folder), out)
            finally:
                os._exit(status)
        _, waited = os.waitpid(child, 0)
        tail = out.read_text(encoding="utf-8")[-1500:] if out.is_file() else ""
        return {"name": mutant["name"], "status": os.waitstatus_to_exitcode(waited), "tail": tail}


def _in_child(mutant: dict[str, str], folder: Path, out: Path) -> int:
    with out.open("w", encoding="utf-8") as stream:
        os.dup2(stream.fileno(), 1)
        os.dup2(stream.fileno(), 2)
        _plant(mutant, folder)
        options = [
            "-x",
            "-q",
            "--noconftest",
            "--tb=line",
            "-W",
            "ignore",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:xdist",
            "--rootdir",
            str(folder),
        ]
        status = int(pytest.main([*options, "-c", os.devnull, *_tests(mutant["caught_by"])]))
        sys.stdout.flush()
    return status


def _tests(caught_by: str) -> list[str]:
    if not caught_by:
        return [str(HERE / name) for name in TESTS]
    word, name = caught_by.split("::")
    return [f"{HERE / f'test_evening_{word}.py'}::{name}"]


def _plant(mutant: dict[str, str], folder: Path) -> None:
    """Every module that may hold on to the one that is replaced is imported anew."""
    source = (PLAN / mutant["file"]).read_text(encoding="utf-8")
    path = folder / mutant["file"]
    path.write_text(source.replace(mutant["piece"], mutant["bug"]), encoding="utf-8")
    name = f"duskhold.plan.{path.stem}"
    for each in [
        each for each in sys.modules if each.startswith(("duskhold.plan", "duskhold.app", "duskhold.journal"))
    ]:
        del sys.modules[each]  # with the packages, which would still hand out the modules of before
    sys.meta_path.insert(0, Planted(name, path))


def _warm() -> None:
    """What every child needs and no bug is planted in: imported once."""
    sys.path[:0] = [str(HERE), str(PLAN.parents[1])]
    import hypothesis.strategies  # noqa: F401

    import duskhold.app.evening_record
    import duskhold.journal.journal
    import duskhold.light.trend
    import duskhold.plan.evening  # noqa: F401


if __name__ == "__main__":
    _warm()
    for line in sys.stdin:
        print(json.dumps(run(json.loads(line))), flush=True)
