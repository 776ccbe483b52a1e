"""Measuring in a process of its own, at the lowest priority and the first to go when memory runs out.

A question is one line of JSON on standard input, its answer one line on standard output; the process ends with its
input. The base frame of the last question is kept, so that a scout or long frame that follows is judged sooner. The
shutter's processes are never kept waiting by it: it has the lowest priority of the processor.
"""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from duskhold.frames.gauge import Gauging, gauge
from duskhold.frames.glance import Glancing, glance

if TYPE_CHECKING:
    from duskhold.frames.findings import BaseMemory

LOWEST_PRIORITY = 19
FIRST_TO_GO = "1000"  # proc(5), oom_score_adj
PATIENCE_S = 300.0
_END_S = 2.0


class MeasuringFailed(Exception):
    """The pictures could not be measured. `code` is for programs."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True, slots=True)
class Question:
    """What to compare. `limits` and `rig` are fields of `FrameLimits` and `Rig`; `area` is left, top, right, bottom, or
    the path of a weight map.

    `expected_stops` is the level of the long frame that is wanted against the base frame, `scout_expected_stops` that
    of the scout frame, None where it is not known. Without `long` the scout frame alone is judged; without both, the
    base frame is read ahead of what is to come. `crops` places are shown as evidence of a fault. `sha256` has by
    path what files had when they came home: others than these are not measured. `against` is what the verdict calls
    the base frame, where it is another kind of frame; `ignored` are codes of what is no fault between these two.
    """

    base: str
    long: str | None = None
    scout: str | None = None
    area: tuple[float, float, float, float] | str = (0.0, 0.0, 1.0, 1.0)
    expected_stops: float = 0.0
    scout_expected_stops: float | None = None
    limits: dict[str, float] = field(default_factory=dict)
    rig: dict[str, float] | None = None
    crops: int = 0
    sha256: dict[str, str] = field(default_factory=dict)
    against: str = "base frame"
    ignored: tuple[str, ...] = ()


def compare_apart(question: Question) -> dict[str, Any]:
    """The comparison of `findings.compare_files`, made in a worker. Raises `MeasuringFailed`."""
    with Worker() as worker:
        return worker.ask(question)


class Worker:
    """A measuring process, started with the first question or `prepare`, started anew when it died; one caller."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None
        self._complaints = tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace")  # noqa: SIM115 (of its life)
        self._owed = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._end()
        self._complaints.close()

    def prepare(self, question: Question) -> None:
        """Let it work on a question whose answer nobody waits for; returns at once."""
        with suppress(BrokenPipeError):  # the next question starts another
            self._say(question)
            self._owed += 1

    def ask(self, question: Question | Gauging | Glancing, patience_s: float | None = None) -> dict[str, Any]:
        """The answer. Raises `MeasuringFailed`; a process that takes longer than `patience_s` is ended."""
        ends_s = time.monotonic() + (PATIENCE_S if patience_s is None else patience_s)
        try:
            self._say(question)
            while self._owed:
                self._hear(ends_s)
                self._owed -= 1
            answer = json.loads(self._hear(ends_s))
        except (BrokenPipeError, EOFError):
            raise self._died() from None
        if "error" in answer:
            raise MeasuringFailed(answer["error"]["code"], answer["error"]["message"])
        assert isinstance(answer, dict)
        return answer

    def _say(self, question: Question | Gauging | Glancing) -> None:
        if self._process is None or self._process.poll() is not None:
            self._end()
            self._process = subprocess.Popen(
                [sys.executable, "-m", "duskhold.frames.worker"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._complaints,  # a pipe that nobody reads fills up, and stops who writes
                text=True,
                start_new_session=True,  # Ctrl-C is for whoever asked
            )
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(asdict(question)) + "\n")
        self._process.stdin.flush()

    def _hear(self, ends_s: float) -> str:
        assert self._process is not None and self._process.stdout is not None
        if not select.select([self._process.stdout], [], [], max(0.0, ends_s - time.monotonic()))[0]:
            self._end()
            raise MeasuringFailed("measuring_slow", "Measuring took too long.")
        line = self._process.stdout.readline()
        if not line:
            raise EOFError
        return line

    def _died(self) -> MeasuringFailed:
        assert self._process is not None
        code = self._process.wait()
        self._complaints.seek(0)
        last = (self._complaints.read().strip().splitlines() or ["it was ended, perhaps for want of memory"])[-1]
        self._end()
        return MeasuringFailed("measuring_died", f"The measuring process ended with {code}: {last}.")

    def _end(self) -> None:
        process, self._process, self._owed = self._process, None, 0
        if process is None:
            return
        assert process.stdin is not None and process.stdout is not None
        with suppress(BrokenPipeError):
            process.stdin.close()
        try:
            process.wait(_END_S)
        except subprocess.TimeoutExpired:  # in the middle of a picture it does not see that its input ended
            process.kill()
            process.wait()
        process.stdout.close()


def step_back() -> None:
    """Let everything else go first, for the rest of this process's life."""
    os.nice(LOWEST_PRIORITY)
    Path("/proc/self/oom_score_adj").write_text(FIRST_TO_GO, encoding="ascii")


def answer_to(line: str, memory: BaseMemory) -> dict[str, Any]:
    """The answer to one line; what is wrong with the pictures is an answer too."""
    from duskhold.frames.findings import compare_files
    from duskhold.frames.measure import MeasureError
    from duskhold.frames.picture_file import PictureUnread

    asked = json.loads(line)
    try:
        if "gauge" in asked:
            return asdict(gauge(Gauging(**asked), memory))
        if "glance" in asked:
            return asdict(glance(Glancing(**asked)))
        asked["area"] = asked["area"] if isinstance(asked["area"], str) else tuple(asked["area"])
        return compare_files(Question(**asked), memory)
    except (PictureUnread, MeasureError) as error:
        return {"error": {"code": error.code, "message": str(error)}}
    except OSError as error:
        return {"error": {"code": "picture_missing", "message": f"{error.filename}: {error.strerror}."}}


def main() -> None:
    """Answer questions until there are no more."""
    step_back()
    from duskhold.frames.findings import BaseMemory

    memory = BaseMemory()
    for line in sys.stdin:
        sys.stdout.write(json.dumps(answer_to(line, memory), allow_nan=False) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
