"""Measuring in a process of its own, at the lowest priority and the first to go when memory runs out.

A question is one JSON object on standard input, the answer one on standard output. The shutter's processes are never
kept waiting by it: it has the lowest priority of the processor.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

LOWEST_PRIORITY = 19
FIRST_TO_GO = "1000"  # proc(5), oom_score_adj
PATIENCE_S = 300.0


class MeasuringFailed(Exception):
    """The pictures could not be measured. `code` is for programs."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True, slots=True)
class Question:
    """What to compare. `limits` and `rig` are fields of `FrameLimits` and `Rig`; `area` is left, top, right, bottom."""

    base: str
    long: str
    scout: str | None = None
    area: tuple[float, float, float, float] = (0.0, 0.0, 1.0, 1.0)
    expected_stops: float = 0.0
    limits: dict[str, float] = field(default_factory=dict)
    rig: dict[str, float] | None = None


def compare_apart(question: Question) -> dict[str, Any]:
    """The comparison of `findings.compare_files`, made in a worker. Raises `MeasuringFailed`."""
    try:
        ended = subprocess.run(
            [sys.executable, "-m", "duskhold.frames.worker"],
            input=json.dumps(asdict(question)),
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise MeasuringFailed("measuring_slow", f"Measuring took more than {PATIENCE_S:.0f} s.") from error
    if ended.returncode != 0:
        last = (ended.stderr.strip().splitlines() or ["it was ended, perhaps for want of memory"])[-1]
        raise MeasuringFailed("measuring_died", f"The measuring process ended with {ended.returncode}: {last}.")
    answer = json.loads(ended.stdout)
    if "error" in answer:
        raise MeasuringFailed(answer["error"]["code"], answer["error"]["message"])
    assert isinstance(answer, dict)
    return answer


def step_back() -> None:
    """Let everything else go first, for the rest of this process's life."""
    os.nice(LOWEST_PRIORITY)
    Path("/proc/self/oom_score_adj").write_text(FIRST_TO_GO, encoding="ascii")


def main() -> None:
    """Read a question, answer it."""
    step_back()
    from duskhold.frames.findings import compare_files
    from duskhold.frames.picture_file import PictureUnread

    asked = json.load(sys.stdin)
    asked["area"] = tuple(asked["area"])
    try:
        answer = compare_files(Question(**asked))
    except PictureUnread as error:
        answer = {"error": {"code": error.code, "message": str(error)}}
    except OSError as error:
        answer = {"error": {"code": "picture_missing", "message": f"{error.filename}: {error.strerror}."}}
    json.dump(answer, sys.stdout, allow_nan=False)


if __name__ == "__main__":
    main()
