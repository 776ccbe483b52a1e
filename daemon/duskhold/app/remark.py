"""What a person says of a frame afterwards: words, keep or reject, one to five stars. Never asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from duskhold.app.folders import Folders
from duskhold.app.overview import journal_paths, latest_frames
from duskhold.journal.entry import REMARK, Frame, Note, Stamp
from duskhold.journal.journal import Journal
from duskhold.plan.stamp import utc_text


class NoSuchFrame(LookupError):
    """No journal has it."""


@dataclass(frozen=True, slots=True)
class Remark:
    """`keep` is None where nothing is said of it."""

    text: str | None = None
    keep: bool | None = None
    stars: int | None = None


def remark_on(folders: Folders, frame_id: str | None, remark: Remark, now: Callable[[], Stamp]) -> Frame:
    """Write it into the journal that has the frame, the latest of all where none is named; the frame with all remarks.

    Raises `NoSuchFrame` or `JournalError`.
    """
    name = frame_id
    if name is None:
        latest = latest_frames(folders, 1)
        name = latest[0].asked.frame_id if latest else ""
    for path in journal_paths(folders):
        with Journal.open(path) as journal:
            if journal.frame(name) is None:
                continue
            stamp = now()
            said = {"text": remark.text, "keep": remark.keep, "stars": remark.stars}
            journal.note(Note(REMARK, {"said_utc": utc_text(stamp.utc), **said}, name), stamp)
            found = journal.frame(name)
            assert found is not None, "it was there"
            return found
    raise NoSuchFrame(name)
