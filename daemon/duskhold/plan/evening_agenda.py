"""What an evening does next, when nothing is under way: duties by their weight, and the first that applies is done.

A duty returns None when it does not apply, nothing but an empty list when it applies and only time or a person can
go on, and else what is to be done.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Final

from duskhold.light.crossings import Direction
from duskhold.light.reading import scene_level_stops
from duskhold.plan.asking import Request
from duskhold.plan.command import RefusalCode, Refused
from duskhold.plan.evening_finish import finish
from duskhold.plan.evening_orders import base_order, first_order, long_order, scout_order, watch_base
from duskhold.plan.evening_rest import (
    FORSAKEN_S,
    TIME_LINE,
    UNSETTLED_LINE,
    announce_utc,
    close_now,
    foretell,
    forsaken_utc,
    hold,
    hold_quietly,
    light_over_utc,
    opens_utc,
    pack_counts,
    ring,
    stop,
    take,
)
from duskhold.plan.evening_state import Held, State
from duskhold.plan.evening_words import (
    Effect,
    ReadMeans,
    RunCheck,
    Tell,
    Urgency,
)  # fmt: skip
from duskhold.plan.known_light import Reference
from duskhold.plan.moments import late_from_utc
from duskhold.plan.outing import Base, ClockStart, Fallback, Kind, LightStart
from duskhold.plan.series import (
    FilterChange,
    Metered,
    NextFrame,
    NoFrame,
    SetUp,
    bracket_order,
    decide,
    faster,
    next_frame,
    wider,
    without_hands,
)  # fmt: skip
from duskhold.plan.stops import StopReason, what_ends

BEGINS_LATE_S: Final = 5.0
LATE_S: Final = 900.0
"""A start missed by more than this is a person's decision."""
CHECK_AGE_MAX_S: Final = 900.0
"""A check that was passed longer before the start is made again at it. Common practice, no source."""
PACK_LINE: Final = "time to pack: leave by the way you know, and look at the sea"
_ROUNDS = 32

Duty = Callable[[State], list[Effect] | None]


def go_on(state: State) -> list[Effect]:
    """Everything there is to do now."""
    effects: list[Effect] = []
    for _ in range(_ROUNDS):
        found = next((said for duty in _DUTIES if (said := duty(state)) is not None), [])
        effects += found
        if not found:
            return effects
    raise AssertionError("an evening that never comes to rest")


# Duties


def _over(state: State) -> list[Effect] | None:
    return [] if state.ended else None


def _packing(state: State) -> list[Effect] | None:
    """The time to pack outranks every frame; an open one is closed and kept."""
    pack_utc = state.ends.pack_utc
    is_known = state.packed or state.left
    if pack_utc is None or state.now_utc < pack_utc or is_known or not pack_counts(state):
        return None
    state.packed = True
    return [ring(state, Urgency.LEAVE, PACK_LINE), *close_now(state), *stop(state, StopReason.LEAVE_BY, PACK_LINE)]


def _announcing(state: State) -> list[Effect] | None:
    """A change of filters is told minutes ahead, also while a frame is open."""
    ahead = state.announced
    if ahead is None or state.now_utc < announce_utc(state, ahead) or state.stop is not None:
        return None
    state.announced, state.announced_filters = None, ahead.filters
    request = Request(state.set_up, replace(state.set_up, filters=ahead.filters), ahead.at_utc)
    minutes = int(max(0.0, (ahead.at_utc - state.now_utc).total_seconds() / 60.0))  # rather too soon than too late
    when = f"in about {minutes} min" if minutes else "in less than a minute"
    line = f"{when}: {request.line()}"
    detail = {"at_utc": ahead.at_utc.isoformat(), "remove": list(request.remove), "fit": list(request.fit)}
    return [Tell("change_ahead", line, detail)]


def _busy(state: State) -> list[Effect] | None:
    if not state.is_busy:
        return None
    return [] if state.awaits_answer else (_forsaken(state) or [])


def _holding(state: State) -> list[Effect] | None:
    if state.held is not None:
        return []
    if not state.hold_after:
        return None
    return hold_quietly(state, "held: say resume to go on")


def _forsaken(state: State) -> list[Effect] | None:
    at_utc = forsaken_utc(state)
    if at_utc is None or state.now_utc < at_utc:
        return None
    is_fault = state.unsettled is not None or (state.held is not None and state.held.fault is not None)
    reason = StopReason.FAULT if is_fault else StopReason.NOBODY_ANSWERED
    line = state.held.reason if state.held is not None else UNSETTLED_LINE if is_fault else TIME_LINE
    if state.held is None and state.request is not None and not is_fault:
        line = state.request.line()
    said = f"nobody came for {FORSAKEN_S / 3600.0:.0f} hours: {line}"
    return [ring(state, Urgency.FAILED, said), *stop(state, reason, said)]


def _waited_out(state: State) -> list[Effect] | None:
    """While a person is waited for, the sun may pass its limit: nothing could be taken any more."""
    at_utc = light_over_utc(state)
    if at_utc is None or state.now_utc < at_utc:
        return None
    return stop(state, StopReason.SUN_ALTITUDE, "the sun went past its limit while a person was waited for")


def _enough(state: State) -> list[Effect] | None:
    """All frames that were wanted are taken: nothing is asked for, waited for or looked at for one more."""
    frames = state.ends.frames
    if frames is None or state.frames_done < frames:
        return None
    return stop(state, StopReason.FRAMES_DONE, _end_said(state, StopReason.FRAMES_DONE, 0.0))


def _clock(state: State) -> list[Effect] | None:
    """Nothing that hangs on sun or clock begins before the time is known to be right."""
    if state.time_confirmed or state.told_begin or not _hangs_on_clock(state):
        return None
    if state.asked_time_utc is not None:
        return []
    state.asked_time_utc = state.now_utc
    return [ring(state, Urgency.DO, TIME_LINE)]


def _checking(state: State) -> list[Effect] | None:
    if state.checked:
        return None
    state.checking = True
    return [RunCheck()]


def _starting(state: State) -> list[Effect] | None:
    if state.told_begin:
        return None
    if state.now_utc < state.start_utc:
        return []
    state.told_begin = True
    if state.checked_utc is None or (state.now_utc - state.checked_utc).total_seconds() > CHECK_AGE_MAX_S:
        state.checked = False  # hands may have been at the camera since
    by_light = isinstance(state.outing.start, LightStart)
    late_from = late_from_utc(state.outing) if by_light else state.start_utc
    late_s = max(0.0, (state.now_utc - late_from).total_seconds())
    said: list[Effect] = [
        Tell("begin", "begins" if late_s < BEGINS_LATE_S else f"begins {late_s:.0f} s late", {"late_s": late_s})
    ]
    if state.ends.sun_utc is not None and state.now_utc >= state.ends.sun_utc:
        return [*said, *stop(state, StopReason.SUN_ALTITUDE, "the sun is past its limit already")]
    if late_s > LATE_S:
        reason = f"the start was {late_s / 60.0:.0f} min ago: say resume to begin now"
        return [*said, *hold(state, Held(reason), Urgency.DO)]
    return said


def _means(state: State) -> list[Effect] | None:
    if state.means_fresh:
        return None
    state.reading_means = True
    return [ReadMeans()]


def _metering(state: State) -> list[Effect] | None:
    """Base frames: before the first long frame, for a watch of the light, and beside every frame of a pair."""
    if not _base_is_wanted(state):
        return None
    if state.outing.want.kind is Kind.WATCH and state.frames_done >= (state.ends.frames or math.inf):
        return stop(state, StopReason.FRAMES_DONE, _end_said(state, StopReason.FRAMES_DONE, 0.0))
    if state.set_up.filters:
        return None if state.request is not None else _ask(state, replace(state.set_up, filters=()))
    if state.base_due_utc is not None and state.now_utc < state.base_due_utc:
        return []
    order = base_order(state.outing, state.set_up, _base(state))
    return _no_room(state, order.open_s) or take(state, order)


def _fitting(state: State) -> list[Effect] | None:
    """The filters of the first long frame, and those of the next one of a pair."""
    want = state.outing.want
    if want.base is None or want.kind is Kind.WATCH or state.request is not None or state.set_up.filters:
        return None
    if state.frames_done and want.kind is not Kind.PAIRS:
        return None
    wanted = _first_set_up(state)
    return None if wanted.filters == () else _ask(state, wanted)


def _asking(state: State) -> list[Effect] | None:
    """While a person has not answered: nothing, or what was agreed for that."""
    request = state.request
    if request is None or request.answered or state.scout_needed:
        return None
    prompting = state.outing.prompting
    if state.now_utc < request.asked_utc + timedelta(seconds=prompting.patience_s) and not state.fallback_tried:
        return []
    return _fall_back(state, request)


def _scouting(state: State) -> list[Effect] | None:
    request = state.request
    is_asked = request is not None and request.answered
    if not (state.scout_needed or is_asked):
        return None
    metered = state.light.metered()
    set_up = request.after if request is not None and request.answered else state.set_up
    if metered is None:
        # Before a first frame of a chosen time there is no light to compare with: a person's word has to do.
        state.set_up, state.request, state.scout_needed = set_up, None, False
        told = Tell("unverified", "nothing to compare the filters with yet", {"filters": list(set_up.filters)})
        return [told] if is_asked else None
    if state.scout_due_utc is not None and state.now_utc < state.scout_due_utc:
        return []
    long_s = decide(state.outing, set_up, metered, state.now_utc).open_s or state.outing.bounds.longest_s
    order = scout_order(state.outing, set_up, min(long_s, state.outing.bounds.longest_s))
    return _no_room(state, order.open_s) or take(state, order)


def _exposing(state: State) -> list[Effect] | None:
    """The next long frame, a change before it, or the end. A change is asked for at once, not after the pause."""
    metered, at_utc = state.light.metered(), opens_utc(state)
    if metered is None:
        return _first(state) if state.now_utc >= at_utc else []
    if state.light.is_stale(state.now_utc):
        state.scout_needed = True
        return [Tell("stale", "the light was seen too long ago: a scout first", {})]
    found = next_frame(state.outing, state.set_up, metered, at_utc, _step(state, metered))
    if isinstance(found, FilterChange):
        return _ask(state, found.then.set_up)
    if state.now_utc < at_utc:
        return []
    if isinstance(found, NoFrame):
        return stop(state, found.reason, _said(found))
    return _open(state, found, {"light": "measured" if state.light.trend is None else str(state.light.trend.choice)})


_DUTIES: Sequence[Duty] = (
    _over, _packing, _announcing, _busy, finish, _enough, _waited_out, _forsaken, _holding, _clock, _checking,
    _starting, _means, _metering, _fitting, _asking, _scouting, _exposing,
)  # fmt: skip


# What duties are made of


def _open(state: State, frame: NextFrame, why: dict[str, object]) -> list[Effect]:
    ends = what_ends(state.outing, state.ends, state.means, state.frames_done, state.now_utc, frame.open_s)
    if ends is not None:
        return stop(state, ends, _end_said(state, ends, frame.open_s))
    leaning_stops = state.outing.lean.stops(frame.decision.rate_stops_per_min)
    wanted_stops = frame.tone_stops + leaning_stops + state.light.above_base_stops
    order = long_order(state.outing, frame, state.now_utc, {**why, "wanted_stops": wanted_stops})
    if isinstance(order, Refused):
        if order.code is RefusalCode.CORRECTION_TOO_LARGE and not state.light.is_scouted:
            state.scout_needed = True
            return [Tell("stale", "the light has changed too far since it was seen: a scout first", {})]
        return stop(state, StopReason.IN_DOUBT, f"{order.reason} {order.hint}")
    state.set_up = frame.set_up
    said = take(state, order)
    foretell(state, order.open_s)
    return said


def _first(state: State) -> list[Effect]:
    order = first_order(state.outing, state.set_up)
    ends = what_ends(state.outing, state.ends, state.means, state.frames_done, state.now_utc, order.open_s)
    if ends is not None:
        return stop(state, ends, _end_said(state, ends, order.open_s))
    return take(state, order)


def _ask(state: State, after: SetUp) -> list[Effect]:
    request = Request(state.set_up, after, state.now_utc)
    state.request, state.announced, state.announced_filters = request, None, None
    state.fallback_tried, state.scout_off_stops, state.looks = False, None, 0
    detail = {"remove": list(request.remove), "fit": list(request.fit), "tries": request.tries}
    return [ring(state, Urgency.DO, f"{request.line()}, then say done"), Tell("prompt", request.line(), detail)]


def _fall_back(state: State, request: Request) -> list[Effect]:
    fallback = state.outing.prompting.fallback
    if fallback is Fallback.STOP:
        return stop(state, StopReason.NOBODY_ANSWERED, f"nobody answered: {request.line()}")
    if not state.fallback_tried:
        state.fallback_tried = True
        state.scout_needed = fallback is not Fallback.HOLD
        return [Tell("unanswered", f"nobody answered: {request.line()}", {"fallback": fallback.value})]
    metered = state.light.metered()
    if fallback is Fallback.HOLD or metered is None or state.now_utc < opens_utc(state):
        return []
    if state.light.is_stale(state.now_utc):
        state.scout_needed = True
        return [Tell("stale", "the light was seen too long ago: a scout first", {})]
    settings = (
        wider(state.outing, request.before) if fallback is Fallback.APERTURE else faster(state.outing, request.before)
    )
    found = without_hands(state.outing, request.before, metered, state.now_utc, settings)
    if isinstance(found, NoFrame):
        return []  # it waits for the person; the sun, the time to pack or the light end it
    state.request = replace(request, before=found.set_up, after=replace(found.set_up, filters=request.after.filters))
    return _open(state, found, {"fallback": fallback.value})


def _no_room(state: State, open_s: float) -> list[Effect] | None:
    """A short frame, too, must be over before it is time to pack."""
    ends = what_ends(
        state.outing, replace(state.ends, sun_utc=None, frames=None), state.means, 0, state.now_utc, open_s
    )
    if ends is not None:
        return stop(state, ends, _end_said(state, ends, open_s))
    if state.ends.sun_utc is not None and state.now_utc > state.ends.sun_utc:
        return stop(state, StopReason.SUN_ALTITUDE, "the sun is past its limit")
    return None


def _base(state: State) -> Base:
    """The dial for the next base frame. That of a watch goes with the light, so that it is neither burnt nor black."""
    want, light = state.outing.want, state.light
    assert want.base is not None, "asked for only where the outing has one"
    level_ev = light.expected_ev(state.now_utc)
    if want.kind is not Kind.WATCH or level_ev is None:
        return want.base
    # As bright as the first that was not burnt; after a burnt one as a mid-tone, since more is not known.
    kept = light.reference or Reference(want.base.true_s, _mid_tone_ev(state, want.base.true_s))
    asked_stops = math.log2(kept.base_s) + kept.level_ev - level_ev
    if state.base_most_s is not None:
        asked_stops = min(asked_stops, math.log2(state.base_most_s))
    return watch_base(state.outing, asked_stops)


def _base_is_wanted(state: State) -> bool:
    want = state.outing.want
    if want.base is None:
        return False
    if want.kind is Kind.WATCH or (isinstance(state.outing.start, LightStart) and not state.watched_enough):
        return True
    return state.base_wanted or state.bases < want.base_frames


def _first_set_up(state: State) -> SetUp:
    """The filters of the kit, or, where they would not do in this light, those that do."""
    kit, metered = state.outing.kit, state.light.metered()
    wanted = replace(state.set_up, filters=kit.filters)
    if metered is None or not state.outing.changes_filters:
        return wanted
    ready_utc = state.now_utc + timedelta(seconds=state.outing.prompting.change_s)
    found = next_frame(state.outing, wanted, metered, ready_utc)
    return found.then.set_up if isinstance(found, FilterChange) else wanted


def _step(state: State, metered: Metered) -> float:
    if state.outing.want.kind is not Kind.BRACKET:
        return 0.0
    if not state.steps_left:
        rate = decide(state.outing, state.set_up, metered, state.now_utc).rate_stops_per_min
        state.steps_left = bracket_order(state.outing.want, state.frames_done, rate)
    return state.steps_left[0]


def _hangs_on_clock(state: State) -> bool:
    start, bounds = state.outing.start, state.outing.bounds
    leaves_by_clock = bounds.leave_by is not None and bounds.leave_by.at_utc is not None
    is_now = isinstance(start, ClockStart | LightStart) and state.start_utc <= state.begun_utc
    return leaves_by_clock or bounds.sun_altitude_deg is not None or not is_now


def light_has_come(state: State) -> bool:
    """Whether the light asks for the base time that the series is to start at."""
    start = state.outing.start
    level_ev = state.light.expected_ev(state.now_utc)
    if not isinstance(start, LightStart) or level_ev is None:
        return False
    wanted_ev = _mid_tone_ev(state, start.base_s)
    return level_ev <= wanted_ev if start.direction is Direction.DOWN else level_ev >= wanted_ev


def _mid_tone_ev(state: State, base_s: float) -> float:
    """The light of which a base frame of this time makes a mid-tone."""
    kit = state.outing.kit
    return scene_level_stops(1.0, kit.aperture.true_value, base_s, kit.iso.true_value, 0.0)


def _said(none: NoFrame) -> str:
    decision = none.decision
    if none.reason is StopReason.LIGHT_NEVER_SUFFICES or decision.open_s is None:
        return f"the next frame can never be finished: short by {decision.shortfall_stops:.2f} stop"
    return f"the next frame would take {decision.open_s:.1f} s, and there is nothing left to change"


def _end_said(state: State, reason: StopReason, open_s: float) -> str:
    said = {
        StopReason.FRAMES_DONE: "the frame is taken"
        if state.frames_done == 1
        else f"all {state.frames_done} frames are taken",
        StopReason.LEAVE_BY: f"{open_s:.0f} s more would not be over when it is time to pack",
        StopReason.SUN_ALTITUDE: f"{open_s:.0f} s more would end past the sun's limit",
        StopReason.BATTERY_RESERVE: "the camera's battery would go below its reserve",
        StopReason.DISK_RESERVE: "the disk would go below its reserve",
    }
    return said[reason]
