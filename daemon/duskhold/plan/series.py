"""The next long frame of a series: as it is set, or after a change of filters, aperture or ISO, or none.

One rule for the plan at home and for the evening itself, so that what is foretold is what is done.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Final

from duskhold.plan.bag import Setting, stacks
from duskhold.plan.decision import Change, Drift, ExposureDecision, LightReading, light_stops_since, solve
from duskhold.plan.outing import Kind, Outing, Want
from duskhold.plan.stops import StopReason

GAIN_MIN_STOPS: Final = 0.6
"""A change of filters that makes less is no touch worth making, and a scout could not tell whether it was made."""


@dataclass(frozen=True, slots=True)
class SetUp:
    """What is on the camera: filters by name, aperture and ISO."""

    filters: tuple[str, ...]
    aperture: Setting
    iso: Setting


@dataclass(frozen=True, slots=True)
class Metered:
    """The light as it is known: `reading` holds for the bare lens at the kit's aperture and ISO, `drift` goes on.

    `faded_stops` is the light at that reading against the light of the first frame (negative: it has faded), which
    only a series that lets a share of the fade through asks for. `learnt` has what sets of filters were seen to take
    more (positive) or less than the bag says, in stops.
    """

    reading: LightReading
    drift: Drift
    faded_stops: float = 0.0
    learnt: Mapping[frozenset[str], float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NextFrame:
    """A long frame that may be taken with this set-up. `step_stops` is its place in a bracket.

    `tone_stops` is how much brighter than the reference it is meant to be: that step, and what of the fade is let
    through (negative).
    """

    set_up: SetUp
    decision: ExposureDecision
    step_stops: float = 0.0
    tone_stops: float = 0.0

    @property
    def open_s(self) -> float:
        """Its open time; there always is one."""
        assert self.decision.open_s is not None, "only finishable frames are next"
        return self.decision.open_s


@dataclass(frozen=True, slots=True)
class FilterChange:
    """What a person has to take off and to fit before the next frame, and the frame as it would then be."""

    remove: tuple[str, ...]
    fit: tuple[str, ...]
    then: NextFrame


@dataclass(frozen=True, slots=True)
class NoFrame:
    """There is no next frame, and why; `decision` is the frame that would not do."""

    reason: StopReason
    decision: ExposureDecision


def next_frame(
    outing: Outing, set_up: SetUp, metered: Metered, opens_utc: datetime, step_stops: float = 0.0
) -> NextFrame | FilterChange | NoFrame:
    """The frame that opens at `opens_utc`, or `prompting.change_s` later where filters are changed first."""
    decision = decide(outing, set_up, metered, opens_utc, step_stops)
    if _fits(outing, decision):
        return NextFrame(set_up, decision, step_stops, _tone_stops(outing, metered, opens_utc, step_stops))
    for other in _others(outing, set_up, decision):
        wait = timedelta(seconds=outing.prompting.change_s if other.filters != set_up.filters else 0.0)
        found = decide(outing, other, metered, opens_utc + wait, step_stops)
        if _fits(outing, found):
            tone_stops = _tone_stops(outing, metered, opens_utc + wait, step_stops)
            frame = NextFrame(other, found, step_stops, tone_stops)
            return frame if other.filters == set_up.filters else _change(set_up, frame)
    return NoFrame(_reason(outing, decision), decision)


def without_hands(
    outing: Outing, set_up: SetUp, metered: Metered, opens_utc: datetime, settings: Sequence[SetUp]
) -> NextFrame | NoFrame:
    """The frame with the filters left as they are and one of these settings: what is done when nobody answers."""
    decision = decide(outing, set_up, metered, opens_utc)
    for other in settings:
        found = decide(outing, other, metered, opens_utc)
        if _fits(outing, found):
            return NextFrame(other, found, tone_stops=_tone_stops(outing, metered, opens_utc, 0.0))
    return NoFrame(_reason(outing, decision), decision)


def decide(
    outing: Outing, set_up: SetUp, metered: Metered, opens_utc: datetime, step_stops: float = 0.0
) -> ExposureDecision:
    """How long this set-up asks for at this opening, whatever the bounds say."""
    kit = outing.kit
    change = Change(
        kit.glass(set_up.filters).stops + metered.learnt.get(frozenset(set_up.filters), 0.0),
        2.0 * math.log2(set_up.aperture.true_value / kit.aperture.true_value),
        math.log2(set_up.iso.true_value / kit.iso.true_value),
    )
    reading = metered.reading
    tone_stops = _tone_stops(outing, metered, opens_utc, step_stops)
    if tone_stops:
        reading = replace(reading, base_s=reading.base_s * math.exp2(tone_stops))
    return solve(reading, change, metered.drift, opens_utc, outing.limits, outing.lean)


def wider(outing: Outing, set_up: SetUp) -> tuple[SetUp, ...]:
    """The same at every wider aperture that may be set, the nearest first."""
    found = [one for one in outing.kit.apertures if one.true_value < set_up.aperture.true_value]
    return tuple(replace(set_up, aperture=one) for one in sorted(found, key=lambda one: -one.true_value))


def faster(outing: Outing, set_up: SetUp) -> tuple[SetUp, ...]:
    """The same at every higher ISO that may be set, the nearest first."""
    found = [one for one in outing.kit.isos if one.true_value > set_up.iso.true_value]
    return tuple(replace(set_up, iso=one) for one in sorted(found, key=lambda one: one.true_value))


def bracket_order(want: Want, frames_done: int, rate_stops_per_min: float) -> tuple[float, ...]:
    """Longest first while the light fades, last while it grows, so that the times differ less (common practice).

    A first frame whose time a person chose was the step 0 of the first bracket already.
    """
    steps = list(want.steps)
    if want.first_s is not None and frames_done == 1:
        steps.remove(0.0)
    return tuple(sorted(steps, reverse=rate_stops_per_min < 0.0))


def _tone_stops(outing: Outing, metered: Metered, opens_utc: datetime, step_stops: float) -> float:
    """The step, and what is not made up of the fade since the first frame; negative lets the picture darken."""
    share = 1.0 - outing.want.make_up_share
    if share == 0.0:
        return step_stops
    since = light_stops_since(metered.drift, metered.reading.metered_utc, opens_utc)
    return step_stops + share * (metered.faded_stops + since)


def _fits(outing: Outing, decision: ExposureDecision) -> bool:
    bounds = outing.bounds
    return decision.open_s is not None and bounds.shortest_s <= decision.open_s <= bounds.longest_s


def _others(outing: Outing, set_up: SetUp, decision: ExposureDecision) -> Iterator[SetUp]:
    """Other set-ups in the order in which they are tried: filters, and for a look then aperture, then ISO."""
    if not outing.changes_filters:
        return
    is_long = decision.open_s is None or decision.open_s > outing.bounds.longest_s
    now_stops = outing.kit.glass(set_up.filters).stops
    sets = sorted(stacks(outing.kit.bag), key=lambda one: -one[1].stops)
    for names, glass in sets:
        gain_stops = now_stops - glass.stops if is_long else glass.stops - now_stops
        if gain_stops >= GAIN_MIN_STOPS:
            yield replace(set_up, filters=names)
    if outing.want.kind is Kind.LOOK:
        yield from wider(outing, set_up) if is_long else _narrower(outing, set_up)
        yield from faster(outing, _widest(outing, set_up)) if is_long else ()


def _narrower(outing: Outing, set_up: SetUp) -> Iterator[SetUp]:
    slower = sorted((one for one in outing.kit.isos if one.true_value < set_up.iso.true_value), key=_by_value)
    for iso in reversed(slower):
        yield replace(set_up, iso=iso)
    lowest = replace(set_up, iso=min((set_up.iso, *outing.kit.isos), key=_by_value))
    for aperture in sorted(outing.kit.apertures, key=_by_value):
        if aperture.true_value > set_up.aperture.true_value:
            yield replace(lowest, aperture=aperture)


def _widest(outing: Outing, set_up: SetUp) -> SetUp:
    return replace(set_up, aperture=min((set_up.aperture, *outing.kit.apertures), key=_by_value))


def _by_value(setting: Setting) -> float:
    return setting.true_value


def _change(set_up: SetUp, then: NextFrame) -> FilterChange:
    before, after = set_up.filters, then.set_up.filters
    return FilterChange(
        tuple(name for name in before if name not in after), tuple(name for name in after if name not in before), then
    )


def _reason(outing: Outing, decision: ExposureDecision) -> StopReason:
    if decision.open_s is None:
        return StopReason.LIGHT_NEVER_SUFFICES
    is_long = decision.open_s > outing.bounds.longest_s
    return StopReason.LONGEST_FRAME if is_long else StopReason.SHORTEST_FRAME
