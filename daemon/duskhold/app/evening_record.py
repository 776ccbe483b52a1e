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


class EveningDamaged(Exception):
    """An evening in the journal that the program cannot go over: its sentence names the evening, the event and why."""

    def __init__(self, evening_id: str, event: str, error: Exception) -> None:
        said = str(error) or type(error).__name__
        super().__init__(f"the evening {evening_id} cannot be gone over, {event}: {said}; its frames are in the record")


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
        """The newest evening of this camera by the very same outing, whether it came to its end or not.

        None where it is not among the last fifty evenings of the journal.
        """
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
        """Everything that happened, in order. Raises `EveningDamaged` at what is no event of this program."""
        for now_utc, message in self._journal.happenings(self.evening_id):
            try:
                event = event_from(message)
            except (ValueError, KeyError, TypeError) as error:
                raise EveningDamaged(self.evening_id, _named(message.get("event"), now_utc), error) from error
            yield now_utc, event

    def last_utc(self) -> datetime | None:
        """The evening's time at its last event, whatever that was; None when nothing happened yet."""
        return self._journal.last_moment(self.evening_id)

    def go_over(self, outing: Outing) -> Evening | None:
        """The evening as it stood when its program ended; None when nothing happened yet.

        What it asked for then was done or was not: nothing of it is asked for again. Raises `BadOuting`, or
        `EveningDamaged` where a step fails by a mistake of the program: it was in the journal before it was taken.
        """
        events = list(self.events())
        if not events:
            return None
        evening = Evening(outing, events[0][0])
        try:
            evening.go_over(events)
            # Whoever goes on with it asks these first.
            evening.view(evening.state.now_utc)
            evening.deadline_utc()
        except (ValueError, ArithmeticError, AssertionError) as error:
            at_utc = evening.state.now_utc
            names = [type(event).__name__ for moment, event in events if moment == at_utc]
            raise EveningDamaged(self.evening_id, _named(" or ".join(dict.fromkeys(names)), at_utc), error) from error
        return evening


def mint_evening_id(outing: Outing, begun_utc: datetime) -> str:
    """A name for an evening: when it began, and the outing's name as far as it fits a folder's."""
    plain = "".join(sign if sign.isalnum() else "-" for sign in outing.name.lower()).strip("-")
    return f"{utc_text(begun_utc)[:19].replace(':', '').replace('-', '')}-{plain[:40]}"


def _named(event: object, at_utc: datetime) -> str:
    return f"{event} at {utc_text(at_utc)}"


_LOOK_BACK = 50
