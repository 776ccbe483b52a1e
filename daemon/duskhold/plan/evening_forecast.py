"""What is left of an evening from where it stands: how many frames, which darks, when and why it ends.

The plan gone through from here, once per told frame; its rules are the evening's own.
"""

from dataclasses import replace
from datetime import timedelta
from typing import Final

from duskhold.plan.at_home import standing_at_home
from duskhold.plan.course import Standing
from duskhold.plan.evening_rest import opens_utc
from duskhold.plan.evening_state import State
from duskhold.plan.evening_view import Foreseen
from duskhold.plan.evening_words import Effect, Tell
from duskhold.plan.outing import BadOuting, Dark, Kind, LightStart
from duskhold.plan.series import Metered
from duskhold.plan.timeline import Timeline, plan_timeline

MOST_FRAMES: Final = 200
"""A series that goes on for longer has no end worth telling at a tripod."""


def tell_left(state: State) -> list[Effect]:
    """Look ahead again, and say what is left when that is news; `replanned` when it is less than it was to be."""
    before, found = state.foreseen, foresee(state) if state.foretells and state.stop is None else None
    if found is None:
        return []
    taken = state.frames_done - state.foreseen_done
    state.foreseen, state.foreseen_done = found, state.frames_done
    if before is not None and _counts(before) == _counts(found) and not taken:
        return []
    is_less = before is not None and _is_less(before, found, taken)
    return [Tell("replanned" if is_less else "left", found.line(), found.detail())]


def foresee(state: State) -> Foreseen | None:
    """From where the evening stands; None where not even the sky can tell."""
    try:
        found = plan_timeline(state.outing, _standing(state), MOST_FRAMES)
    except BadOuting:
        return None
    is_endless = found.stop.reason is None
    last_utc = found.frames[-1].closes_utc if found.frames else found.stop.at_utc
    return Foreseen(
        frames_left=None if is_endless else len(found.frames),
        in_camera_dark=found.frames_left.in_camera_dark,
        without=found.frames_left.without,
        darks=len(found.darks),
        darks_wanted=_darks_wanted(state, found),
        darks_short=found.darks_short,
        ends_utc=None if is_endless else last_utc,
        reason=found.stop.reason,
    )


def _counts(found: Foreseen) -> tuple[object, ...]:
    return found.frames_left, found.darks, found.reason, found.in_camera_dark, found.without


def _is_less(before: Foreseen, found: Foreseen, taken: int) -> bool:
    if before.frames_left is None or found.frames_left is None:
        return False
    return found.frames_left < before.frames_left - taken or found.darks < before.darks


def _darks_wanted(state: State, found: Timeline) -> int:
    is_after = state.outing.dark is Dark.AFTER and (found.frames or state.frames_done)
    left = state.outing.darks_after if state.darks_left is None else state.darks_left
    return left if is_after and state.outing.want.kind is not Kind.WATCH else 0


def _standing(state: State) -> Standing:
    metered = state.light.metered()
    standing = _at_home(state) if metered is None or _waits_for_light(state) else _here(state, metered)
    return replace(
        standing, ends=state.ends, means=state.means, frames_done=state.frames_done, longest_s=state.longest_open_s,
        steps_left=state.steps_left or (), darks_left=state.darks_left,
    )  # fmt: skip


def _waits_for_light(state: State) -> bool:
    """Base frames of a light that has not come tell nothing of when it will."""
    is_watch = state.outing.want.kind is Kind.WATCH
    return isinstance(state.outing.start, LightStart) and not (state.watched_enough or is_watch)


def _at_home(state: State) -> Standing:
    """Nothing that counts was measured yet: the clear sky tells, from the start or from now on."""
    at_home = standing_at_home(state.outing)
    if state.now_utc <= at_home.opens_utc:
        return at_home
    late = state.now_utc - at_home.opens_utc
    reading = replace(at_home.metered.reading, metered_utc=at_home.metered.reading.metered_utc + late)
    return replace(at_home, opens_utc=state.now_utc, metered=replace(at_home.metered, reading=reading))


def _here(state: State, metered: Metered) -> Standing:
    """The light as it was measured, and the filters as they will be for the next frame."""
    want, at_utc, set_up = state.outing.want, opens_utc(state), state.set_up
    bases_left = 0 if want.base is None else max(0, want.base_frames - state.bases)
    if want.kind is Kind.WATCH or bases_left:
        return Standing(max(at_utc, state.base_due_utc or at_utc), metered, set_up, state.ends, base_left=bases_left)
    if state.request is not None:
        set_up = state.request.after
    elif want.base is not None and not set_up.filters and (not state.frames_done or want.kind is Kind.PAIRS):
        set_up = replace(set_up, filters=state.outing.kit.filters)
    changes = set(set_up.filters) != set(state.set_up.filters)
    wait = timedelta(seconds=state.outing.prompting.change_s if changes else 0.0)
    return Standing(at_utc + wait, metered, set_up, state.ends)
