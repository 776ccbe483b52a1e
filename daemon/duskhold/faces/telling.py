"""What an evening says, once: without what was rung a moment ago, and in words instead of codes."""

_ALSO_RUNG = ("prompt", "held", "denied", "stop", "in_doubt")
"""Kept in the record under their own word, and mostly said by an alarm already."""
_BACK = {"link": "the link is back", "camera": "the camera answers again"}


class Once:
    """Goes along with one evening; `said` takes everything it says, in order."""

    def __init__(self) -> None:
        self._rung = self._stop = ""

    def said(self, word: str, line: str) -> str | None:
        """What a person is to read of it, None for what was said already. `word` is `ring` for an alarm, `ended` for
        the end, else that of the record."""
        if word == "ring":
            self._rung = line
        elif word == "ended":
            return "over" if line == self._stop else f"over: {line}"
        elif word == "fault_gone":
            return _BACK.get(line, f"{line} is well again")
        elif word in _ALSO_RUNG and line in self._rung:
            self._stop = line if word == "stop" else self._stop
            return None
        if word == "stop":
            self._stop = line
        return line
