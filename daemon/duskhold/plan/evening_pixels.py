"""What the pixels of a frame say, and what follows: the light, filters proven or denied, doubts, picture faults."""

import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from duskhold.light.crossings import Direction
from duskhold.light.dials import APERTURE, ISO, SHUTTER
from duskhold.light.reading import Reading, scene_level_stops
from duskhold.light.sign import signed
from duskhold.light.skyshape import SkyShape
from duskhold.plan import evening_words as words
from duskhold.plan.asking import Seen, complaint, deny_burnt, filter_off, prove
from duskhold.plan.evening_agenda import light_has_come
from duskhold.plan.evening_recovery import doubt, in_doubt
from duskhold.plan.evening_rest import foretell, ring, stop
from duskhold.plan.evening_state import State
from duskhold.plan.evening_time import against_sky
from duskhold.plan.evening_words import Act, Effect, Take, Tell, Urgency
from duskhold.plan.known_light import Reference
from duskhold.plan.outing import BASE_GAP_S, Doubt, Kind, LightStart, OutingKit
from duskhold.plan.role import Role
from duskhold.plan.series import SetUp
from duskhold.plan.stops import StopReason

PICTURE_FAULTS_MAX: Final = 3
LOOK_AGAIN_S: Final = 10.0
LOOKS_MAX: Final = 3
"""After so many scouts that do not agree with each other a person is asked. Common practice, no source."""
DARK_BELOW_STOPS: Final = 4.0
"""A frame with the cap on is at least so far below what the scene would give."""
BURNT_STOPS: Final = 2.0
"""A clipped frame whose mean is so far above a mid-tone looks the same with more light. Common practice, no source."""
METERED_MAX: Final = 15
"""So often the light is metered anew where base frames are burnt: half an hour where nobody is asked."""


@dataclass(frozen=True, slots=True)
class _Look:
    """What a frame says: its light, its verdict, and whether it is burnt, so that its light is only a bound.

    `asked_s` is the time that was asked for.
    """

    reading: Reading
    event: words.Measured
    opened_utc: datetime
    is_burnt: bool
    asked_s: float


def measured(state: State, shape: SkyShape | None, event: words.Measured) -> list[Effect]:
    """What the pixels of the frame that was told last say; `shape` is the clear sky of the place."""
    of = state.measuring
    if of is None or event.frame_id != of.frame_id:
        return []  # told too late, after it was given up
    state.measuring, state.verdict = None, event.text
    reading = Reading(
        of.opened_utc + timedelta(seconds=of.open_s / 2.0), event.level_ev, event.sigma_stops, of.take.role.value,
        of.open_s, event.at_least,
    )  # fmt: skip
    above_mid_stops = event.level_ev - scene_ev(state.outing.kit, of.take, of.open_s, 1.0)
    is_burnt = reading.at_least and above_mid_stops >= BURNT_STOPS
    look = _Look(reading, event, of.opened_utc, is_burnt, of.take.open_s)
    match of.take.role:
        case Role.BASE:
            return _base_seen(state, shape, look)
        case Role.SCOUT:
            return _scout_seen(state, look)
        case Role.LONG:
            return _long_seen(state, look)
        case Role.DARK:
            return _dark_seen(state, reading)


def scene_ev(kit: OutingKit, take: Take, open_s: float, share: float) -> float:
    """The light of a frame that came out at this share of a mid-tone, by its filters as the bag says them."""
    # A dial's frame by the dial's own true time, a held one by the time that it was really open.
    true_s = open_s if take.dial is None else SHUTTER.true_value(take.dial)
    f_number, iso = APERTURE.true_value(take.aperture), ISO.true_value(take.iso)
    return scene_level_stops(share, f_number, true_s, iso, kit.glass(take.filters).stops)


def not_measured(state: State, event: words.NotMeasured) -> list[Effect]:
    """They say nothing: a picture fault. The frame is kept and counts."""
    of = state.measuring
    if of is None or event.frame_id != of.frame_id:
        return []
    state.measuring, role = None, of.take.role
    if role is Role.LONG:
        count_frame(state)
        state.scout_needed = True
    if role is Role.DARK and state.darks_left:
        state.darks_left -= 1  # it is kept, whether or not it could be looked at
    return _picture_fault(state, event.reason)


def count_frame(state: State) -> None:
    """A long frame is taken."""
    want = state.outing.want
    state.frames_done += 1
    if state.steps_left:
        state.steps_left = state.steps_left[1:]
    if want.kind is Kind.PAIRS:
        state.base_wanted, state.base_due_utc = True, None


def _base_seen(state: State, shape: SkyShape | None, look: _Look) -> list[Effect]:
    want, reading = state.outing.want, look.reading
    assert want.base is not None, "no base frame is asked for without"
    state.bases += 1
    state.base_wanted = False
    state.base_most_s = look.asked_s * math.exp2(-BURNT_STOPS) if look.is_burnt else None
    is_first = state.light.reference is None
    state.light.see_bare(reading)
    if (is_first or state.frames_done == 0) and not look.is_burnt:
        state.light.reference = Reference(look.asked_s, reading.level_stops)
    is_watch = want.kind is Kind.WATCH
    watching = is_watch or (isinstance(state.outing.start, LightStart) and not state.watched_enough)
    if is_watch:
        state.frames_done += 1
    elif watching and not _waits_for_less(state, look) and light_has_come(state):
        state.watched_enough, watching = True, False
    gap_s = want.every_s if watching else BASE_GAP_S
    state.base_due_utc = reading.taken_utc + timedelta(seconds=gap_s)
    if look.is_burnt and not watching and state.light.reference is None and state.bases >= want.base_frames:
        return _meter_again(state)
    said: list[Effect] = []
    if reading.at_least:
        said.append(Tell("clipped", "the base frame is clipped: its light is at least this bright", {}))
    return said + against_sky(state, shape, reading)


def _waits_for_less(state: State, look: _Look) -> bool:
    """A burnt frame is no proof that light which is to fade has faded: there may be any more of it."""
    start = state.outing.start
    return look.is_burnt and isinstance(start, LightStart) and start.direction is Direction.DOWN


def _meter_again(state: State) -> list[Effect]:
    """No tone can be kept that nobody knows: at dusk a later base frame tells it."""
    line = "the base frame is burnt, and nobody knows how bright it is"
    state.base_wanted = True
    if state.bases >= state.outing.want.base_frames + METERED_MAX:
        line = f"{line}, however often it is metered: shorten want.base"
        return [ring(state, Urgency.FAILED, line), *stop(state, StopReason.IN_DOUBT, line)]
    if state.outing.doubt is Doubt.GO_ON:
        return [Tell("clipped", f"{line}; it is metered once more", {})]
    state.base_due_utc = None
    return doubt(state, line, "wait for less, then say resume to meter once more, or say leaving and shorten want.base")


def _scout_seen(state: State, look: _Look) -> list[Effect]:
    request = state.request
    if request is not None and (request.answered or state.fallback_tried):
        return _change_seen(state, look)
    state.looks = state.looks + 1 if look.is_burnt else 0
    if 0 < state.looks < LOOKS_MAX:
        state.scout_due_utc = state.now_utc + timedelta(seconds=LOOK_AGAIN_S)
        return [Tell("look_again", "the scout is burnt: once more", {})]
    state.scout_needed, state.scout_due_utc = False, None
    state.light.see_light(look.reading, state.set_up.filters)
    if look.is_burnt:
        state.looks = 0
        return doubt(state, "the scout is burnt, as it should not be behind these filters")
    return in_doubt(state, look.event) if look.event.act in (Act.ASK, Act.STOP) else []


def _change_seen(state: State, look: _Look) -> list[Effect]:
    """A scout behind what a person was asked to fit: made, not made, or to be looked at again."""
    request, reading = state.request, look.reading
    assert request is not None, "a scout is asked for by a request"
    fitted = request.after if request.answered else request.before
    off = state.light.off_stops(reading, fitted.filters)
    proof = None
    if off is not None and look.is_burnt:
        proof = deny_burnt(state.outing, request, fitted.filters, off)
    elif off is not None:
        proof = prove(state.outing, request, fitted.filters, off, state.scout_off_stops)
    state.scout_due_utc = None
    state.looks += 1
    if proof is None or proof.seen is Seen.AS_ASKED:
        return _as_asked(state, reading, fitted, off)
    state.scout_off_stops = off
    if proof.seen is Seen.LOOK_AGAIN and state.looks < LOOKS_MAX:
        state.scout_due_utc = state.now_utc + timedelta(seconds=LOOK_AGAIN_S)
        state.scout_needed = not request.answered
        return [Tell("look_again", f"{signed(proof.off_stops, 1)} stop from what was expected: once more", {})]
    line = complaint(fitted.filters, proof)
    state.scout_needed = False
    since_utc = None if request.answered else request.waiting_since_utc
    state.request = replace(
        request, answered=False, tries=request.tries + 1, asked_utc=state.now_utc, unanswered_since_utc=since_utc
    )
    state.fallback_tried, state.looks = False, 0
    detail = {"off_stops": proof.off_stops, "likeliest": list(proof.likeliest), "tries": request.tries + 1}
    told = Tell("denied", line, detail)
    if not request.answered and request.tries:
        return [told]  # nobody is there, and it was rung for already
    return [ring(state, Urgency.DO, f"{line}: {request.line()}, then say done"), told]


def _as_asked(state: State, reading: Reading, fitted: SetUp, off: float | None) -> list[Effect]:
    request = state.request
    assert request is not None, "only a request is answered"
    state.scout_needed, state.scout_off_stops, state.looks = False, None, 0
    if not request.answered:
        # Nobody came, and the filters are as before: the agreed fallback may go on with them.
        state.light.see_light(reading, fitted.filters)
        return [Tell("unchanged", "the filters are as they were", {"off_stops": off})]
    state.light.see_scout(reading, fitted.filters)
    state.set_up, state.request = fitted, None
    learnt = state.light.takes_more_stops(fitted.filters)
    line = f"the pixels say that it is done{filter_off(learnt)}"
    return [Tell("verified", line, {"off_stops": off, "filter_off_stops": learnt})]


def _long_seen(state: State, look: _Look) -> list[Effect]:
    light, filters, reading, event = state.light, state.set_up.filters, look.reading, look.event
    if light.reference is None and look.is_burnt:
        count_frame(state)
        return doubt(state, "the first frame is burnt, and no tone to keep", "look, then resume takes it once more")
    if light.reference is None:
        glass_stops = state.outing.kit.glass(filters).stops
        base_s = (state.outing.want.first_s or reading.span_s) / math.exp2(glass_stops)
        light.reference = Reference(base_s, reading.level_stops)
    if light.first_ev is None:
        light.first_ev = reading.level_stops + light.takes_more_stops(filters)
    said: list[Effect] = []
    if not light.see_long(reading, filters, look.opened_utc):
        state.scout_needed = True
        how = "clipped" if reading.at_least else "far from what was expected"
        said.append(Tell("odd", f"{how}: a scout looks before the next frame", {}))
    foretell(state, 0.0)
    state.asked = {code: count for code, count in state.asked.items() if code in event.codes}
    if event.act is Act.RETAKE:
        return said + _picture_fault(state, event.text)
    state.faults_running = 0
    count_frame(state)
    if event.act in (Act.ASK, Act.STOP):
        said += in_doubt(state, event)
    return said


def _dark_seen(state: State, reading: Reading) -> list[Effect]:
    expected = state.light.expected_ev(state.now_utc)
    assert state.darks_left is not None, "a dark frame is counted"
    if expected is not None and reading.level_stops > expected - DARK_BELOW_STOPS:
        state.cap_on = False
        state.faults_running += 1
        if state.faults_running >= PICTURE_FAULTS_MAX:
            state.darks_left = 0
            line = f"{PICTURE_FAULTS_MAX} dark frames running are not dark: no more of them are taken"
            return [Tell("picture_fault", line, {"running": state.faults_running})]
        state.cap_by_utc = state.now_utc + timedelta(seconds=state.outing.prompting.patience_s)
        return [ring(state, Urgency.DO, "the dark frame is not dark: put the cap on, then say done")]
    state.darks_left -= 1
    state.faults_running = 0
    return []


def _picture_fault(state: State, reason: str) -> list[Effect]:
    state.faults_running += 1
    said: list[Effect] = [Tell("picture_fault", reason, {"running": state.faults_running})]
    if state.faults_running < PICTURE_FAULTS_MAX:
        return said
    line = f"{PICTURE_FAULTS_MAX} picture faults running, the last: {reason}"
    return [*said, ring(state, Urgency.FAILED, line), *stop(state, StopReason.PICTURE_FAULTS, line)]
