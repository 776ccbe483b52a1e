"""All that an evening remembers from one event to the next."""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from duskhold.plan.asking import Request
from duskhold.plan.evening_view import Foreseen
from duskhold.plan.evening_words import Fault, Take, Urgency
from duskhold.plan.known_light import KnownLight
from duskhold.plan.outing import Outing
from duskhold.plan.series import SetUp
from duskhold.plan.stops import Ends, Means, StopReason


@dataclass(frozen=True, slots=True)
class Held:
    """Why nothing is taken until a person resumes, and since when; `fault` is None for a hold or a question."""

    reason: str
    fault: Fault | None = None
    since_utc: datetime | None = None


@dataclass(frozen=True, slots=True)
class Alarm:
    """What rings until a person says a word, and since when."""

    line: str
    urgency: Urgency
    since_utc: datetime


@dataclass(frozen=True, slots=True)
class Unmeasured:
    """A frame that was taken, and whose pixels are waited for until `by_utc`."""

    frame_id: str
    take: Take
    open_s: float
    opened_utc: datetime
    by_utc: datetime


@dataclass(frozen=True, slots=True)
class Announced:
    """A change that was told ahead, with the filters it leads to."""

    filters: tuple[str, ...]
    at_utc: datetime


@dataclass(slots=True)
class State:
    """Instants are UTC by the evening's clock. `set_up` is what is on the camera as far as it was proven. `asked` has
    by code how often a person was asked about what pictures show, and still do. `base_most_s` bounds the dial of a
    watch whose last frame was burnt: by how much nobody knows.
    """

    outing: Outing
    light: KnownLight
    begun_utc: datetime
    start_utc: datetime
    ends: Ends
    set_up: SetUp
    now_utc: datetime
    time_confirmed: bool = False
    sky_apart_stops: float = 0.0
    asked_time_utc: datetime | None = None
    told_begin: bool = False
    checked: bool = False
    checked_utc: datetime | None = None
    checking: bool = False
    bad: tuple[str, ...] = ()
    means: Means = field(default_factory=Means)
    means_fresh: bool = False
    reading_means: bool = False
    bases: int = 0
    base_due_utc: datetime | None = None
    base_most_s: float | None = None
    watched_enough: bool = False
    request: Request | None = None
    scout_needed: bool = False
    scout_due_utc: datetime | None = None
    scout_off_stops: float | None = None
    fallback_tried: bool = False
    looks: int = 0
    taking: Take | None = None
    close_asked: bool = False
    opened_utc: datetime | None = None
    measuring: Unmeasured | None = None
    unsettled: str | None = None
    unsettled_utc: datetime | None = None
    free_utc: datetime | None = None
    frames_done: int = 0
    foretells: bool = True
    foreseen: Foreseen | None = None
    foreseen_done: int = 0
    faults_running: int = 0
    faults_since_frame: int = 0
    steps_left: tuple[float, ...] | None = None
    base_wanted: bool = False
    gauge_open_s: float = 0.0
    gauge_has_moved: bool = False
    longest_open_s: float = 0.0
    held: Held | None = None
    hold_after: bool = False
    resumable_link: bool = False
    alarm: Alarm | None = None
    announced: Announced | None = None
    announced_filters: tuple[str, ...] | None = None
    verdict: str = ""
    asked: dict[str, int] = field(default_factory=dict)
    stop: StopReason | None = None
    packed: bool = False
    left_utc: datetime | None = None
    resting: bool = False
    stop_line: str = ""
    darks_left: int | None = None
    cap_on: bool = False
    cap_by_utc: datetime | None = None
    ended: bool = False

    @property
    def is_busy(self) -> bool:
        """Whether something that was asked for has not been answered.

        A series that is over does not wait for a shutter that is not proven closed: its own process goes on with it.
        """
        return self.awaits_answer or (self.unsettled is not None and self.stop is None)

    @property
    def awaits_answer(self) -> bool:
        """The same without a shutter that is not proven closed, which may never be."""
        return self.taking is not None or self.measuring is not None or self.checking or self.reading_means

    @property
    def left(self) -> bool:
        """Whether a person said that they leave."""
        return self.left_utc is not None

    def shift(self, seconds: float) -> None:
        """The clock was set: what counts in minutes moves with it, what hangs on sun and clock does not."""
        moved = timedelta(seconds=seconds)
        for name in _COUNTED:
            value = getattr(self, name)
            if value is not None:
                setattr(self, name, value + moved)
        if self.request is not None:
            since_utc = self.request.unanswered_since_utc
            self.request = replace(
                self.request, asked_utc=self.request.asked_utc + moved,
                unanswered_since_utc=None if since_utc is None else since_utc + moved,
            )  # fmt: skip
        if self.held is not None and self.held.since_utc is not None:
            self.held = replace(self.held, since_utc=self.held.since_utc + moved)
        if self.measuring is not None:
            now = self.measuring
            self.measuring = replace(now, opened_utc=now.opened_utc + moved, by_utc=now.by_utc + moved)
        if self.alarm is not None:
            self.alarm = replace(self.alarm, since_utc=self.alarm.since_utc + moved)
        if self.announced is not None:
            self.announced = replace(self.announced, at_utc=self.announced.at_utc + moved)
        self.light.shift(seconds)


_COUNTED = (
    "begun_utc", "now_utc", "base_due_utc", "scout_due_utc", "opened_utc",
    "free_utc", "cap_by_utc", "checked_utc", "asked_time_utc",
    "left_utc", "unsettled_utc",
)  # fmt: skip
