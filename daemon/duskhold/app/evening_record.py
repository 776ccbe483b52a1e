"""An evening in the journal: every event before anything follows from it, so that a start can go over them again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Self

from duskhold.journal import entry
from duskhold.journal.entry import Note, Stamp
from duskhold.journal.journal import Journal
from duskhold.plan.evening import Evening
from duskhold.plan.evening_words import Event, event_from, event_message
from duskhold.plan.outing import Outing
from duskhold.plan.stamp import utc_text

END = "ended"
"""The word of the note that an evening's end leaves."""


class EveningRecord:
    """The events of one evening. Every method raises `JournalError`."""

    def __init__(self, journal: Journal, evening_id: str) -> None:
        self._journal = journal
        self.evening_id = evening_id

    @classmethod
    def begin(cls, journal: Journal, evening_id: str, camera: str, outing_text: str, stamp: Stamp) -> Self:
        """A new evening, with its outing's file as it is."""
        journal.begin_evening(entry.Evening(evening_id, camera, outing_text), stamp)
        return cls(journal, evening_id)

    @classmethod
    def find(cls, journal: Journal, camera: str, outing_text: str) -> Self | None:
        """The newest evening of this camera by the very same outing that has not come to its end; None without one."""
        for one in journal.evenings(_LOOK_BACK):
            if one.camera == camera and one.outing == outing_text:
                return cls(journal, one.evening_id)
        return None

    def keep(self, event: Event, now_utc: datetime, stamp: Stamp) -> None:
        """Write it; it is on the disk when this returns."""
        self._journal.happen(self.evening_id, now_utc, event_message(event), stamp)

    def note_of(self, word: str, line: str, detail: Mapping[str, object]) -> Note:
        """What is no event, as the journal keeps it: what the evening told, and what its loop saw."""
        return Note(f"evening_{word}", {"evening_id": self.evening_id, "line": line, **detail})

    def has_end(self) -> bool:
        """Whether its end is written: known without going over it."""
        return self._journal.was_noted(f"evening_{END}", self.evening_id)

    def events(self) -> Iterator[tuple[datetime, Event]]:
        """Everything that happened, in order."""
        return ((now_utc, event_from(message)) for now_utc, message in self._journal.happenings(self.evening_id))

    def go_over(self, outing: Outing) -> Evening | None:
        """The evening as it stood when its program ended; None when nothing happened yet.

        What it asked for then was done or was not: nothing of it is asked for again.
        """
        events = list(self.events())
        if not events:
            return None
        evening = Evening(outing, events[0][0])
        evening.go_over(events)
        return evening


def mint_evening_id(outing: Outing, begun_utc: datetime) -> str:
    """A name for an evening: when it began, and the outing's name as far as it fits a folder's."""
    plain = "".join(sign if sign.isalnum() else "-" for sign in outing.name.lower()).strip("-")
    return f"{utc_text(begun_utc)[:19].replace(':', '').replace('-', '')}-{plain[:40]}"


_LOOK_BACK = 50
