"""Which outings of a folder are due, and when: worked out anew from the files and the journal each time.

An outing with a day or a clock time is run once; one without a day every time its start comes. An evening whose
program ended in the middle is due at once, before all others.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

from duskhold.app.document import DocumentWrong
from duskhold.app.evening_record import EveningDamaged, EveningRecord
from duskhold.app.evening_run import Place, Taken, find_in_the_middle
from duskhold.app.outing_file import load_outing
from duskhold.app.station import stamp_now
from duskhold.journal.journal import Journal
from duskhold.light.crossings import Direction
from duskhold.plan.moments import begins_utc, late_from_utc
from duskhold.plan.outing import BadOuting, LightStart, Outing

AHEAD = timedelta(minutes=10)
"""An evening is begun so long before its start: for its check, and for a person who has to put something right."""
LATE = timedelta(minutes=15)
"""One whose start was missed by more is not begun by itself."""


@dataclass(frozen=True, slots=True)
class Due:
    """An outing to run: when to begin with it, and why it is due. `taken` is what was left in the middle, as it stood:
    that is gone on with whatever the time is, since nothing of it fires by itself. `late_from_utc` is where that is not
    its start: light that is waited for may come later.
    """

    path: Path
    at_utc: datetime
    line: str
    taken: Taken | None = None
    late_from_utc: datetime | None = None

    @property
    def missed_utc(self) -> datetime:
        """From when on it is not begun by itself."""
        return (self.late_from_utc or self.at_utc + AHEAD) + LATE


@dataclass(frozen=True, slots=True)
class Calendar:
    """What is due, the soonest first, and which files cannot be used, each with its sentence."""

    due: tuple[Due, ...]
    troubles: tuple[str, ...]


def calendar_of(
    place: Place,
    folder: Path,
    journal: Journal,
    now_utc: datetime,
    over: dict[str, datetime] | None = None,
    running_id: str = "",
) -> Calendar:
    """Every outing in the folder. Raises `JournalError`; a folder that is not there is empty.

    `over` remembers evenings that have ended, each with its last moment, for whoever looks every minute. The evening
    `running_id` is under way: it is not due, and its outing only at its next start.
    """
    due: list[Due] = []
    over = {} if over is None else over
    troubles: list[str] = []
    for path in sorted(folder.glob("*.yaml")):
        try:
            due += _due(place, path, journal, now_utc, over, running_id)
        except (DocumentWrong, BadOuting, EveningDamaged, OSError, UnicodeDecodeError) as error:
            troubles.append(f"{path.name} is left out: {error}")
    return Calendar(tuple(sorted(due, key=lambda one: (one.taken is None, one.at_utc, one.path))), tuple(troubles))


def _due(
    place: Place, path: Path, journal: Journal, now_utc: datetime, over: dict[str, datetime], running_id: str
) -> Iterator[Due]:
    record = EveningRecord.find(journal, place.camera, path.read_text(encoding="utf-8"))
    last_utc = None if record is None else over.get(record.evening_id)
    if record is not None and record.evening_id == running_id:
        last_utc = record.last_utc()
    elif record is not None and last_utc is None:
        taken = find_in_the_middle(place, path, journal, record, stamp_now())
        if taken is not None:
            yield Due(path, now_utc, f"{path.name}: gone on with, its program ended in the middle", taken)
            return
        last_utc = record.last_utc()
        if last_utc is not None and record.has_end():
            over[record.evening_id] = last_utc
    outing = _of_this_half_day(load_outing(path, place.settings, place.bag, now_utc), now_utc, place.zone)
    starts_utc = begins_utc(outing)
    was_run = last_utc is not None and last_utc >= starts_utc - AHEAD
    line = f"{path.name}: starts {starts_utc:%Y-%m-%d %H:%M}Z"
    due = Due(path, starts_utc - AHEAD, line, late_from_utc=late_from_utc(outing))
    if not was_run and due.missed_utc > now_utc:
        yield due


def _of_this_half_day(outing: Outing, now_utc: datetime, zone: tzinfo | None) -> Outing:
    """A start by the light without a day watches from whenever it is asked; which dusk that is, and so whether it was
    run, counts from noon at its place, and for a dawn from midnight: by its longitude, or else by the zone.
    """
    start = outing.start
    if not isinstance(start, LightStart) or start.from_utc != now_utc:
        return outing
    east = now_utc.astimezone(zone).utcoffset() or timedelta()
    if outing.place is not None:
        east = timedelta(hours=outing.place.longitude_deg / 15.0)
    here = now_utc.astimezone(UTC) + east
    begun = here.replace(hour=12 if start.direction is Direction.DOWN else 0, minute=0, second=0, microsecond=0)
    begun -= timedelta(days=begun > here)
    return replace(outing, start=replace(start, from_utc=begun - east))
