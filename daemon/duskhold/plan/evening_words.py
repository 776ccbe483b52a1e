"""What happens to an evening and what it asks for: plain data, kept in the journal for a start to go over again.

Times are UTC by the evening's own clock, which runs with the monotonic one: a step of the computer's clock does not
move it, but is an event.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from enum import StrEnum
from typing import Any, Final

from duskhold.plan.role import Role
from duskhold.plan.stamp import utc_from, utc_text

PERSON: Final = "a person"
"""Who says that the time is right, where nothing else does."""


class Word(StrEnum):
    """What a person says. `CLOSE` closes and keeps; `HOLD` holds after this frame; `DONE` answers what was asked;
    `LEAVING` closes, keeps and ends; `RESUME` goes on after a hold or a fault; `HEARD` quiets an alarm."""

    CLOSE = "close"
    HOLD = "hold"
    DONE = "done"
    LEAVING = "leaving"
    RESUME = "resume"
    HEARD = "heard"


class Fault(StrEnum):
    """What stops a series at once, until a person resumes."""

    CAMERA = "camera"
    LINK = "link"
    SHUTTER = "shutter"
    CLOCK = "clock"
    STORAGE = "storage"
    POWER = "power"
    SAFETY = "safety"
    RESTART = "restart"


class Act(StrEnum):
    """What a verdict asks for, the weakest first: nothing, another time for the next frame, the same frame again as it
    was planned, a person's look at camera, lens or filter, or the end, since nothing further will come out."""

    KEEP = "keep"
    CORRECT = "correct"
    RETAKE = "retake"
    ASK = "ask"
    STOP = "stop"


class Urgency(StrEnum):
    """What an alarm is about: something to do, something that failed, time to leave."""

    DO = "do"
    FAILED = "failed"
    LEAVE = "leave"


# Events: what happened


@dataclass(frozen=True, slots=True)
class Begun:
    """The program runs this outing; `time_confirmed` says whether the clock may be trusted."""

    time_confirmed: bool


@dataclass(frozen=True, slots=True)
class Ticked:
    """A deadline of the machine has come, or nothing in particular."""


@dataclass(frozen=True, slots=True)
class FrameTold:
    """A frame is over, or is known as far as it ever will be now. `outcome` is one of the shutter's words.

    `open_s` is the true time, None when not known; `settled` is False while the shutter may still be open.
    """

    frame_id: str
    role: Role
    outcome: str
    open_s: float | None
    opened_utc: datetime | None
    closed_utc: datetime | None
    settled: bool
    reason: str
    files: int = 0


@dataclass(frozen=True, slots=True)
class Measured:
    """What the pixels of a frame tell: the level of the chosen area as EV at ISO 100 behind the filters as set.

    `at_least` says it was clipped. `act` is what the verdict asks for, `text` its line, `codes` its findings.
    """

    frame_id: str
    level_ev: float
    sigma_stops: float
    at_least: bool = False
    act: Act = Act.KEEP
    codes: tuple[str, ...] = ()
    text: str = ""


@dataclass(frozen=True, slots=True)
class NotMeasured:
    """The pixels of a frame tell nothing, and why: it is a picture fault."""

    frame_id: str
    reason: str


@dataclass(frozen=True, slots=True)
class Said:
    """A person said a word."""

    word: Word


@dataclass(frozen=True, slots=True)
class FaultSeen:
    """Something that is not a picture went wrong, and what a person can do about it."""

    fault: Fault
    reason: str


@dataclass(frozen=True, slots=True)
class FaultGone:
    """It is well again; nothing goes on because of that alone, but for a link under `after_link_loss: resume`."""

    fault: Fault


@dataclass(frozen=True, slots=True)
class Checked:
    """The check before the shot; `bad` are the items that are not as they should be."""

    bad: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MeansTold:
    """Battery and disk as they are now; None where nobody knows."""

    battery_percent: float | None
    disk_free_bytes: int | None


@dataclass(frozen=True, slots=True)
class ClockConfirmed:
    """The time may be trusted from now on; `source` says by what."""

    source: str


@dataclass(frozen=True, slots=True)
class ClockStepped:
    """The computer's clock was set by so many seconds (positive: forwards), and the evening's clock goes with it: this
    event still comes with the time of before, and the next one with the new."""

    step_s: float


@dataclass(frozen=True, slots=True)
class SleepAhead:
    """The computer is about to sleep."""


@dataclass(frozen=True, slots=True)
class Woke:
    """The computer slept for so long."""

    slept_s: float


@dataclass(frozen=True, slots=True)
class Restarted:
    """The program ended in between and goes over its journal; `settled` says whether every earlier frame is told."""

    settled: bool


Event = (
    Begun | Ticked | FrameTold | Measured | NotMeasured | Said | FaultSeen | FaultGone | Checked | MeansTold
    | ClockConfirmed | ClockStepped | SleepAhead | Woke | Restarted
)  # fmt: skip

# Effects: what is asked for


@dataclass(frozen=True, slots=True)
class Take:
    """Take a frame now: `open_s` long, by the dial when `dial` is given (its mark). `cap_s` closes whatever happens.

    `reasoning` belongs into the record. The answer is `FrameTold`, and for all but darks then `Measured`.
    """

    role: Role
    open_s: float
    cap_s: float
    dial: str | None
    filters: tuple[str, ...]
    aperture: str
    iso: str
    reasoning: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class CloseNow:
    """Close the shutter now and keep the frame. What is not told `within_s` seconds is left to the shutter process;
    None waits for it, since somebody is there."""

    within_s: float | None = None


@dataclass(frozen=True, slots=True)
class RunCheck:
    """Do the check before the shot; the answer is `Checked`."""


@dataclass(frozen=True, slots=True)
class ReadMeans:
    """Read battery and disk; the answer is `MeansTold`."""


@dataclass(frozen=True, slots=True)
class Ring:
    """Ring until a person says a word: one line, one action."""

    urgency: Urgency
    line: str


@dataclass(frozen=True, slots=True)
class Quiet:
    """The alarm has been heard."""


@dataclass(frozen=True, slots=True)
class Tell:
    """A line worth seeing, and worth keeping under `word` in the record."""

    word: str
    line: str
    detail: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Ended:
    """The series is over, and why."""

    reason: str
    line: str


Effect = Take | CloseNow | RunCheck | ReadMeans | Ring | Quiet | Tell | Ended


def event_message(event: Event) -> dict[str, object]:
    """An event as JSON takes it."""
    found: dict[str, object] = {"event": type(event).__name__}
    for each in fields(event):
        value = getattr(event, each.name)
        found[each.name] = utc_text(value) if isinstance(value, datetime) else value
    return found


def event_from(message: Mapping[str, Any]) -> Event:
    """The reverse of `event_message`. Raises `ValueError`, `KeyError` or `TypeError` for anything else."""
    given = {name: value for name, value in message.items() if name != "event"}
    for name, read in _READ.items():
        if given.get(name) is not None:
            given[name] = read(given[name])
    found: Event = _EVENTS[message["event"]](**given)
    return found


_EVENTS: Mapping[str, Any] = {
    one.__name__: one
    for one in (
        Begun, Ticked, FrameTold, Measured, NotMeasured, Said, FaultSeen, FaultGone, Checked, MeansTold,
        ClockConfirmed, ClockStepped, SleepAhead, Woke, Restarted,
    )
}  # fmt: skip
_READ: Mapping[str, Any] = {
    "role": Role, "word": Word, "act": Act, "fault": Fault, "opened_utc": utc_from, "closed_utc": utc_from,
    "codes": tuple, "bad": tuple,
}  # fmt: skip
