"""The course of an evening gone through ahead of time, frame by frame, by the rules that the evening itself goes by."""

import math
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Final

from duskhold.plan.decision import light_stops_since
from duskhold.plan.evening_orders import scout_order, watch_base
from duskhold.plan.lean import UPRIGHT
from duskhold.plan.outing import BASE_GAP_S, Dark, Kind, Outing
from duskhold.plan.outlook import midnight_before, sky_of
from duskhold.plan.role import Role
from duskhold.plan.series import FilterChange, Metered, NextFrame, NoFrame, SetUp, bracket_order, decide, next_frame
from duskhold.plan.stops import Ends, Means, StopReason, battery_cost_percent, cycle_s, what_ends

AHEAD: Final = timedelta(hours=24)
MOST_FRAMES: Final = 2000
"""How far a plan looks: a series that nothing ends before is told as far as this."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where an evening stands: `opens_utc` is the earliest moment for what comes next, with `set_up` on the camera.

    `base_left` base frames come first, without filters; after them the kit's filters are fitted. `frames_done` counts
    the long frames taken, `longest_s` is the longest of them; `steps_left` is what is left of a bracket that has
    begun, `darks_left` of the darks at the end (None: all that the outing asks for). `chosen_s` is how long a person
    chose to hold the first long frame.
    """

    opens_utc: datetime
    metered: Metered
    set_up: SetUp
    ends: Ends
    means: Means = field(default_factory=Means)
    frames_done: int = 0
    longest_s: float = 0.0
    base_left: int = 0
    steps_left: tuple[float, ...] = ()
    darks_left: int | None = None
    chosen_s: float | None = None


@dataclass(frozen=True, slots=True)
class PlannedFrame:
    """A frame as foretold; `n` counts the frames of a kind, long ones that were taken before included.

    `closes_utc` is its own closing, `ready_utc` when the camera has also taken its in-camera dark frame and stored.
    `light_stops` is the light at its opening against the metered light, `correction_stops` what the change of light
    while it is open adds to its time. What is left after it is None where nobody told what there is.
    """

    n: int
    role: Role
    opens_utc: datetime
    open_s: float
    closes_utc: datetime
    ready_utc: datetime
    filters: tuple[str, ...]
    aperture: str
    iso: str
    sun_altitude_deg: float | None
    light_stops: float
    correction_stops: float = 0.0
    step_stops: float = 0.0
    battery_percent: float | None = None
    disk_free_bytes: int | None = None


@dataclass(frozen=True, slots=True)
class PlannedPrompt:
    """What a person is asked to take off and to fit at `at_utc`, told ahead at `announce_utc`."""

    at_utc: datetime
    announce_utc: datetime
    remove: tuple[str, ...]
    fit: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stop:
    """Why a series ends, and when it is over, its last frame stored; no reason where nothing ends it as far as a plan
    looks."""

    reason: StopReason | None
    at_utc: datetime


class Course:
    """An evening gone through from where it stands to the end of its series.

    `frames` are the long ones (of a watch, its base frames), `others` base frames and scouts around them. `means` is
    what is left at the end, `free_utc` when the camera is free after the last frame.
    """

    def __init__(self, outing: Outing, standing: Standing, most_frames: int = MOST_FRAMES) -> None:
        self.frames: list[PlannedFrame] = []
        self.others: list[PlannedFrame] = []
        self.prompts: list[PlannedPrompt] = []
        self.set_up, self.means, self.free_utc = standing.set_up, standing.means, standing.opens_utc
        self._outing, self._standing, self._most_frames = outing, standing, most_frames
        self._is_watch = outing.want.kind is Kind.WATCH
        self._steps = standing.steps_left
        self._opens_utc = standing.opens_utc
        self._begin()
        self.stop = self._go_through()

    def record(
        self, n: int, role: Role, opens_utc: datetime, open_s: float,
        how: NextFrame | None = None, iso: str | None = None,
    ) -> None:  # fmt: skip
        """Note a frame and what it costs: `how` it was computed, for one of the series; its `iso`, if its own."""
        outing, standing = self._outing, self._standing
        self.means = _means_after(outing, self.means, role, open_s)
        busy_s = open_s * _exposures(outing, role) + outing.costs.storing_s
        self.free_utc = opens_utc + timedelta(seconds=busy_s)
        light_stops = light_stops_since(standing.metered.drift, standing.metered.reading.metered_utc, opens_utc)
        frame = PlannedFrame(
            n=n,
            role=role,
            opens_utc=opens_utc,
            open_s=open_s,
            closes_utc=opens_utc + timedelta(seconds=open_s),
            ready_utc=self.free_utc,
            filters=self.set_up.filters,
            aperture=self.set_up.aperture.name,
            iso=iso or self.set_up.iso.name,
            sun_altitude_deg=_sun_altitude_deg(outing, opens_utc),
            light_stops=light_stops,
            correction_stops=_correction_stops(how, light_stops),
            step_stops=how.step_stops if how else 0.0,
            battery_percent=self.means.battery_percent,
            disk_free_bytes=self.means.disk_free_bytes,
        )
        (self.others if how is None else self.frames).append(frame)

    def _go_through(self) -> Stop:
        begun_utc = self._opens_utc
        reason = None
        while reason is None and len(self.frames) < self._most_frames and self._opens_utc - begun_utc < AHEAD:
            reason = self._go_on()
        return Stop(reason, self._opens_utc if reason is None else self.free_utc)

    def _begin(self) -> None:
        """Base frames, the kit's filters, and a scout through them."""
        if not self._standing.base_left or self._is_watch:
            return
        for left in reversed(range(self._standing.base_left)):
            self._take_base(BASE_GAP_S if left else 0.0)
        if self._swap(self._first_filters()):
            self._take_scout()

    def _first_filters(self) -> tuple[str, ...]:
        """The kit's, or those that do where these would not in this light and filters may be changed."""
        outing, prompting = self._outing, self._outing.prompting
        if not outing.changes_filters:
            return outing.kit.filters
        wanted = replace(self.set_up, filters=outing.kit.filters)
        ready_utc = self._opens_utc + timedelta(seconds=prompting.change_s)
        found = next_frame(outing, wanted, self._standing.metered, ready_utc)
        return found.then.set_up.filters if isinstance(found, FilterChange) else outing.kit.filters

    def _go_on(self) -> StopReason | None:
        """One frame of the series with what has to be done before it; or why there is none."""
        done, ends = self._standing.frames_done + len(self.frames), self._standing.ends
        if ends.frames is not None and done >= ends.frames:
            return StopReason.FRAMES_DONE
        found = self._next()
        if isinstance(found, NoFrame):
            return found.reason
        frame = found.then if isinstance(found, FilterChange) else found
        opens_utc = frame.decision.opens_utc
        reason = what_ends(self._outing, ends, self._means_then(), done, opens_utc, frame.open_s)
        if reason is not None:
            return reason
        self._prepare(found)
        self._steps = self._steps[1:]
        self.set_up = frame.set_up
        self.record(done + 1, Role.BASE if self._is_watch else Role.LONG, opens_utc, frame.open_s, frame)
        self._opens_utc = self._free_after(opens_utc, frame.open_s)
        return None

    def _next(self) -> NextFrame | FilterChange | NoFrame:
        outing, metered, opens_utc = self._outing, self._standing.metered, self._opens_utc
        if self._is_watch:
            return _watched(outing, replace(self.set_up, filters=()), metered, opens_utc)
        if self._is_later_pair():
            return next_frame(outing, self.set_up, metered, opens_utc + timedelta(seconds=self._pair_s()))
        chosen_s = None if self._standing.frames_done or self.frames else self._standing.chosen_s
        if chosen_s is not None:
            return self._chosen(chosen_s)
        return next_frame(outing, self.set_up, metered, opens_utc, self._step())

    def _chosen(self, open_s: float) -> NextFrame:
        """As long as a person chose it: nothing is computed, and so nothing leans or steps."""
        opens_utc = self._opens_utc
        upright = replace(self._outing, lean=UPRIGHT)
        found = decide(upright, self.set_up, self._standing.metered, opens_utc)
        return NextFrame(self.set_up, replace(found, open_s=open_s, closes_utc=opens_utc + timedelta(seconds=open_s)))

    def _prepare(self, found: NextFrame | FilterChange) -> None:
        if self._is_later_pair():
            self._swap(())
            self._take_base(0.0)
            self._swap(self._outing.kit.filters)
        elif isinstance(found, FilterChange):
            self._ask(found.remove, found.fit)

    def _is_later_pair(self) -> bool:
        is_first = not self.frames and not self._standing.frames_done
        return self._outing.want.kind is Kind.PAIRS and not is_first

    def _means_then(self) -> Means:
        """What is left when the frame opens: of a later pair, after its frame without the filters."""
        base = self._outing.want.base
        if not self._is_later_pair() or base is None:
            return self.means
        return _means_after(self._outing, self.means, Role.BASE, base.true_s)

    def _pair_s(self) -> float:
        """Filters off, the frame without them, filters on."""
        base, outing = self._outing.want.base, self._outing
        assert base is not None, "checked by the outing"
        return 2.0 * outing.prompting.change_s + base.true_s * _exposures(outing, Role.BASE) + outing.costs.storing_s

    def _step(self) -> float:
        if self._outing.want.kind is not Kind.BRACKET:
            return 0.0
        if not self._steps:
            now = decide(self._outing, self.set_up, self._standing.metered, self._opens_utc)
            done = self._standing.frames_done + len(self.frames)
            self._steps = bracket_order(self._outing.want, done, now.rate_stops_per_min)
        return self._steps[0]

    def _take_base(self, gap_s: float) -> None:
        base = self._outing.want.base
        assert base is not None, "base frames are asked for only where the outing has a base exposure"
        opens_utc = self._opens_utc
        self.record(self._next_n(Role.BASE), Role.BASE, opens_utc, base.true_s)
        self._opens_utc = max(self.free_utc, opens_utc + timedelta(seconds=gap_s))

    def _take_scout(self) -> None:
        outing, longest_s = self._outing, self._outing.bounds.longest_s
        long_s = decide(outing, self.set_up, self._standing.metered, self._opens_utc).open_s or longest_s
        order = scout_order(outing, self.set_up, min(long_s, longest_s))
        self.record(self._next_n(Role.SCOUT), Role.SCOUT, self._opens_utc, order.open_s, iso=order.iso)
        self._opens_utc = self.free_utc

    def _swap(self, filters: tuple[str, ...]) -> bool:
        """Ask for these filters instead of those that are on, and wait; False when they are on already."""
        before, self.set_up = self.set_up.filters, replace(self.set_up, filters=filters)
        if set(before) == set(filters):
            return False
        self._ask(
            tuple(name for name in before if name not in filters), tuple(name for name in filters if name not in before)
        )
        self._opens_utc += timedelta(seconds=self._outing.prompting.change_s)
        return True

    def _ask(self, remove: tuple[str, ...], fit: tuple[str, ...]) -> None:
        announce_utc = self._opens_utc - timedelta(seconds=self._outing.prompting.announce_s)
        announce_utc = max(announce_utc, self._standing.opens_utc)
        self.prompts.append(PlannedPrompt(self._opens_utc, announce_utc, remove, fit))

    def _free_after(self, opens_utc: datetime, open_s: float) -> datetime:
        outing = self._outing
        if self._is_watch:
            gap_s = max(outing.want.every_s, outing.costs.storing_s)
            return opens_utc + timedelta(seconds=open_s * _exposures(outing, Role.BASE) + gap_s)
        return opens_utc + timedelta(seconds=cycle_s(outing, open_s))

    def _next_n(self, role: Role) -> int:
        return 1 + sum(frame.role is role for frame in self.others)


def _watched(outing: Outing, bare: SetUp, metered: Metered, opens_utc: datetime) -> NextFrame:
    """The base frame of a watch: at the dial's time that is nearest to what the light asks for."""
    since_stops = light_stops_since(metered.drift, metered.reading.metered_utc, opens_utc)
    base = watch_base(outing, math.log2(metered.reading.base_s) - since_stops)
    decision = replace(decide(outing, bare, metered, opens_utc), open_s=base.true_s)
    return NextFrame(bare, replace(decision, closes_utc=opens_utc + timedelta(seconds=base.true_s)))


def _exposures(outing: Outing, role: Role) -> int:
    return 2 if outing.dark is Dark.IN_CAMERA and role is not Role.DARK else 1


def _means_after(outing: Outing, means: Means, role: Role, open_s: float) -> Means:
    as_costed = outing if role is not Role.DARK else replace(outing, dark=Dark.NONE)
    battery, disk = means.battery_percent, means.disk_free_bytes
    return replace(
        means,
        battery_percent=None if battery is None else battery - battery_cost_percent(as_costed, means, open_s),
        disk_free_bytes=None if disk is None else disk - outing.costs.disk_bytes,
    )


def _sun_altitude_deg(outing: Outing, at_utc: datetime) -> float | None:
    if outing.place is None:
        return None
    midnight = midnight_before(at_utc)
    return sky_of(outing.place, midnight).sun_altitude_deg((at_utc - midnight).total_seconds())


def _correction_stops(how: NextFrame | None, light_stops: float) -> float:
    # The decision corrects for all the change since metering; what happens while it is open is the part beyond.
    if how is None or how.decision.correction_stops is None:
        return 0.0
    return how.decision.correction_stops + light_stops
