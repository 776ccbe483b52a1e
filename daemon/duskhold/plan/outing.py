"""What an outing asks for: when to begin, what is wanted, with which kit, within which limits, and what to do in doubt.

Plain data, checked against itself when it is made; reading it from a file is another module's work.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

from duskhold.light.crossings import Direction
from duskhold.light.filters import Filter, stack
from duskhold.light.place import Place
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.lean import UPRIGHT, Lean
from duskhold.plan.limits import Limits

DARKS_AFTER: Final = 2
BASE_GAP_S: Final = 120.0
"""Between base frames: a rate from the pixels of two frames needs two minutes or more."""


class BadOuting(ValueError):
    """Two parts of an outing contradict each other; `field` (dotted) names the one to change."""

    def __init__(self, field_name: str, message: str) -> None:
        super().__init__(message)
        self.field = field_name


class Kind(StrEnum):
    """What is wanted of the evening.

    `ONE` frame; the same `AGAIN`, corrected; one `TONE` through the dusk, filters changed on the way; as the `EYE`
    sees it, a share of the fade let through; a `LOOK`, times kept in a band by filters, then aperture, then ISO; a
    `BRACKET` of long frames; `PAIRS` of a frame without and a frame with the filters; a `WATCH` of the light alone.
    """

    ONE = "one"
    AGAIN = "again"
    TONE = "tone"
    EYE = "eye"
    LOOK = "look"
    BRACKET = "bracket"
    PAIRS = "pairs"
    WATCH = "watch"


class Dark(StrEnum):
    """When dark frames are taken."""

    IN_CAMERA = "in_camera"
    AFTER = "after"
    NONE = "none"


class Fallback(StrEnum):
    """What is done when nobody answers a prompt: nothing, a wider aperture, a higher ISO, or the end."""

    HOLD = "hold"
    APERTURE = "aperture"
    ISO = "iso"
    STOP = "stop"


class Doubt(StrEnum):
    """What is done when a picture shows something that only a person can judge."""

    ASK = "ask"
    GO_ON = "go_on"
    STOP = "stop"


class AfterLinkLoss(StrEnum):
    """Whether the series may go on after a lost link, once a close is confirmed and the check is passed."""

    STOP = "stop"
    RESUME = "resume"


@dataclass(frozen=True, slots=True)
class ClockStart:
    """At a moment."""

    at_utc: datetime


@dataclass(frozen=True, slots=True)
class SunStart:
    """When the sun's centre passes an altitude (airless) in a direction, next after `from_utc`."""

    altitude_deg: float
    direction: Direction
    from_utc: datetime


@dataclass(frozen=True, slots=True)
class EventStart:
    """So many minutes after (negative: before) the upper limb's refracted rise or set next after `from_utc`."""

    direction: Direction
    offset_min: float
    from_utc: datetime


@dataclass(frozen=True, slots=True)
class LightStart:
    """When the light has come to ask for this base time (true seconds) after `from_utc`, watched by base frames; where
    a place is known, from when cloud may bring it."""

    base_s: float
    direction: Direction
    from_utc: datetime


Start = ClockStart | SunStart | EventStart | LightStart


@dataclass(frozen=True, slots=True)
class Base:
    """The base exposure: dial time (a mark of the dial, such as "1/8") for the bare lens at the kit's aperture, ISO."""

    dial: str
    true_s: float


@dataclass(frozen=True, slots=True)
class Want:
    """What is wanted. Exactly one of `base` and `first_s` is given.

    With `base`, base frames are taken first and their tone is kept. With `first_s` the first frame is held so long
    behind the filters of the start, and its tone is kept; it is the step 0 of a bracket. `make_up_share` is the share
    of the fade that is made up (1 keeps the tone). `steps` of a bracket are in stops, in any order. `between_s` is from
    a frame's closing, or the end of its in-camera dark frame, to the next opening, storing included. `every_s` is
    between frames of a watch, whose dial goes with the light from `base` on.
    """

    kind: Kind
    base: Base | None = None
    first_s: float | None = None
    make_up_share: float = 1.0
    steps: tuple[float, ...] = ()
    between_s: float = 5.0
    every_s: float = 180.0
    base_frames: int = 2


@dataclass(frozen=True, slots=True)
class OutingKit:
    """What is in the bag and on the camera. `filters` are the names fitted for the first long frame.

    `aperture` and `iso` are what is set at the start; `apertures` and `isos` what may be moved to, in order of use.
    """

    bag: tuple[BagFilter, ...]
    filters: tuple[str, ...]
    aperture: Setting
    iso: Setting
    apertures: tuple[Setting, ...] = ()
    isos: tuple[Setting, ...] = ()

    def glass(self, names: Sequence[str]) -> Filter:
        """What these filters take together; every name is in the bag."""
        known = {one.name: one.glass for one in self.bag}
        return stack([known[name] for name in names])


@dataclass(frozen=True, slots=True)
class LeaveBy:
    """When to be gone: a moment, or minutes from the start of the program while the clock is not confirmed.

    Packing takes `pack_min` before it: no shutter is open and nothing begins that would end later than that.
    """

    at_utc: datetime | None = None
    in_min: float | None = None
    pack_min: float = 12.0

    def leave_utc(self, begun_utc: datetime) -> datetime:
        """When to be gone, for a program begun at `begun_utc`."""
        return self.at_utc if self.at_utc is not None else begun_utc + timedelta(minutes=self.in_min or 0.0)

    def pack_utc(self, begun_utc: datetime) -> datetime:
        """When to start packing."""
        return self.leave_utc(begun_utc) - timedelta(minutes=self.pack_min)


@dataclass(frozen=True, slots=True)
class Bounds:
    """Where the series ends, whichever comes first. `longest_s` and `shortest_s` bound a long frame.

    `sun_altitude_deg` is where the sun ends it, going the way it goes at the start.
    """

    longest_s: float = 240.0
    shortest_s: float = 1.0
    sun_altitude_deg: float | None = None
    leave_by: LeaveBy | None = None
    frames: int | None = None
    battery_reserve_percent: float = 15.0
    disk_reserve_bytes: int = 500_000_000


@dataclass(frozen=True, slots=True)
class Prompting:
    """How a person is asked for a change: announced so long before, waited for so long, which takes `change_s`."""

    announce_s: float = 180.0
    patience_s: float = 180.0
    change_s: float = 60.0
    fallback: Fallback = Fallback.HOLD


@dataclass(frozen=True, slots=True)
class Costs:
    """What one frame costs, as far as this body is known. `disk_bytes` is of all files of one frame."""

    storing_s: float = 6.0
    battery_percent_per_min: float = 0.6
    disk_bytes: int = 60_000_000


@dataclass(frozen=True, slots=True)
class Outing:
    """One outing. Raises `BadOuting` when its parts contradict each other."""

    name: str
    start: Start
    want: Want
    kit: OutingKit
    place: Place | None = None
    bounds: Bounds = Bounds()
    dark: Dark = Dark.NONE
    darks_after: int = DARKS_AFTER
    prompting: Prompting = Prompting()
    doubt: Doubt = Doubt.ASK
    after_link_loss: AfterLinkLoss = AfterLinkLoss.STOP
    costs: Costs = Costs()
    limits: Limits = field(default_factory=Limits)
    lean: Lean = UPRIGHT

    def __post_init__(self) -> None:
        # Bounds first: what is measured against them is wrong only if they are right themselves.
        for check in (self._check_bounds, self._check_want, self._check_kit, self._check_place):
            check()

    @property
    def changes_filters(self) -> bool:
        """Whether filters are changed on the way."""
        return self.want.kind in (Kind.TONE, Kind.EYE, Kind.LOOK)

    @property
    def frames_wanted(self) -> int | None:
        """How many long frames end it: as bounded, or else one for `ONE` and one round for a `BRACKET`."""
        if self.bounds.frames is not None:
            return self.bounds.frames
        return {Kind.ONE: 1, Kind.BRACKET: len(self.want.steps)}.get(self.want.kind)

    def _check_want(self) -> None:
        want = self.want
        if (want.base is None) == (want.first_s is None):
            raise BadOuting(
                "want.base", "give either base (a base frame's dial time) or first_s, not both, not neither"
            )
        if want.first_s is not None and want.kind in (Kind.WATCH, Kind.PAIRS):
            raise BadOuting("want.first_s", f"a series of kind {want.kind.value} needs base, not first_s")
        if want.first_s is not None and isinstance(self.start, LightStart):
            raise BadOuting("want.first_s", "a start by the light watches base frames: it needs base, not first_s")
        if want.kind is Kind.BRACKET and len(want.steps) < 2:
            raise BadOuting("want.steps", "a bracket has two steps or more, such as [-1, 0, 1]")
        if want.kind is Kind.BRACKET and want.first_s is not None and 0.0 not in want.steps:
            raise BadOuting("want.steps", "the frame of first_s is the step 0, which is not among them")
        if want.kind is not Kind.BRACKET and want.steps:
            raise BadOuting("want.steps", f"only a bracket has steps, not a series of kind {want.kind.value}")
        if want.kind is not Kind.EYE and want.make_up_share != 1.0:
            raise BadOuting("want.make_up_share", "only kind eye lets a share of the fade through")
        first_s, bounds = want.first_s, self.bounds
        if first_s is not None and not bounds.shortest_s <= first_s <= bounds.longest_s:
            message = f"{first_s:g} s is not within bounds, {bounds.shortest_s:g} to {bounds.longest_s:g} s"
            raise BadOuting("want.first_s", message)

    def _check_kit(self) -> None:
        known = [one.name for one in self.kit.bag]
        for name in self.kit.filters:
            if name not in known:
                raise BadOuting("kit.filters", f"{name!r} is not in the bag, which has {', '.join(known) or 'nothing'}")
        for word, set_now, allowed in (
            ("aperture", self.kit.aperture, self.kit.apertures),
            ("iso", self.kit.iso, self.kit.isos),
        ):
            if allowed and set_now.name not in [one.name for one in allowed]:
                names = ", ".join(one.name for one in allowed)
                raise BadOuting(f"kit.{word}", f"{set_now.name} is not among those that may be set: {names}")
        fallback, aperture, iso = self.prompting.fallback, self.kit.aperture, self.kit.iso
        if fallback is Fallback.APERTURE and all(one.true_value >= aperture.true_value for one in self.kit.apertures):
            raise BadOuting(
                "prompts.fallback", f"a wider aperture needs one in kit.apertures, wider than {aperture.name}"
            )
        if fallback is Fallback.ISO and all(one.true_value <= iso.true_value for one in self.kit.isos):
            raise BadOuting("prompts.fallback", f"a higher ISO needs one in kit.isos, higher than {iso.name}")

    def _check_bounds(self) -> None:
        bounds, limits = self.bounds, self.limits
        if bounds.shortest_s >= bounds.longest_s:
            raise BadOuting(
                "bounds.shortest_s", f"{bounds.shortest_s:g} s is not below longest_s, {bounds.longest_s:g} s"
            )
        if bounds.longest_s > limits.longest_s:
            message = f"{bounds.longest_s:g} s is more than limits.longest_s of the settings, {limits.longest_s:g} s"
            raise BadOuting("bounds.longest_s", message)
        if bounds.shortest_s < limits.shortest_s:
            message = f"{bounds.shortest_s:g} s is less than limits.shortest_s of the settings, {limits.shortest_s:g} s"
            raise BadOuting("bounds.shortest_s", message)
        leave = bounds.leave_by
        if leave is not None and (leave.at_utc is None) == (leave.in_min is None):
            raise BadOuting("bounds.leave_by", "give either at or in_min")
        if leave is not None and leave.in_min is not None and leave.in_min <= leave.pack_min:
            raise BadOuting(
                "bounds.leave_by", f"packing takes {leave.pack_min:g} min: nothing is left of {leave.in_min:g}"
            )
        begins_utc = self.start.at_utc if isinstance(self.start, ClockStart) else None
        leave_utc = None if leave is None else leave.at_utc
        if begins_utc is not None and leave_utc is not None and leave_utc <= begins_utc:
            raise BadOuting("bounds.leave_by", "the outing would begin after it is time to leave")

    def _check_place(self) -> None:
        needs = {
            "start": isinstance(self.start, (SunStart, EventStart)),
            "bounds.sun_altitude_deg": self.bounds.sun_altitude_deg is not None,
        }
        for name, is_needed in needs.items():
            if is_needed and self.place is None:
                raise BadOuting(name, "the sun needs a place: give place in the outing or in the settings")
        start, end_deg = self.start, self.bounds.sun_altitude_deg
        if isinstance(start, SunStart) and end_deg is not None:
            is_down = start.direction is Direction.DOWN
            if (end_deg >= start.altitude_deg) if is_down else (end_deg <= start.altitude_deg):
                message = f"the sun is past {end_deg:g} degrees already when it starts at {start.altitude_deg:g}"
                raise BadOuting("bounds.sun_altitude_deg", message)
