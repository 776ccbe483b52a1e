"""What is written into the journal and what is read from it: plain data."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

Detail = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Stamp:
    """When something was written: in UTC, and in seconds since the boot that `boot_id` names."""

    utc: datetime
    mono_s: float
    boot_id: str


@dataclass(frozen=True, slots=True)
class Intent:
    """A frame about to be exposed. `role` is base, scout, long or dark; `timing` is held or dial."""

    frame_id: str
    camera: str
    role: str
    timing: str
    planned_s: float
    cap_s: float
    decision: Detail = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a frame, as far as it is known now.

    `open_s` is the true open time, None when not known; `open_s_range` bounds it where it is not exact.
    `settled` is False while more may be found out; `report` is what the shutter's process told, whole.
    """

    frame_id: str
    outcome: str
    open_s: float | None
    open_s_range: tuple[float, float] | None
    opened_utc: str | None
    closed_utc: str | None
    shutter: str
    settled: bool
    reason: str
    files: Sequence[Detail] = ()
    report: Detail = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Refusal:
    """A frame that was asked for and not exposed; `code` is for programs, `reason` a sentence."""

    frame_id: str
    camera: str
    role: str
    timing: str
    planned_s: float | None
    code: str
    reason: str
    decision: Detail = field(default_factory=dict)


REMARK = "remark"
"""The word of the notes in which people say something of a frame."""


@dataclass(frozen=True, slots=True)
class Note:
    """Anything else worth knowing afterwards; `word` says what kind it is."""

    word: str
    detail: Detail
    frame_id: str | None = None


@dataclass(frozen=True, slots=True)
class Evening:
    """An evening that began: its name, the camera's address, and the outing's file as it was."""

    evening_id: str
    camera: str
    outing: str


@dataclass(frozen=True, slots=True)
class Unfinished:
    """An intent without a settled outcome: what a crash leaves behind. `known` is the latest outcome."""

    intent: Intent
    written: Stamp
    known: Outcome | None


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame as the journal knows it: asked for, what became of it (None while that is not written), and what people
    said of it, oldest first.
    """

    asked: Intent | Refusal
    written: Stamp
    outcome: Outcome | None
    remarks: tuple[Note, ...] = ()
