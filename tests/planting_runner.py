"""Runs pure tests against planted bugs: one process, warm, and a child of it for each bug.

Reads mutants as JSON lines `{"name", "file", "caught_by": [TEST...], "piece", "bug"}` from standard input and answers
each with a line `{"name", "status", "tail"}`, where `status` is pytest's (1: some test failed). An empty `file` plants
nothing.
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
from typing import Any

import pytest

HERE = Path(__file__).parent
DAEMON = HERE.parent / "daemon"
# A layer, and those whose modules may hold on to one of it.
ABOVE = {
    "plan": ("plan", "journal", "shutter", "frames", "app"),
    "shutter": ("shutter", "app"),
}
OPTIONS = ["-x", "-q", "--noconftest", "--tb=line", "--assert=plain", "--hypothesis-profile=planted"]
OPTIONS += [word for plugin in ("cacheprovider", "xdist", "doctest", "junitxml") for word in ("-p", f"no:{plugin}")]


class Planted(importlib.abc.MetaPathFinder):
    """Finds one module in another file."""

    def __init__(self, name: str, path: Path) -> None:
        self._name, self._path = name, path

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        return spec_from_file_location(fullname, self._path) if fullname == self._name else None


def run(mutant: dict[str, Any]) -> dict[str, object]:
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


def _in_child(mutant: dict[str, Any], folder: Path, out: Path) -> int:
    with out.open("w", encoding="utf-8") as stream:
        os.dup2(stream.fileno(), 1)
        os.dup2(stream.fileno(), 2)
        if mutant["file"]:
            _plant(mutant, folder)
        tests = [str(HERE / test) for test in mutant["caught_by"]]
        status = int(pytest.main([*OPTIONS, "--rootdir", str(folder), "-c", os.devnull, *tests]))
        sys.stdout.flush()
    return status


def _plant(mutant: dict[str, Any], folder: Path) -> None:
    """Every module that may hold on to the one that is replaced is imported anew."""
    file = DAEMON / "duskhold" / mutant["file"]
    path = folder / file.name
    path.write_text(file.read_text(encoding="utf-8").replace(mutant["piece"], mutant["bug"]), encoding="utf-8")
    stale = tuple(f"duskhold.{layer}" for layer in ABOVE[file.parent.name])
    for each in [each for each in sys.modules if each.startswith(stale)]:
        del sys.modules[each]  # with the packages, which would still hand out the modules of before
    name = ".".join(file.relative_to(DAEMON).with_suffix("").parts)
    sys.meta_path.insert(0, Planted(name, path))


def _warm() -> None:
    """What every child needs and no bug is planted in: imported once."""
    sys.path[:0] = [str(HERE / "plan"), str(HERE / "shutter"), str(DAEMON)]
    import hypothesis.stateful
    import hypothesis.strategies

    import duskhold.app.evening_record
    import duskhold.journal.journal
    import duskhold.light.trend
    import duskhold.plan.evening  # noqa: F401

    found_is_enough = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
    hypothesis.settings.register_profile("planted", derandomize=True, phases=found_is_enough, print_blob=False)


if __name__ == "__main__":
    _warm()
    for line in sys.stdin:
        print(json.dumps(run(json.loads(line))), flush=True)
