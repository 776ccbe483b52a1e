"""The body's own log on disk: lines of JSON, written out as things happen. The outside truth of a run."""

from __future__ import annotations

import json
from pathlib import Path

from duskhold.camera.body import SimulatedBody


class BodyRecord:
    """Lines of `word`, `now_mono`, `detail`; `zero_s` is what the clock said when the body's time was 0."""

    def __init__(self, path: Path, zero_s: float) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._path = path
        self._zero_s = zero_s
        self._written = 0

    def copy(self, body: SimulatedBody) -> None:
        """Write what the body has noted since the last time."""
        lines = body.log[self._written :]
        if not lines:
            return
        with self._path.open("a", encoding="utf-8") as out:
            for line in lines:
                entry = {"word": line.word, "now_mono": self._zero_s + line.now_s, "detail": dict(line.detail)}
                out.write(json.dumps(entry) + "\n")
        self._written = len(body.log)
