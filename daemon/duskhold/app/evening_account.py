"""An evening's account from its journal: why it ended, what was asked and what came of that, what was lost and why."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from duskhold.frames.account import Account, Asked, Loss
from duskhold.journal.entry import Frame
from duskhold.journal.journal import Journal
from duskhold.plan.evening_words import Said, Word


def accounts_of(journal: Journal, frames: Sequence[Frame]) -> tuple[Account, ...]:
    """Of every evening that took one of these frames, in their order. Raises `JournalError`."""
    named = (one.asked.decision.get("evening_id") for one in frames)
    return tuple(account_of(journal, one) for one in dict.fromkeys(named) if isinstance(one, str))


def account_of(journal: Journal, evening_id: str) -> Account:
    """Of one. Raises `JournalError`."""
    # What a person said comes before what was told of it.
    said = [
        (at_utc, 0, str(event["word"]), event)
        for at_utc, event in journal.happenings(evening_id)
        if event.get("event") == Said.__name__
    ]
    told = [(at.utc, 1, note.word.removeprefix("evening_"), note.detail) for note, at in journal.notes_of(evening_id)]
    book = _Book(evening_id)
    for at_utc, is_told, word, detail in sorted([*said, *told], key=lambda one: one[:2]):
        if is_told:
            book.read(at_utc, word, detail)
        else:
            book.hear(at_utc, word)
    return book.account()


@dataclass(slots=True)
class _Book:
    """The account as it is put together."""

    evening_id: str
    stopped: tuple[datetime, str, str] | None = None
    asked: list[Asked] = field(default_factory=list)
    losses: list[Loss] = field(default_factory=list)
    held: Loss | None = None

    def account(self) -> Account:
        at_utc, reason, line = self.stopped or (None, "", "")
        return Account(self.evening_id, at_utc, reason, line, tuple(self.asked), tuple(self.losses))

    def hear(self, at_utc: datetime, word: str) -> None:
        """A person's word, as far as it answers something."""
        if word == Word.DONE.value and self.asked and self.asked[-1].is_open:
            self.asked[-1].course.append((at_utc, "answered", ""))
        if word in (Word.RESUME.value, Word.LEAVING.value):
            self._go_on(at_utc)

    def read(self, at_utc: datetime, word: str, detail: Mapping[str, Any]) -> None:
        """What the evening told."""
        line = str(detail.get("line", ""))
        match word:
            case "prompt":
                self.asked.append(Asked(at_utc, line.removesuffix(", then say done")))
            case "denied" | "unverified" if self.asked:
                self.asked[-1].course.append((at_utc, word, line))
            case "verified" | "unanswered" if self.asked:
                self.asked[-1].course.append((at_utc, word, ""))
            case "held":
                self._hold(at_utc, _cause(line))
            case "picture_fault" | "fault" | "alarm_missed":
                self.losses.append(Loss(at_utc, line))
            case "stop" if self.stopped is None:
                self.stopped = (at_utc, str(detail.get("reason", "")), line)
                self._go_on(at_utc)

    def _hold(self, at_utc: datetime, line: str) -> None:
        """A worse reason may follow while it is held."""
        if self.held is None:
            self.held = Loss(at_utc, line, is_wait=True)
            self.losses.append(self.held)
        self.held.line = line

    def _go_on(self, at_utc: datetime) -> None:
        if self.held is not None:
            self.held.until_utc, self.held = at_utc, None


def _cause(line: str) -> str:
    """Without what a person was to say then; `held` alone is a person's own word."""
    cause = re.sub(r"[:;,] (look, then )?say resume.*$", "", line)
    return "somebody said hold" if cause == "held" else cause
