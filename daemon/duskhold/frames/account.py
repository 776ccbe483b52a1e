"""What an evening did beside its frames, in plain sentences: why it ended, what was asked of a person, what was lost.

Clocks are UTC, as everywhere on the page.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from duskhold.plan.stamp import utc_text

STEPS: Mapping[str, str] = {
    "answered": "answered",
    "unanswered": "nobody had answered by",
    "verified": "proven by the pixels",
    "denied": "denied by the pixels",
    "unverified": "taken for done",
}
"""What may become of something that a person is asked, in the evening's words and in the page's."""


@dataclass(slots=True)
class Asked:
    """Something that a person was asked to do, and what came of it: when, one of `STEPS`, and what more was said."""

    at_utc: datetime
    line: str
    course: list[tuple[datetime, str, str]] = field(default_factory=list)

    @property
    def is_open(self) -> bool:
        """Whether nobody has answered."""
        return not self.course or self.course[-1][1] in ("unanswered", "denied")

    def sentence(self) -> str:
        """All of it in one."""
        steps = [f"{STEPS[word]} {clock(at_utc)}{f' ({more})' if more else ''}" for at_utc, word, more in self.course]
        return f"{clock(self.at_utc)} {self.line}: {', '.join(steps) or 'never answered'}."


@dataclass(slots=True)
class Loss:
    """What cost light or a frame, and why. `until_utc` is None where it did not last, or never ended."""

    at_utc: datetime
    line: str
    is_wait: bool = False
    until_utc: datetime | None = None

    def sentence(self) -> str:
        """With how long it took."""
        if not self.is_wait:
            return f"{clock(self.at_utc)} {self.line}."
        if self.until_utc is None:
            return f"{clock(self.at_utc)} to the end, held: {self.line}."
        whole_s = round((self.until_utc - self.at_utc).total_seconds())
        waited = f"{whole_s // 60}:{whole_s % 60:02d}"
        return f"{clock(self.at_utc)} to {clock(self.until_utc)} ({waited}), held: {self.line}."


@dataclass(frozen=True, slots=True)
class Account:
    """One evening. `stopped_utc` is None for a series that has not come to its end; `reason` is a word for programs."""

    evening_id: str
    stopped_utc: datetime | None
    reason: str
    line: str
    asked: Sequence[Asked]
    losses: Sequence[Loss]

    def ending(self) -> str:
        """Why it ended."""
        if self.stopped_utc is None:
            return "The series has not come to its end: its program ended before it."
        return f"The series ended at {clock(self.stopped_utc)}: {self.line} ({self.reason.replace('_', ' ')})."

    def sentences(self) -> list[str]:
        """All of it, why it ended first."""
        return [self.ending(), *(one.sentence() for one in self.asked), *(one.sentence() for one in self.losses)]

    def body(self) -> dict[str, object]:
        """In the words of the interface."""
        stop = None
        if self.stopped_utc is not None:
            stop = {"reason": self.reason, "line": self.line, "at_utc": utc_text(self.stopped_utc)}
        asked = [
            {
                "at_utc": utc_text(one.at_utc),
                "line": one.line,
                "course": [
                    {"at_utc": utc_text(at_utc), "word": word, "line": more} for at_utc, word, more in one.course
                ],
            }
            for one in self.asked
        ]
        losses = [
            {"at_utc": utc_text(one.at_utc), "until_utc": _utc(one.until_utc), "held": one.is_wait, "line": one.line}
            for one in self.losses
        ]
        return {"evening_id": self.evening_id, "stop": stop, "prompts": asked, "losses": losses}


def _utc(at_utc: datetime | None) -> str | None:
    return None if at_utc is None else utc_text(at_utc)


def clock(at_utc: datetime) -> str:
    """Hours, minutes and seconds."""
    return f"{at_utc:%H:%M:%S}"
