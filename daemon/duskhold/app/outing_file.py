"""Outing files: one evening as a person writes it down, checked whole before anything is done with it.

`day` is the day on which the sun does what the outing starts by, as counted at the place: towards evening from its
mean-solar noon on, towards morning from its midnight. Without it the next time counts.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Final

from duskhold.app.bag import bag_as_stated
from duskhold.app.complaint import problem_at
from duskhold.app.document import Document, DocumentWrong, checked, read_document
from duskhold.app.outing_parts import BoundsPart, KitPart, OutingPart, WantPart
from duskhold.app.settings import Settings
from duskhold.light.crossings import Direction
from duskhold.light.dials import Mark
from duskhold.light.looks import Look, UnknownLook, find_look
from duskhold.light.place import Place
from duskhold.plan.at_home import nearest_filters
from duskhold.plan.bag import BagFilter, Setting, Wanted
from duskhold.plan.moments import begins_utc as begins_utc_of
from duskhold.plan.moments import ends_of
from duskhold.plan.outing import (
    DARKS_AFTER,
    AfterLinkLoss,
    BadOuting,
    Base,
    Bounds,
    ClockStart,
    Costs,
    Dark,
    Doubt,
    EventStart,
    Fallback,
    Kind,
    LeaveBy,
    LightStart,
    Outing,
    OutingKit,
    Prompting,
    Start,
    SunStart,
    Want,
)

DURATION_SHARE: Final = 0.25
"""A wanted time may be so much longer or shorter where neither a look nor bounds say so. Common practice, no source."""
_MEGABYTE: Final = 1_000_000
_ANOTHER_DAY: Final = timedelta(hours=20)
"""A limit of the sun so far away is tomorrow's."""
_ONE_EVENING: Final = timedelta(hours=24)


def load_outing(path: Path, settings: Settings, bag: Sequence[BagFilter], now_utc: datetime) -> Outing:
    """The outing in `path`, with `bag` and the limits of the settings where it has none of its own.

    Raises `DocumentWrong` naming file, line and field, and `OSError` when it cannot be read.
    """
    document = read_document(path)
    part = checked(document, OutingPart)
    with _saying_where(document):
        making = _Making(part, settings, tuple(bag), now_utc)
        return making.outing()


@contextmanager
def _saying_where(document: Document) -> Iterator[None]:
    try:
        yield
    except BadOuting as wrong:
        problem = problem_at(wrong.field, str(wrong), document.lines)
        raise DocumentWrong(document.path, (problem,)) from None


@dataclass(frozen=True, slots=True)
class _Making:
    """One file on its way to an outing; every method raises `BadOuting`."""

    part: OutingPart
    settings: Settings
    bag: tuple[BagFilter, ...]
    now_utc: datetime

    def outing(self) -> Outing:
        part = self.part
        self._check_alternatives()
        made = Outing(
            name=part.name,
            start=self._start(),
            want=self._want(),
            kit=self._kit(),
            place=self._place(),
            bounds=self._bounds(),
            dark=Dark(part.dark),
            darks_after=part.darks_after or DARKS_AFTER,
            prompting=Prompting(
                announce_s=60.0 * part.prompts.announce_min,
                patience_s=60.0 * part.prompts.patience_min,
                change_s=part.prompts.change_s,
                fallback=Fallback(part.prompts.fallback),
            ),
            doubt=Doubt(part.in_doubt),
            after_link_loss=AfterLinkLoss(part.after_link_loss),
            costs=Costs(
                storing_s=part.costs.storing_s,
                battery_percent_per_min=part.costs.battery_percent_per_min,
                disk_bytes=round(part.costs.disk_mb * _MEGABYTE),
            ),
            limits=self.settings.limits.exposure(),
            lean=self.settings.lean.lean(),
        )
        self._check_duration(made.bounds)
        self._check_end(made)
        return self._with_filters(made)

    def _check_alternatives(self) -> None:
        part, want = self.part, self.part.want
        if part.day is not None and part.start.clock is not None:
            raise BadOuting("day", "a start by the clock has its day already")
        if part.darks_after is not None and part.dark != "after":
            raise BadOuting("darks_after", f"there are darks after the series only with dark: after, not {part.dark}")
        if want.first_s is not None and want.duration_s is not None:
            raise BadOuting("want.duration_s", "first_s is the duration already")
        if want.duration_s is not None and want.look is not None:
            raise BadOuting("want.look", "give either look or duration_s")
        frames = part.bounds.frames
        if want.kind == "one" and frames not in (None, 1):
            raise BadOuting("bounds.frames", f"kind one takes a single frame, not {frames}; kind again takes more")
        if frames is not None and want.kind == "bracket" and want.steps and frames % len(want.steps):
            raise BadOuting("bounds.frames", f"{frames} frames leave a bracket of {len(want.steps)} steps unfinished")
        bounded = part.bounds.longest_s is not None and part.bounds.shortest_s is not None
        if want.kind == "look" and want.look is None and not bounded:
            raise BadOuting("want.look", "kind look keeps times in a band: give look, or longest_s and shortest_s")
        if want.kind == "watch":
            if part.kit.filters:
                raise BadOuting("kit.filters", "a watch is of the bare lens")
        elif part.kit.filters is None and want.duration_s is None and want.look is None:
            raise BadOuting("kit.filters", "is missing: name those to fit first ([] for none), or give want.duration_s")
        elif part.kit.filters is None and want.first_s is not None:
            raise BadOuting("kit.filters", "is missing: first_s is held behind the filters of the start ([] for none)")

    def _check_duration(self, bounds: Bounds) -> None:
        wanted_s = self.part.want.duration_s
        if wanted_s is not None and not bounds.shortest_s <= wanted_s <= bounds.longest_s:
            message = f"{wanted_s:g} s is not within bounds, {bounds.shortest_s:g} to {bounds.longest_s:g} s"
            raise BadOuting("want.duration_s", message)

    def _check_end(self, made: Outing) -> None:
        bounds = made.bounds
        if made.frames_wanted is None and bounds.sun_altitude_deg is None and bounds.leave_by is None:
            raise BadOuting("bounds", "nothing ends this outing: give sun_altitude_deg, leave_by or frames")
        begins_utc = begins_utc_of(made)
        begins = f"it would begin at {begins_utc:%Y-%m-%d %H:%M}Z"
        if bounds.leave_by is not None and bounds.leave_by.leave_utc(begins_utc) - begins_utc > _ONE_EVENING:
            raise BadOuting(
                "bounds.leave_by", f"{begins}, more than a day before it is time to leave: is the day right?"
            )
        if isinstance(made.start, LightStart):
            return  # when the light comes is a guess at home, and refuses nothing
        if bounds.leave_by is not None and bounds.leave_by.pack_utc(begins_utc) <= begins_utc:
            raise BadOuting("bounds.leave_by", f"{begins}, when it is time to pack already")
        sun_utc = ends_of(made, begins_utc).sun_utc
        if sun_utc is not None and sun_utc - begins_utc > _ANOTHER_DAY:
            raise BadOuting("bounds.sun_altitude_deg", f"{begins}, when the sun is past it already")
        if sun_utc is None and made.frames_wanted is None and bounds.leave_by is None:
            message = (
                "the sun does not get there within a day of the start, so nothing ends it: give leave_by or frames"
            )
            raise BadOuting("bounds.sun_altitude_deg", message)

    def _with_filters(self, made: Outing) -> Outing:
        """The filters that come nearest to the duration or the look, where the file names none."""
        if self.part.kit.filters is not None or made.want.kind is Kind.WATCH:
            return made
        chosen = nearest_filters(made, self._wanted())
        return replace(made, kit=replace(made.kit, filters=chosen))

    def _wanted(self) -> Wanted:
        look, duration_s = self._look(), self.part.want.duration_s
        if look is not None:
            return Wanted(look.wanted_s, look.shortest_s, look.longest_s)
        assert duration_s is not None, "one of them was asked for"
        return Wanted(duration_s, duration_s * (1.0 - DURATION_SHARE), duration_s * (1.0 + DURATION_SHARE))

    def _look(self) -> Look | None:
        if self.part.want.look is None:
            return None
        try:
            return find_look(self.part.want.look, self.settings.look_table())
        except UnknownLook as unknown:
            raise BadOuting("want.look", str(unknown)) from None

    def _start(self) -> Start:
        start = self.part.start
        if start.clock is not None:
            return ClockStart(start.clock)
        if start.sun is not None:
            way = Direction(start.sun.direction)
            return SunStart(start.sun.altitude_deg, way, self._from_utc(way))
        if start.event is not None:
            way = Direction.DOWN if start.event.name == "sunset" else Direction.UP
            return EventStart(way, start.event.offset_min, self._from_utc(way))
        assert start.light is not None, "exactly one is given"
        way = Direction(start.light.direction)
        return LightStart(start.light.base.true_value, way, self._from_utc(way))

    def _from_utc(self, way: Direction) -> datetime:
        day, place = self.part.day, self._place()
        if day is None:
            return self.now_utc
        at_place = time(12) if way is Direction.DOWN else time()
        east_of_utc = timedelta(hours=0.0 if place is None else place.longitude_deg / 15.0)
        return _at(day, at_place) - east_of_utc

    def _place(self) -> Place | None:
        found = self.part.place or self.settings.place
        return None if found is None else found.place()

    def _want(self) -> Want:
        want, light = self.part.want, self.part.start.light
        base = want.base if want.base is not None or light is None or want.first_s is not None else light.base
        return Want(
            kind=Kind(want.kind),
            base=None if base is None else Base(base.name, base.true_value),
            first_s=want.first_s,
            make_up_share=want.make_up_share,
            steps=want.steps,
            between_s=want.between_s,
            every_s=want.every_s,
            base_frames=want.base_frames,
        )

    def _kit(self) -> OutingKit:
        kit: KitPart = self.part.kit
        bag, filters = self.bag if kit.bag is None else bag_as_stated(kit.bag), kit.filters or ()
        if len(set(filters)) < len(filters):
            raise BadOuting("kit.filters", "a filter is named twice")
        turned = [one.name for one in bag if one.polariser is not None and one.name in filters]
        if turned:
            message = f"{turned[0]!r} is a polariser: it goes on before the base frame, which meters what it takes"
            raise BadOuting("kit.filters", message)
        return OutingKit(
            bag=bag,
            filters=filters,
            aperture=_setting(kit.aperture),
            iso=_setting(kit.iso),
            apertures=tuple(_setting(one) for one in kit.apertures),
            isos=tuple(_setting(one) for one in kit.isos),
        )

    def _bounds(self) -> Bounds:
        bounds: BoundsPart = self.part.bounds
        limits, leave = self.settings.limits, bounds.leave_by
        shortest_s, longest_s = self._band()
        reserve_mb = limits.disk_reserve_mb if bounds.disk_reserve_mb is None else bounds.disk_reserve_mb
        battery = bounds.battery_reserve_percent
        return Bounds(
            longest_s=longest_s if bounds.longest_s is None else bounds.longest_s,
            shortest_s=shortest_s if bounds.shortest_s is None else bounds.shortest_s,
            sun_altitude_deg=bounds.sun_altitude_deg,
            leave_by=None if leave is None else LeaveBy(leave.at, leave.in_min, leave.pack_min),
            frames=bounds.frames,
            battery_reserve_percent=limits.battery_reserve_percent if battery is None else battery,
            disk_reserve_bytes=reserve_mb * _MEGABYTE,
        )

    def _band(self) -> tuple[float, float]:
        """Shortest and longest where the bounds do not say: the look's, or usual ones that hold the wanted time."""
        usual, look = Bounds(), self._look()
        if look is not None:
            return look.shortest_s, look.longest_s
        want: WantPart = self.part.want
        wanted_s = want.first_s or want.duration_s
        shortest_s, longest_s = usual.shortest_s, usual.longest_s
        if wanted_s is not None:
            shortest_s = min(shortest_s, wanted_s * (1.0 - DURATION_SHARE))
            longest_s = max(longest_s, wanted_s * (1.0 + DURATION_SHARE))
        limits = self.settings.limits
        return max(shortest_s, limits.shortest_s), min(longest_s, limits.longest_s)


def _setting(mark: Mark) -> Setting:
    return Setting(mark.name, mark.true_value)


def _at(day: date, clock: time) -> datetime:
    return datetime.combine(day, clock, UTC)
