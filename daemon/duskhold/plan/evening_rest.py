"""What holds of an evening whatever is next: when to look at it again, how it ends and is held, what is seen of it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from duskhold.plan.evening_state import Alarm, Announced, Held, State
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.evening_words import CloseNow, Effect, Fault, Quiet, Ring, Take, Tell, Urgency
from duskhold.plan.moments import ends_of
from duskhold.plan.outing import Kind, LightStart
from duskhold.plan.series import FilterChange, NoFrame, next_frame
from duskhold.plan.stops import StopReason, cycle_s, exposures

FORSAKEN_S: Final = 7200.0
"""A series that waits for a person so long ends, so that the camera does not wait for the morning."""
ANNOUNCE_MARGIN_S: Final = 45.0
"""A change is told a little more than `announce_s` ahead, since it may come earlier than foretold."""
UNHEARD_S: Final = 1800.0
"""An alarm of the end that nobody hears is given up after so long. Common practice, no source."""
LEFT_UNSETTLED_S: Final = 20.0
"""A shutter process that died is followed within seconds; a lead that is away is nobody's reason to stay."""
UNSETTLED_LINE: Final = "the shutter is not proven closed: look at the camera"
REST_LINE: Final = "nothing more is taken; say leaving when you go"
TIME_LINE: Final = "is the time right? Look at the clock, then say done"
CAP_LINE: Final = "put the cap on for the dark frames, then say done"
_WEIGHT: Final = {Urgency.DO: 0, Urgency.FAILED: 1, Urgency.LEAVE: 2}


def stop(state: State, reason: StopReason, line: str) -> list[Effect]:
    """The series is over as soon as nothing is under way; the first reason is the one that counts."""
    if state.stop is not None:
        return []
    state.stop, state.stop_line, state.foreseen = reason, line, None
    return [Tell("stop", line, {"reason": reason.value})]


def hold(state: State, held: Held, urgency: Urgency = Urgency.FAILED) -> list[Effect]:
    """Nothing is taken until a person resumes. What only a person can judge is not hidden by what comes after it."""
    was, state.resumable_link = state.held, False
    if was is None:
        state.held = replace(held, since_utc=state.now_utc)
    elif was.fault in (None, Fault.LINK):
        state.held = replace(held, since_utc=was.since_utc, fault=held.fault or was.fault)
    return [ring(state, urgency, held.reason), Tell("held", held.reason, {"fault": held.fault and held.fault.value})]


def hold_quietly(state: State, reason: str) -> list[Effect]:
    """The same by a person's own wish: nobody has to be rung for."""
    state.hold_after = state.resumable_link = False
    state.held = Held(reason, since_utc=state.now_utc)
    return [Tell("held", reason, {"fault": None})]


def close_now(state: State) -> list[Effect]:
    """Close and keep the frame that is being taken; that it may not have opened yet is no fault of the camera then."""
    if state.taking is None:
        return []
    state.close_asked = True
    return [CloseNow(LEFT_UNSETTLED_S if state.left else None)]


def ring(state: State, urgency: Urgency, line: str) -> Ring:
    """Ring until a person says a word. What is weaker does not silence what is stronger: that rings on."""
    now = state.alarm
    if now is None or _WEIGHT[urgency] >= _WEIGHT[now.urgency]:
        now = state.alarm = Alarm(line, urgency, state.now_utc)
    return Ring(now.urgency, now.line)


def quiet(state: State) -> list[Effect]:
    """Whatever rings is over."""
    said: list[Effect] = [] if state.alarm is None else [Quiet()]
    state.alarm = None
    return said


def take(state: State, order: Take) -> list[Effect]:
    """Have the frame taken now."""
    state.taking, state.opened_utc, state.close_asked = order, state.now_utc, False
    return [order]


def opens_utc(state: State) -> datetime:
    """When the next long frame may open, as far as the pause between frames goes."""
    if state.free_utc is None:
        return state.now_utc
    return max(state.now_utc, state.free_utc + timedelta(seconds=cycle_s(state.outing, 0.0)))


def free_utc(state: State, closed_utc: datetime | None, open_s: float | None) -> datetime:
    """When the camera is free after a long frame: its closing, and an in-camera dark frame as long as it was."""
    if closed_utc is None:
        return state.now_utc
    dark_s = (exposures(state.outing) - 1) * (open_s or 0.0)
    return max(closed_utc, state.begun_utc) + timedelta(seconds=dark_s)


def deadline_utc(state: State) -> datetime | None:
    """When there is something to do, if nothing else happens before."""
    found = [each for each in _moments(state) if each is not None]
    return min(found, default=None)


def foretell(state: State, open_s: float) -> None:
    """Look ahead for the next change of filters, as far as it is to be announced before the frame after next."""
    state.announced = None
    metered = state.light.metered()
    if metered is None or not state.outing.changes_filters:
        return
    outing, prompting = state.outing, state.outing.prompting
    # With no frame opening now, the next one opens after the pause that runs.
    at_utc = state.now_utc + timedelta(seconds=cycle_s(outing, open_s)) if open_s else opens_utc(state)
    horizon_utc = at_utc + timedelta(seconds=prompting.announce_s + ANNOUNCE_MARGIN_S + outing.bounds.longest_s)
    while at_utc < horizon_utc:
        found = next_frame(outing, state.set_up, metered, at_utc)
        if isinstance(found, FilterChange):
            if found.then.set_up.filters != state.announced_filters:
                state.announced = Announced(found.then.set_up.filters, at_utc)
            return
        if isinstance(found, NoFrame):
            return
        at_utc += timedelta(seconds=cycle_s(outing, found.open_s))


def forsaken_utc(state: State) -> datetime | None:
    """When whoever is waited for, at a hold or at a prompt, has not come for so long that the series ends."""
    waiting = None if state.request is None or state.request.answered else state.request.waiting_since_utc
    if state.held is not None:
        waiting = state.held.since_utc
    elif state.unsettled is not None:
        waiting = state.unsettled_utc
    elif not (state.time_confirmed or state.told_begin):
        waiting = state.asked_time_utc
    if waiting is None:
        return None
    return (waiting if state.told_begin else max(waiting, state.start_utc)) + timedelta(seconds=FORSAKEN_S)


def rests_until_utc(state: State) -> datetime | None:
    """How long an evening that is over still waits: for its time to pack, and for an alarm to be heard."""
    if state.left_utc is not None:
        return None if state.unsettled is None else state.left_utc + timedelta(seconds=LEFT_UNSETTLED_S)
    waits = [] if state.packed or state.ends.pack_utc is None else [state.ends.pack_utc]
    if state.alarm is not None and state.alarm.urgency is not Urgency.DO:
        waits.append(state.alarm.since_utc + timedelta(seconds=UNHEARD_S))
    return max(waits, default=None)


def pack_counts(state: State) -> bool:
    """Whether the time to pack is known: before it has begun, a clock that nobody trusts says nothing of it."""
    leave_by = state.outing.bounds.leave_by
    is_by_clock = leave_by is not None and leave_by.at_utc is not None
    return state.ends.pack_utc is not None and (state.time_confirmed or state.told_begin or not is_by_clock)


def confirm_time(state: State, source: str) -> list[Effect]:
    """The clock is right, says `source`: what hangs on it is counted by it alone from now on."""
    state.time_confirmed = True
    state.ends = ends_of(state.outing, state.start_utc, state.begun_utc)
    return [Tell("clock", f"the time is right, says {source}", {"source": source})]


def light_over_utc(state: State) -> datetime | None:
    """When the sun ends a series that waits for a person; None while nobody is waited for."""
    is_asking = state.request is not None and not state.request.answered
    return state.ends.sun_utc if is_asking or state.held is not None else None


def announce_utc(state: State, ahead: Announced) -> datetime:
    """When a change is to be told."""
    return ahead.at_utc - timedelta(seconds=state.outing.prompting.announce_s + ANNOUNCE_MARGIN_S)


def view_of(state: State, now_utc: datetime) -> View:
    """One look at it."""
    take = state.taking
    phase = _phase(state)
    until_utc = deadline_utc(state)
    if take is not None and state.opened_utc is not None:
        until_utc = None if state.close_asked else state.opened_utc + timedelta(seconds=take.open_s)
    elif phase is Phase.BETWEEN and opens_utc(state) > now_utc:
        until_utc = opens_utc(state)
    next_open_s, why = _next(state, now_utc)
    return View(
        phase=phase,
        line=_line(state),
        role=None if take is None else take.role.value,
        until_utc=until_utc,
        open_s=None if take is None else take.open_s,
        next_open_s=next_open_s,
        why=why,
        filters=state.set_up.filters,
        frames_done=state.frames_done,
        frames_left=_frames_left(state),
        ends_utc=None if state.stop is not None or state.foreseen is None else state.foreseen.ends_utc,
        verdict=state.verdict,
        alarm=None if state.alarm is None else state.alarm.line,
        pack_utc=state.ends.pack_utc,
        light_ends_utc=state.ends.sun_utc,
        stop=None if state.stop is None else state.stop_line,
    )


def _line(state: State) -> str:
    if state.held is not None and not state.resting:
        return state.held.reason
    if state.request is not None and not state.request.answered:
        return state.request.line()
    if state.alarm is not None:
        return state.alarm.line
    if state.unsettled is not None:
        return UNSETTLED_LINE
    if state.asked_time_utc is not None and not state.time_confirmed:
        return TIME_LINE
    if state.resting:
        return REST_LINE
    return CAP_LINE if state.darks_left and not state.cap_on and not state.ended else "nothing"


def _frames_left(state: State) -> int | None:
    if state.stop is not None:
        return 0
    if state.foreseen is None or state.foreseen.frames_left is None:
        return None
    return max(0, state.foreseen.frames_left - (state.frames_done - state.foreseen_done))


def _phase(state: State) -> Phase:
    watching = isinstance(state.outing.start, LightStart) and not state.watched_enough
    tests = (
        (state.ended, Phase.ENDED),
        (state.taking is not None, Phase.OPEN),
        (state.measuring is not None, Phase.MEASURING),
        (state.resting and state.unsettled is None, Phase.RESTING),
        (state.held is not None and not state.resting, Phase.HELD),
        (state.unsettled is not None, Phase.UNSETTLED),
        (state.request is not None or bool(state.darks_left and not state.cap_on), Phase.ASKING),
        (state.checking or not state.checked, Phase.CHECKING),
        (not state.told_begin, Phase.WAITING),
        (watching or state.outing.want.kind is Kind.WATCH, Phase.WATCHING),
    )
    return next((phase for holds, phase in tests if holds), Phase.BETWEEN)


def _next(state: State, now_utc: datetime) -> tuple[float | None, str]:
    """The next long frame's time as it would be now, and why."""
    metered = state.light.metered()
    if metered is None or state.ended or now_utc < metered.reading.metered_utc:
        return state.outing.want.first_s if metered is None else None, ""
    after = state.set_up if state.request is None else state.request.after
    found = next_frame(state.outing, after, metered, now_utc)
    frame = found.then if isinstance(found, FilterChange) else found
    if isinstance(frame, NoFrame):
        return None, frame.reason.value
    decision = frame.decision
    glass_stops = state.outing.kit.glass(frame.set_up.filters).stops
    way = "fading" if decision.rate_stops_per_min < 0.0 else "growing"
    return frame.open_s, (
        f"{decision.plain_s:.0f} -> {frame.open_s:.0f} s: {glass_stops:.1f} stops of filters, "
        f"{way} {abs(decision.rate_stops_per_min):.2f}/min"
    )


def _moments(state: State) -> Sequence[datetime | None]:
    if state.ended:
        return ()
    pack_utc = None if state.packed or state.left or not pack_counts(state) else state.ends.pack_utc
    ahead = None if state.stop is not None else state.announced
    always = (pack_utc, None if ahead is None else announce_utc(state, ahead))
    if state.is_busy:
        measured_utc = None if state.measuring is None else state.measuring.by_utc
        return (*always, measured_utc, None if state.awaits_answer else forsaken_utc(state))
    if state.stop is not None:
        cap_by_utc = state.cap_by_utc if state.darks_left and not state.cap_on and state.held is None else None
        held_until_utc = None if state.held is None or state.resting else forsaken_utc(state)
        return (*always, cap_by_utc, held_until_utc, rests_until_utc(state) if state.resting else None)
    if state.held is not None:
        return (*always, forsaken_utc(state), light_over_utc(state))
    if not state.told_begin:
        return (*always, _after(state, state.start_utc) if state.checked else None, forsaken_utc(state))
    waits = (state.base_due_utc, state.scout_due_utc, opens_utc(state))
    waited = (forsaken_utc(state), light_over_utc(state), _patience_utc(state))
    return (*always, *waited, *(_after(state, at_utc) for at_utc in waits))


def _patience_utc(state: State) -> datetime | None:
    request = state.request
    if request is None or request.answered or state.fallback_tried:
        return None
    return request.asked_utc + timedelta(seconds=state.outing.prompting.patience_s)


def _after(state: State, at_utc: datetime | None) -> datetime | None:
    return at_utc if at_utc is not None and at_utc > state.now_utc else None
