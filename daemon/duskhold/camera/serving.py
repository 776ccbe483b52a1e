"""Starts a served body, gives it orders, reads its log and ends it: for tests, rehearsals and benchmarks."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

_END_WITHIN_S = 5.0
_LOG_POLL_S = 0.01


class ServingFailed(Exception):
    """The served body did not start, did not understand, or went away."""


@dataclass(frozen=True, slots=True)
class BodyLine:
    """One line of the body's own log; `now_mono` is CLOCK_BOOTTIME in seconds."""

    word: str
    now_mono: float
    detail: dict[str, Any]


class ServedBody:
    """A served body while the `with` block lasts. `options` are those of `duskhold.camera.served`."""

    def __init__(self, folder: Path, options: Sequence[str] = ()) -> None:
        self.card = folder / "card"
        self.log_path = folder / "body.jsonl"
        self._options = tuple(options)
        self._process: subprocess.Popen[bytes] | None = None
        self.port = 0

    @property
    def address(self) -> str:
        """Where the camera library finds it."""
        return f"ptpip:127.0.0.1:{self.port}:{self.port}"

    @property
    def pid(self) -> int:
        return self._running().pid

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, wrong: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def start(self) -> None:
        """Start the process and wait until it listens. Raises `ServingFailed`."""
        self.card.mkdir(parents=True, exist_ok=True)
        places = ["--card", str(self.card), "--log", str(self.log_path)]
        self._process = subprocess.Popen(
            [sys.executable, "-m", "duskhold.camera.served", *places, *self._options],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # Its own session: a Ctrl-C at the terminal is for whoever drives the body, not for the body.
            start_new_session=True,
        )
        self.port = int(self._hear()["port"])

    def stop(self) -> None:
        """End the process; it goes by itself when its standard input closes."""
        process, self._process = self._process, None
        if process is None:
            return
        assert process.stdin is not None and process.stdout is not None
        with suppress(BrokenPipeError):
            process.stdin.close()
        try:
            process.wait(_END_WITHIN_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        process.stdout.close()

    def order(self, word: str, **detail: object) -> float:
        """Give an order and wait until it is done; returns the body's CLOCK_BOOTTIME then.

        Orders: drop, orderly_end, return, hang, resume; strike (fault, count); slow (seconds); set (name, value);
        fit (filters); eject, insert (the card); fill (shots: how many it takes). Raises `ServingFailed`.
        """
        stdin = self._running().stdin
        assert stdin is not None
        try:
            stdin.write(json.dumps({"order": word, **detail}).encode() + b"\n")
            stdin.flush()
        except BrokenPipeError:
            raise ServingFailed("the served body has ended") from None
        heard = self._hear()
        if "failed" in heard:
            raise ServingFailed(str(heard["failed"]))
        return float(heard["now_mono"])

    def log(self) -> list[BodyLine]:
        """What the body has noted so far, in order of time."""
        text = self.log_path.read_text(encoding="utf-8") if self.log_path.exists() else ""
        whole = text[: text.rfind("\n") + 1].splitlines()
        return sorted((BodyLine(**json.loads(line)) for line in whole), key=lambda line: line.now_mono)

    def lines(self, word: str) -> list[BodyLine]:
        return [line for line in self.log() if line.word == word]

    def wait_for(self, word: str, count: int = 1, within_s: float = 5.0) -> list[BodyLine]:
        """Wait until the body has noted `word` so many times. Raises `ServingFailed` when it does not."""
        ends_s = time.monotonic() + within_s
        while len(found := self.lines(word)) < count:
            if time.monotonic() > ends_s:
                raise ServingFailed(f"the body noted {word!r} {len(found)} times in {within_s} s, not {count}")
            time.sleep(_LOG_POLL_S)
        return found

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            raise ServingFailed("the served body is not running")
        return self._process

    def _hear(self) -> dict[str, Any]:
        stdout = self._running().stdout
        assert stdout is not None
        line = stdout.readline()
        if not line:
            raise ServingFailed("the served body has ended")
        heard: dict[str, Any] = json.loads(line)
        return heard
