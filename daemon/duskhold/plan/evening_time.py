"""What the program's clock does to an evening: confirmed, set, asleep, or against the sky."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from duskhold.light.reading import Reading
from duskhold.light.sign import signed
from duskhold.light.skyshape import SkyShape
from duskhold.plan import evening_words as words
from duskhold.plan.evening_forecast import tell_left
from duskhold.plan.evening_recovery import fault
from duskhold.plan.evening_rest import TIME_LINE, close_now, confirm_time, quiet
from duskhold.plan.evening_state import State
from duskhold.plan.evening_words import Effect, Fault, Tell
from duskhold.plan.moments import begins_utc, ends_of
from duskhold.plan.outing import BadOuting, ClockStart
from duskhold.plan.sky_sense import APART_MAX_STOPS, apart_stops

CLOCK_STEP_MAX_S: Final = 60.0


def begun(state: State, event: words.Begun) -> list[Effect]:
    """The program runs this outing."""
    state.time_confirmed = event.time_confirmed
    state.means = replace(state.means, percent_per_min=state.outing.costs.battery_percent_per_min)
    return tell_left(state)


def clock_confirmed(state: State, event: words.ClockConfirmed) -> list[Effect]:
    """Something else than a person says that the time is right: nobody is asked any more."""
    said = quiet(state) if state.alarm is not None and state.alarm.line == TIME_LINE else []
    return [*said, *confirm_time(state, event.source)]


def clock_stepped(state: State, event: words.ClockStepped) -> list[Effect]:
    """Somebody or something set the clock. By more than a minute, a person has to say which time is right."""
    begun_utc, pack_utc = state.begun_utc, state.ends.pack_utc
    state.shift(event.step_s)
    if not state.told_begin:
        _begin_by_new_clock(state, begun_utc)
    state.ends = ends_of(state.outing, state.start_utc, state.begun_utc)
    state.sky_apart_stops = 0.0
    said: list[Effect] = [Tell("clock", f"the clock was set by {signed(event.step_s, 0)} s", {"step_s": event.step_s})]
    if abs(event.step_s) <= CLOCK_STEP_MAX_S:
        return said
    if pack_utc is not None and state.ends.pack_utc is not None:
        # Whoever has to leave goes by the earlier of both clocks until somebody says which one is right.
        moved_utc = pack_utc + timedelta(seconds=event.step_s)
        state.ends = replace(state.ends, pack_utc=min(state.ends.pack_utc, moved_utc))
    reason = f"the clock was set by {signed(event.step_s, 0)} s: look whether it is right now"
    return [*said, *fault(state, Fault.CLOCK, reason)]


def sleep_ahead(state: State) -> list[Effect]:
    """The computer is about to sleep: close first."""
    return [*close_now(state), *fault(state, Fault.POWER, "the computer goes to sleep")]


def woke(state: State, event: words.Woke) -> list[Effect]:
    """Nobody knows what it missed."""
    return fault(state, Fault.POWER, f"the computer slept for {event.slept_s:.0f} s")


def against_sky(state: State, shape: SkyShape | None, reading: Reading) -> list[Effect]:
    """Hold where the light cannot be that of this place and time; once a person has resumed, only where it is as far
    away again.
    """
    apart = None if shape is None or reading.at_least else apart_stops(shape, reading)
    if apart is None or min(abs(apart), abs(apart - state.sky_apart_stops)) <= APART_MAX_STOPS:
        return []
    state.sky_apart_stops = apart
    reason = f"the light is {signed(apart, 1)} stop from a clear sky at this place and time: is one of them wrong?"
    return fault(state, Fault.CLOCK, reason)


def _begin_by_new_clock(state: State, begun_utc: datetime) -> None:
    """An outing without a day begins at the next sunset, sunrise or altitude after the program's start: by the new
    clock that may be another one.
    """
    start = state.outing.start
    if isinstance(start, ClockStart) or start.from_utc != begun_utc:
        return
    moved = replace(state.outing, start=replace(start, from_utc=state.begun_utc))
    try:
        state.start_utc = begins_utc(moved)
    except BadOuting:
        return  # the sun never does that by the new clock: the hold that follows lets a person decide
    state.outing = moved
