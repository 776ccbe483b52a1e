"""The body's own log on disk: lines of JSON, written out as things happen. The outside truth of a run."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
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
        self._write(
            {"word": line.word, "now_mono": self._zero_s + line.now_s, "detail": dict(line.detail)}
            for line in body.log[self._written :]
        )
        self._written = len(body.log)

    def note(self, word: str, now_s: float, **detail: object) -> None:
        """Write what is not the body's own doing, such as its link's; `now_s` is body time."""
        self._write([{"word": word, "now_mono": self._zero_s + now_s, "detail": detail}])

    def _write(self, entries: Iterable[Mapping[str, object]]) -> None:
        text = "".join(json.dumps(entry) + "\n" for entry in entries)
        if text:
            with self._path.open("a", encoding="utf-8") as out:
                out.write(text)
