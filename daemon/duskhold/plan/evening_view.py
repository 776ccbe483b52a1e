"""What an evening shows: where it is, what a person must do, and how much is left."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Phase(StrEnum):
    """Where an evening is."""

    WAITING = "waiting"
    WATCHING = "watching"
    CHECKING = "checking"
    ASKING = "asking"
    BETWEEN = "between"
    OPEN = "open"
    MEASURING = "measuring"
    HELD = "held"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class View:
    """One look at an evening. `line` is what a person must do, or "nothing"; `until_utc` is when the phase ends by
    itself, as far as that is known. Times in seconds, instants in UTC.
    """

    phase: Phase
    line: str
    role: str | None
    until_utc: datetime | None
    open_s: float | None
    next_open_s: float | None
    why: str
    filters: tuple[str, ...]
    frames_done: int
    verdict: str
    alarm: str | None
    pack_utc: datetime | None
    light_ends_utc: datetime | None
    stop: str | None
