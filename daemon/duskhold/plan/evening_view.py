"""What an evening shows: where it is, what a person must do, and how much is left."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

from duskhold.plan.stamp import utc_text
from duskhold.plan.stops import StopReason

_POWER: Final = (StopReason.BATTERY_RESERVE,)
_THEN: Final[Mapping[StopReason, str]] = {
    StopReason.FRAMES_DONE: "all frames are taken",
    StopReason.LEAVE_BY: "it is time to leave",
    StopReason.SUN_ALTITUDE: "the sun is past its limit",
    StopReason.LONGEST_FRAME: "a frame would be too long",
    StopReason.SHORTEST_FRAME: "a frame would be too short",
    StopReason.LIGHT_NEVER_SUFFICES: "the light is not enough",
    StopReason.BATTERY_RESERVE: "the battery is at its reserve",
    StopReason.DISK_RESERVE: "the disk is at its reserve",
}
"""What a plan may end by, in a person's words."""


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
    UNSETTLED = "unsettled"
    RESTING = "resting"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class Foreseen:
    """`frames_left` and `ends_utc` are None where nothing ends the series as far as a plan looks."""

    frames_left: int | None
    in_camera_dark: int
    without: int
    darks: int
    darks_wanted: int
    darks_short: StopReason | None
    ends_utc: datetime | None
    reason: StopReason | None

    def line(self) -> str:
        """The same in a line: what is left, why not more, what a person can do about it."""
        if self.frames_left is None:
            return f"more than {min(self.without, self.in_camera_dark)} long frames left"
        said = f"{self.frames_left} long frame{'s' * (self.frames_left != 1)}"
        if self.darks_wanted:
            said += f" + {self.darks} dark{'s' * (self.darks != 1)}"
        said += " left"
        if self.ends_utc is not None and self.reason is not None:
            said += (
                f" until {self.ends_utc:%H:%M:%S}, then {_THEN.get(self.reason, self.reason.value.replace('_', ' '))}"
            )
        is_in_camera = self.frames_left == self.in_camera_dark != self.without
        said += f"; {self.without} without" if is_in_camera else f"; {self.in_camera_dark} with"
        is_short = self.reason in _POWER or self.darks_short in _POWER
        return f"{said} in-camera dark frames{', or change the battery now (costs one frame)' * is_short}"

    def detail(self) -> Mapping[str, object]:
        return {
            "frames_left": self.frames_left,
            "in_camera_dark": self.in_camera_dark,
            "without": self.without,
            "darks": self.darks,
            "darks_short": self.darks_short and self.darks_short.value,
            "ends_utc": self.ends_utc and utc_text(self.ends_utc),
            "reason": self.reason and self.reason.value,
        }


@dataclass(frozen=True, slots=True)
class View:
    """One look at an evening. `line` is what a person must do, or "nothing"; `until_utc` is when the phase ends by
    itself, as far as that is known. `frames_left` and `ends_utc` are foretold after every frame: how many long frames
    still fit, and when the last of them is over. Times in seconds, instants in UTC.
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
    frames_left: int | None
    ends_utc: datetime | None
    verdict: str
    alarm: str | None
    pack_utc: datetime | None
    light_ends_utc: datetime | None
    stop: str | None
