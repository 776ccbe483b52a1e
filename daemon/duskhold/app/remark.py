"""What a person says of a frame afterwards: words, keep or reject, one to five stars. Never asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from duskhold.app.folders import Folders
from duskhold.app.overview import journal_paths, latest_frames
from duskhold.journal.entry import REMARK, Frame, Intent, Note, Stamp
from duskhold.journal.journal import Journal
from duskhold.plan.role import Role
from duskhold.plan.stamp import utc_text

_LOOKED_THROUGH = 1000


class NoSuchFrame(LookupError):
    """No journal has it."""


@dataclass(frozen=True, slots=True)
class Remark:
    """`keep` is None where nothing is said of it."""

    text: str | None = None
    keep: bool | None = None
    stars: int | None = None


def remark_on(folders: Folders, frame_id: str | None, remark: Remark, now: Callable[[], Stamp]) -> Frame:
    """Write it into the journal that has the frame, where none is named the latest long one of all that were not
    refused, without any the latest; the frame with all remarks.

    Raises `NoSuchFrame` or `JournalError`.
    """
    name = frame_id
    if name is None:
        asked = [frame.asked for frame in latest_frames(folders, _LOOKED_THROUGH)]
        taken = [each for each in asked if isinstance(each, Intent)]
        long = [each for each in taken if each.role == Role.LONG.value]
        name = next((each.frame_id for each in (*long, *taken)), "")
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
