"""The camera port: everything the rest of the program may ask of a body.

One object stands for one body and is used by one thread at a time. No call may be made while another is
running. Every call can block for as long as the link takes; whoever calls keeps the budget.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import Protocol


class CameraError(Exception):
    """An operating error of the body or its link. `code` is stable and machine readable."""

    code = "camera_failed"


class CameraMissing(CameraError):
    """No body answers at this address."""

    code = "camera_missing"


class CameraClaimed(CameraError):
    """Another program holds the device."""

    code = "camera_claimed"


class PermissionMissing(CameraError):
    """The device is there, but this user may not open it."""

    code = "permission_missing"


class LinkLost(CameraError):
    """The link went away: whatever was asked may or may not have happened."""

    code = "link_lost"


class LinkHung(CameraError):
    """No answer in time: whatever was asked may or may not have happened. The session is spent."""

    code = "link_hung"


class CameraBusy(CameraError):
    """The body said that it is busy and did nothing."""

    code = "camera_busy"


class BodyRefused(CameraError):
    """The body answered with an error and, as far as its answer goes, did nothing."""

    code = "body_refused"


class NoCard(CameraError):
    """The body, whose `serial` it tells, has no card that can take a picture, or will not store on it."""

    code = "no_card"

    def __init__(self, reason: str, serial: str = "") -> None:
        super().__init__(reason)
        self.serial = serial


class Setting(Enum):
    """A setting by its meaning, whatever a control family calls it."""

    MODE = "mode"
    SHUTTER = "shutter"
    APERTURE = "aperture"
    ISO = "iso"
    QUALITY = "quality"
    FOCUS = "focus"
    TARGET = "target"
    SHOTS_LEFT = "shots_left"
    BATTERY = "battery"
    CLOCK = "clock"
    DARK_FRAME = "dark_frame"
    WHITE_BALANCE = "white_balance"
    DRIVE = "drive"
    BRACKETING = "bracketing"
    EXPOSURE_DELAY = "exposure_delay"
    MIRROR_LOCK = "mirror_lock"
    AUTO_ISO = "auto_iso"
    STABILISER = "stabiliser"
    ELECTRONIC_SHUTTER = "electronic_shutter"
    LIVE_VIEW = "live_view"


class Closing(Enum):
    """What the closing call proved about the shutter."""

    CLOSED = "closed"
    CLOSED_BUSY = "closed_busy"  # closed, and the body is busy (storing, or its own dark frame)
    NOTHING_OPEN = "nothing_open"  # the body says that nothing was open
    STILL_OPEN = "still_open"  # the body says that it is exposing


class EventKind(Enum):
    PICTURE_ADDED = "picture_added"
    CAPTURE_COMPLETE = "capture_complete"


@dataclass(frozen=True, slots=True)
class Identity:
    """Who the body is. `serial` names it; the address does not.

    `holds`: its shutter can be held from here. `proven`: its family was seen at work, on our instrument at least.
    `needs` is what a person has to see to on the body before a held frame. `widgets` are the library's names of what
    holds the shutter ("shutter is held by") and of each setting that the body offers.
    """

    model: str
    serial: str
    vendor_extension: int
    family: str
    library: str
    holds: bool = True
    proven: bool = True
    needs: tuple[str, ...] = ()
    widgets: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Picture:
    """A file on the body's card. `folder` and `name` together find it again."""

    folder: str
    name: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class CameraEvent:
    kind: EventKind
    picture: Picture | None = None


class Camera(Protocol):
    """One body. Every call may raise `LinkLost` or `LinkHung`; other errors are named at the call."""

    def connect(self) -> Identity:
        """Open a new session, make the card the picture target and read that back.

        Never opens or closes the shutter. Raises `CameraMissing`, `CameraClaimed`, `PermissionMissing`, `NoCard`;
        after `NoCard` the session stands: for closing, and for the pictures of a card that is only full.
        """

    def disconnect(self) -> None:
        """End the session; never raises for a link that is gone already."""

    def open_shutter(self) -> None:
        """Open and hold. Returning means that the body accepted; the instant of return is the time stamp.

        `CameraBusy` and `BodyRefused` mean "did not open, as far as the answer goes"; callers still close.
        """

    def close_shutter(self) -> Closing:
        """Close. The instant of the call is the time stamp. Safe at any time, any number of times."""

    def wait(self, slice_s: float) -> Sequence[CameraEvent]:
        """Let events in for about `slice_s` seconds; the only call that is harmless while the shutter is open."""

    def expose_dial(self) -> None:
        """Take one exposure at the time the dial is set to. Returns when the body has accepted it."""

    def settings(self) -> Mapping[Setting, str]:
        """What the body says now, in its own words. A setting that it cannot be asked is left out."""

    def choices(self, setting: Setting) -> Sequence[str]:
        """The words that this setting takes, or nothing where it cannot be set."""

    def change(self, setting: Setting, value: str) -> str:
        """Set, read back, and return what the body then says. Raises `BodyRefused` when it did not take."""

    def pictures(self) -> Sequence[Picture]:
        """Every file on the card. Raises `NoCard` where there is none, which says nothing of its pictures."""

    def fetch(self, picture: Picture, take: Callable[[bytes], None]) -> int:
        """Hand the file's bytes to `take` piece by piece, in order, and return how many there were."""
