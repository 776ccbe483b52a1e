"""What became of an evening, as its command tells it when it leaves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from duskhold.app.evening_run import Gone, Place, Taken, frames_of
from duskhold.app.hearing import view_body
from duskhold.app.record import frame_record
from duskhold.journal.journal import Journal

if TYPE_CHECKING:
    from duskhold.journal.entry import Frame


@dataclass(frozen=True, slots=True)
class Story:
    """`reason` is None for an evening that waits in the journal for the next start."""

    evening_id: str
    name: str
    reason: str | None
    line: str
    frames: list[dict[str, Any]]
    view: dict[str, object]
    worst_alarm_late_s: float
    trouble: str | None

    @property
    def is_unsettled(self) -> bool:
        """Whether a frame is not known to be closed."""
        return any(frame["shutter"] != "closed" for frame in self.frames)

    def body(self) -> dict[str, object]:
        """In the words of the interface."""
        return {
            "evening_id": self.evening_id,
            "outing": self.name,
            "stop": None if self.reason is None else {"reason": self.reason, "line": self.line},
            "reason": self.line,
            "frames": self.frames,
            "evening": self.view,
            "worst_alarm_late_s": round(self.worst_alarm_late_s, 3),
            "trouble": self.trouble,
        }


def story_of(place: Place, taken: Taken, gone: Gone, journal: Journal) -> Story:
    """From the journal, which knows more than the evening does; each frame is written down beside its day.

    Raises `JournalError`.
    """
    found = [journal.frame(frame_id) for frame_id in frames_of(taken.record)]
    frames = [frame for frame in found if frame is not None]
    ended = gone.ended
    line = "left in the middle; the next start goes on with it" if ended is None else ended.line
    return Story(
        gone.evening_id, taken.outing.name, None if ended is None else ended.reason, line,
        [frame_record(frame, taken.outing.place) for frame in frames], view_body(gone.view), gone.worst_alarm_late_s,
        _write_down(place, taken, frames),
    )  # fmt: skip


def _write_down(place: Place, taken: Taken, frames: list[Frame]) -> str | None:
    from duskhold.app.writing_down import write_down  # heavy, and the evening is over now

    try:
        write_down(place.own, frames, taken.outing.place)
    except OSError as error:
        return f"the record of the day could not be written ({error}); `duskhold report` does it later"
    return None
