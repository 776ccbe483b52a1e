"""What stops an evening until a person resumes, and how it goes on after that."""

from dataclasses import replace
from typing import Final

from duskhold.plan.evening_rest import confirm_time, hold, hold_quietly, ring, stop
from duskhold.plan.evening_state import Held, State
from duskhold.plan.evening_words import PERSON, Act, Effect, Fault, Measured, Tell, Urgency
from duskhold.plan.outing import AfterLinkLoss, Doubt
from duskhold.plan.stops import StopReason

FAULTS_MAX: Final = 5
"""Somebody who resumes again and again does not mend it. Common practice, no source."""

ASKED_MAX: Final = 2
"""What a person has looked at so often, and said resume to, is told from then on and not asked. Common practice."""


def fault(state: State, kind: Fault, reason: str) -> list[Effect]:
    """Hold. A link that is back may end only a hold that a lost link began, and none that a person asked for."""
    if state.ended:
        return []
    if state.stop is not None:
        return _fault_after(state, kind, reason)
    was = state.held
    state.faults_since_frame += was is None
    if state.faults_since_frame >= FAULTS_MAX:
        line = f"{FAULTS_MAX} faults without a frame between them, the last: {reason}"
        return [ring(state, Urgency.FAILED, line), *stop(state, StopReason.FAULT, line)]
    agreed = kind is Fault.LINK and state.outing.after_link_loss is AfterLinkLoss.RESUME and not state.hold_after
    agreed = agreed and (was is None or state.resumable_link)
    then = "" if "say resume" in reason else "; say resume to go on"
    said = hold(state, Held(f"{kind.value}: {reason}{then}", kind))
    state.resumable_link = agreed
    return said


def _fault_after(state: State, kind: Fault, reason: str) -> list[Effect]:
    """When the series is over only what may have left a shutter open, or costs the darks, is worth an alarm."""
    line = f"{kind.value}: {reason}"
    told = Tell("fault", line, {"fault": kind.value})
    if state.left or (state.resting and kind is not Fault.SHUTTER):
        return [told]
    state.held = Held(line, kind, state.now_utc)  # no dark is taken after it
    return [ring(state, Urgency.FAILED, line), told]


def resume(state: State) -> list[Effect]:
    """Go on after a hold, if there is one."""
    was, state.held = state.held, None
    state.hold_after = state.resumable_link = False
    if was is None:
        return []
    state.faults_running = 0
    state.means_fresh = False
    if was.fault is not None:
        state.checked = False  # what stopped it may have changed the camera
    # Light went on changing, and hands may have been at the camera.
    state.scout_needed = state.fallback_tried if state.request is not None else bool(state.frames_done)
    return confirm_time(state, PERSON) if was.fault is Fault.CLOCK else []


def ask_again(state: State) -> list[Effect]:
    """After a hold a change that was not made yet is asked for anew: whoever was there may have made it already, so
    that no fallback goes on before another scout."""
    request = state.request
    if request is None or request.answered:
        return []
    state.request = replace(request, asked_utc=state.now_utc, unanswered_since_utc=None)
    state.fallback_tried = state.scout_needed = False
    state.scout_due_utc, state.scout_off_stops, state.looks = None, None, 0
    return [ring(state, Urgency.DO, f"{request.line()}, then say done")]


def never_opened(state: State) -> list[Effect]:
    """Closed before it opened. Whoever said so is not to see another one open at once."""
    if state.stop is not None or state.held is not None:
        return []  # closed among the darks: `hold_after` says so
    return hold_quietly(state, "closed before it opened: say resume to go on")


def in_doubt(state: State, event: Measured) -> list[Effect]:
    """A verdict that only a person can judge: as the outing says. When the series is over it is only told."""
    line = event.text or ", ".join(event.codes) or "the picture is not as it should be"
    if event.act is Act.STOP and state.stop is None:
        return [ring(state, Urgency.FAILED, line), *stop(state, StopReason.IN_DOUBT, line)]
    if state.stop is not None or state.outing.doubt is Doubt.GO_ON:
        return [Tell("in_doubt", line, {"codes": list(event.codes)})]
    if event.codes and all(state.asked.get(code, 0) >= ASKED_MAX for code in event.codes):
        return [Tell("in_doubt", f"{line}; it was looked at, so it goes on", {"codes": list(event.codes)})]
    state.asked = state.asked | {code: state.asked.get(code, 0) + 1 for code in event.codes}
    return doubt(state, line)


def doubt(state: State, line: str, then: str = "look, then say resume") -> list[Effect]:
    """Only a person can judge it: as the outing says. When the series is over it is only told. `then` is what to do."""
    if state.stop is not None:
        return [Tell("in_doubt", line, {})]
    match state.outing.doubt:
        case Doubt.STOP:
            return [ring(state, Urgency.FAILED, line), *stop(state, StopReason.IN_DOUBT, line)]
        case Doubt.GO_ON:
            return [Tell("in_doubt", line, {})]
        case Doubt.ASK:
            return hold(state, Held(f"{line}: {then}"), Urgency.DO)


def told_closed(state: State) -> None:
    """A shutter that was not proven closed is closed now: what waits for a person says so."""
    if state.held is None or state.held.fault not in (Fault.LINK, Fault.SHUTTER):
        return
    line = f"{state.held.fault.value}: the shutter is closed now; say resume to go on"
    if state.alarm is not None and state.alarm.line == state.held.reason:
        state.alarm = replace(state.alarm, line=line)
    state.held = replace(state.held, reason=line)
