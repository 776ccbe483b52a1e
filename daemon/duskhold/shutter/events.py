"""What can happen to the shutter, and what can be done about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from duskhold.camera.port import Closing
from duskhold.shutter.report import Exposure, ShutterReport
from duskhold.shutter.story import Frame


class Failure(Enum):
    """How a call on the camera failed."""

    LOST = "lost"  # the link is gone
    HUNG = "hung"  # no answer in time
    REFUSED = "refused"  # the body answered, and the answer was no


@dataclass(frozen=True, slots=True)
class Started:
    """The process begins, with what the black box left over."""

    frame: Frame | None = None
    reports: tuple[ShutterReport, ...] = ()
    latched: bool = False


@dataclass(frozen=True, slots=True)
class Connected:
    serial: str = ""


@dataclass(frozen=True, slots=True)
class ExposeAsked:
    """`utc_offset_s` is wall clock minus `_mono` at the asking, for the record's times."""

    exposure: Exposure
    utc_offset_s: float


@dataclass(frozen=True, slots=True)
class OpenAnswered:
    began_s: float
    returned_s: float


@dataclass(frozen=True, slots=True)
class DialAnswered:
    began_s: float
    returned_s: float


@dataclass(frozen=True, slots=True)
class CloseAnswered:
    closing: Closing
    called_s: float


@dataclass(frozen=True, slots=True)
class CallFailed:
    """`code` is the stable word of the camera error, `reason` its sentence; `call` is what was being called."""

    call: str
    failure: Failure
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class HoldEnded:
    """The wait for the end is over: at its time, on request, or because the link failed."""

    alive_s: float
    failed: CallFailed | None = None


@dataclass(frozen=True, slots=True)
class CloseAsked:
    pass


@dataclass(frozen=True, slots=True)
class PictureSeen:
    """A new picture is on the card. While a held shutter is open it is an old one, told late."""


@dataclass(frozen=True, slots=True)
class Counted:
    """How many pictures the card has that it had not before the frame."""

    new: int


@dataclass(frozen=True, slots=True)
class CaptureCompleted:
    """The body has stored everything of its last exposure."""


@dataclass(frozen=True, slots=True)
class Collected:
    frame_id: str


@dataclass(frozen=True, slots=True)
class LatchCleared:
    pass


@dataclass(frozen=True, slots=True)
class BodyReplaced:
    """A person says that another camera took the place of the one whose frames are outstanding, for good."""


@dataclass(frozen=True, slots=True)
class BoxFailed:
    """A line did not reach the disk."""

    word: str
    reason: str


@dataclass(frozen=True, slots=True)
class ReleaseAsked:
    """Let the camera go; an open shutter is closed first, and asked about again."""


@dataclass(frozen=True, slots=True)
class RecycleAsked:
    """The process has served long enough: end it, unless anything is open, untold or uncollected."""

    reason: str


@dataclass(frozen=True, slots=True)
class Tick:
    pass


Event = (
    Started
    | Connected
    | ExposeAsked
    | OpenAnswered
    | DialAnswered
    | HoldEnded
    | CloseAnswered
    | CallFailed
    | CloseAsked
    | PictureSeen
    | Counted
    | CaptureCompleted
    | Collected
    | LatchCleared
    | BodyReplaced
    | BoxFailed
    | ReleaseAsked
    | RecycleAsked
    | Tick
)


@dataclass(frozen=True, slots=True)
class Connect:
    pass


@dataclass(frozen=True, slots=True)
class Open:
    pass


@dataclass(frozen=True, slots=True)
class Dial:
    """Let the body expose at its dial, which is set to `seconds`."""

    seconds: float


@dataclass(frozen=True, slots=True)
class Hold:
    until_s: float


@dataclass(frozen=True, slots=True)
class Close:
    pass


@dataclass(frozen=True, slots=True)
class Count:
    """Look what is new on the card; asked only when the body has said that nothing is open."""


@dataclass(frozen=True, slots=True)
class Pause:
    seconds: float


@dataclass(frozen=True, slots=True)
class Box:
    """A line for the black box."""

    word: str
    frame_id: str | None = None
    detail: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Refused:
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Die:
    """End the process now, without another call on the camera: the successor closes."""

    reason: str


@dataclass(frozen=True, slots=True)
class End:
    """Release the camera and end in order."""


Effect = Connect | Open | Dial | Hold | Close | Count | Pause | Box | Refused | Die | End
