"""How an evening comes to its end: dark frames, then a rest until it is time to pack and every alarm is heard."""

from dataclasses import replace
from datetime import timedelta

from duskhold.plan.evening_orders import dark_order
from duskhold.plan.evening_rest import (
    CAP_LINE,
    LEFT_UNSETTLED_S,
    UNSETTLED_LINE,
    forsaken_utc,
    hold_quietly,
    quiet,
    rests_until_utc,
    ring,
    take,
)
from duskhold.plan.evening_state import Alarm, State
from duskhold.plan.evening_words import Effect, Ended, ReadMeans, Tell, Urgency
from duskhold.plan.outing import Dark
from duskhold.plan.stops import NO_DARKS_AFTER, what_ends


def finish(state: State) -> list[Effect] | None:
    """The duty of a series that is over: None as long as it is not."""
    if state.stop is None:
        return None
    darks = None if state.packed or state.left or state.resting else _darks(state)
    if darks is not None:
        return darks
    # A prompt is over with the series; what failed and the time to pack ring until somebody hears them.
    said = quiet(state) if state.alarm is not None and state.alarm.urgency is Urgency.DO else []
    state.request = None
    if state.darks_left:
        state.darks_left = 0
    until_utc = rests_until_utc(state)
    if until_utc is not None and state.now_utc < until_utc:
        return said + _rest(state)
    state.ended = True
    line = state.stop_line if state.unsettled is None else f"{state.stop_line}; {UNSETTLED_LINE}"
    return [*said, Ended(state.stop.value, line)]


def _rest(state: State) -> list[Effect]:
    if state.resting:
        return []
    state.resting = True
    if state.left:
        return [Tell("resting", f"{UNSETTLED_LINE}; it is waited for, {LEFT_UNSETTLED_S:.0f} s at most", {})]
    pack_utc = None if state.packed else state.ends.pack_utc
    then = "an alarm rings: say heard" if pack_utc is None else f"it rings at {pack_utc:%H:%M} UTC, the time to pack"
    return [Tell("resting", f"nothing more is taken; {then}", {})]


def _darks(state: State) -> list[Effect] | None:
    """Dark frames after the series, when there is time and power for them; None when there are none to take."""
    outing = state.outing
    is_wanted = outing.dark is Dark.AFTER and state.stop not in NO_DARKS_AFTER and state.longest_open_s > 0.0
    if not is_wanted or state.unsettled is not None:
        return None
    if state.held is not None:
        return _held(state)
    if state.darks_left is not None and state.hold_after:
        return hold_darks(state, "held")
    if state.darks_left is None:
        return _ask_for_cap(state)
    if not state.darks_left:
        return None
    if not state.cap_on:
        assert state.cap_by_utc is not None, "set when the cap was asked for"
        return [] if state.now_utc < state.cap_by_utc else None
    if not state.means_fresh:
        state.reading_means = True
        return [ReadMeans()]
    ends = replace(state.ends, sun_utc=None, frames=None)
    if what_ends(outing, ends, state.means, 0, state.now_utc, state.longest_open_s):
        return None
    return take(state, dark_order(outing, state.set_up, state.longest_open_s))


def hold_darks(state: State, why: str) -> list[Effect]:
    """No further dark before a person says resume."""
    return hold_quietly(state, f"{why}: say resume to go on with the dark frames")


def _held(state: State) -> list[Effect] | None:
    """A person's hold among the darks is waited out; after a fault or a new start nothing more is taken."""
    assert state.held is not None, "asked only then"
    at_utc = forsaken_utc(state)
    is_persons = state.held.fault is None and state.darks_left is not None
    return [] if is_persons and at_utc is not None and state.now_utc < at_utc else None


def _ask_for_cap(state: State) -> list[Effect]:
    state.darks_left, state.request, state.hold_after = state.outing.darks_after, None, False
    state.faults_running = 0  # those of the series ended with it
    state.cap_by_utc = state.now_utc + timedelta(seconds=state.outing.prompting.patience_s)
    return [ring(state, Urgency.DO, CAP_LINE), Tell("prompt", CAP_LINE, {"darks": state.outing.darks_after})]


def begin_again_after(state: State, rang: Alarm | None) -> list[Effect]:
    """A new start after the series: what nobody has heard rings again, and a dark waits for a person."""
    if state.ended:
        return []
    again: list[Effect] = []
    if rang is not None and rang.urgency is not Urgency.DO:
        again = [ring(state, rang.urgency, rang.line)]
    if not state.darks_left or state.held is not None:
        return again
    held = hold_darks(state, "the program was started again")
    return [*again, ring(state, Urgency.DO, "the program was started again: say resume for the dark frames"), *held]
