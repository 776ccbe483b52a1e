"""The evening machine: what happens and the time go in, what is to be done comes out. The rules:

1. A long frame opens only when everything is known: the check was passed, the filters are as the pixels say, the light
   is fresh, every limit leaves room for the whole frame. What a person has not done is never assumed.
2. One thing at a time: nothing is asked of the camera while a frame is taken.
3. A fault of camera, link, shutter, clock, storage or power stops the series until a person resumes.
4. The first condition that ends the series is the one that is told.
5. "Leaving" and the time to pack outrank every frame.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, Final

from duskhold.light.skycurve import SkyCurve
from duskhold.light.skyshape import SkyShape
from duskhold.plan import evening_time
from duskhold.plan import evening_words as words
from duskhold.plan.evening_agenda import go_on
from duskhold.plan.evening_finish import begin_again_after
from duskhold.plan.evening_forecast import tell_left
from duskhold.plan.evening_pixels import count_frame, measured, not_measured
from duskhold.plan.evening_recovery import (
    ask_again,
    fault,
    never_opened,
    resume,
    told_closed,
)
from duskhold.plan.evening_rest import (
    close_now,
    confirm_time,
    deadline_utc,
    free_utc,
    hold,
    quiet,
    stop,
    view_of,
)
from duskhold.plan.evening_state import Held, State, Unmeasured
from duskhold.plan.evening_view import View
from duskhold.plan.evening_words import Effect, Event, Fault, Tell, Urgency, Word
from duskhold.plan.known_light import KnownLight
from duskhold.plan.moments import begins_utc, ends_of
from duskhold.plan.outing import Outing
from duskhold.plan.role import Role
from duskhold.plan.series import SetUp
from duskhold.plan.stops import StopReason, exposures

MEASURING_S: Final = 60.0
"""Pixels that tell nothing for so long are a picture fault."""


class Evening:
    """One outing as it goes. Pure: the same events at the same times lead to the same effects.

    Raises `BadOuting` when the sun of the outing's place never does what its start asks for.
    """

    def __init__(self, outing: Outing, begun_utc: datetime) -> None:
        kit = outing.kit
        shape = None if outing.place is None else SkyShape(SkyCurve(outing.place, begun_utc), begun_utc)
        self._shape = shape
        start_utc = begins_utc(outing)
        self.state = State(
            outing=outing,
            light=KnownLight(shape, outing.limits.reading_age_max_s),
            begun_utc=begun_utc,
            start_utc=start_utc,
            ends=ends_of(outing, start_utc, begun_utc),
            set_up=SetUp(kit.filters if outing.want.first_s is not None else (), kit.aperture, kit.iso),
            now_utc=begun_utc,
        )

    def step(self, event: Event, now_utc: datetime) -> list[Effect]:
        """What is to be done after this. Time never goes back but by `ClockStepped`."""
        self.state.now_utc = now_utc
        react = _REACTIONS.get(type(event))
        said = [] if react is None else react(self, event)
        state = self.state
        if state.measuring is not None and now_utc >= state.measuring.by_utc:
            said += not_measured(state, words.NotMeasured(state.measuring.frame_id, "no answer came from measuring it"))
        return said + go_on(state)

    def go_over(self, events: Sequence[tuple[datetime, Event]]) -> None:
        """Step through what has happened already. What is left is foretold by the last look ahead alone, as costly as
        all the rest: nobody hears the others again.
        """
        looks = [index for index, (_, event) in enumerate(events) if isinstance(event, words.Begun | words.MeansTold)]
        for index, (now_utc, event) in enumerate(events):
            self.state.foretells = not looks or index >= looks[-1]
            self.step(event, now_utc)
        self.state.foretells = True

    def deadline_utc(self) -> datetime | None:
        """When `Ticked` is due if nothing happens before; None when only a person or the camera can go on."""
        return deadline_utc(self.state)

    def view(self, now_utc: datetime) -> View:
        """How things are."""
        return view_of(self.state, now_utc)

    # A person

    def _said(self, event: words.Said) -> list[Effect]:
        state = self.state
        said = quiet(state)
        if state.ended:
            return said
        match event.word:
            case Word.CLOSE:
                said += close_now(state)
            case Word.HOLD:
                state.hold_after, state.resumable_link = state.held is None, False
            case Word.LEAVING:
                state.left_utc, state.held, state.hold_after = state.now_utc, None, False
                state.checking = state.reading_means = False  # nothing follows from their answers any more
                said += [*close_now(state), *stop(state, StopReason.LEFT_BY_PERSON, "you leave; get home safely")]
            case Word.DONE:
                said += self._done()
            case Word.RESUME:
                said += self._resumed()
        return [*said, Tell("person", event.word.value, {})]

    def _resumed(self) -> list[Effect]:
        was_held = self.state.held is not None
        said = resume(self.state)
        return [*said, *ask_again(self.state)] if was_held else said

    def _done(self) -> list[Effect]:
        state = self.state
        if state.held is not None and state.held.fault is Fault.CLOCK:
            return self._resumed()  # it was asked whether the time is right
        if state.darks_left:
            state.cap_on = True
        elif state.request is not None and not state.request.answered:
            state.request = replace(state.request, answered=True)
            state.scout_needed, state.scout_due_utc = False, None
        elif not state.time_confirmed:
            return confirm_time(state, words.PERSON)
        return []

    # The camera

    def _frame_told(self, event: words.FrameTold) -> list[Effect]:
        state = self.state
        take, state.taking = state.taking, None
        if state.opened_utc is None:
            state.opened_utc = event.opened_utc or state.now_utc  # ordered by a program that began sooner than this one
        was_unsettled = event.frame_id == state.unsettled and event.settled
        if was_unsettled:
            state.unsettled = None
            told_closed(state)
        if not event.settled:
            state.unsettled, state.unsettled_utc = event.frame_id, state.now_utc
        if event.role is Role.LONG:
            state.free_utc = free_utc(state, event.closed_utc, event.open_s)
        said: list[Effect] = [Tell("frame", f"{event.role.value} {event.outcome}: {event.reason}".rstrip(": "), {
            "frame_id": event.frame_id, "open_s": event.open_s,
        })]  # fmt: skip
        state.means_fresh = False
        if event.role is Role.DARK and state.close_asked and not state.packed:
            state.hold_after = True  # whoever closes a dark does not want the next one at once
        if event.outcome == "refused" and state.close_asked:
            said += never_opened(state)
        elif event.outcome in _FAULT_OF and not was_unsettled:
            said += self._fault(_FAULT_OF[event.outcome], event.reason or event.outcome)
        if take is None and event.role is Role.LONG and event.outcome == "complete":
            count_frame(state)  # taken while the program was away
        if take is None or event.outcome not in ("complete", "cut_short") or not event.open_s:
            return said
        if event.role is Role.DARK and event.outcome != "complete":
            return said  # shorter than what it is for
        state.faults_since_frame = 0
        state.gauge_open_s += event.open_s * (1 if event.role is Role.DARK else exposures(state.outing))
        if event.role is Role.LONG:
            state.longest_open_s = max(state.longest_open_s, event.open_s)
        opened_utc = event.opened_utc or state.opened_utc or state.now_utc
        by_utc = state.now_utc + timedelta(seconds=MEASURING_S)
        state.measuring = Unmeasured(event.frame_id, take, event.open_s, opened_utc, by_utc)
        return said

    # Faults

    def _fault_seen(self, event: words.FaultSeen) -> list[Effect]:
        return [*close_now(self.state), *self._fault(event.fault, event.reason)]

    def _fault(self, kind: Fault, reason: str) -> list[Effect]:
        return fault(self.state, kind, reason)

    def _fault_gone(self, event: words.FaultGone) -> list[Effect]:
        state = self.state
        said: list[Effect] = [Tell("fault_gone", f"the {event.fault.value} is back", {"fault": event.fault.value})]
        if event.fault is not Fault.LINK or not state.resumable_link or state.unsettled is not None:
            return said
        # Closed for certain, and agreed on beforehand; the check decides.
        resume(state)
        asked = [] if state.fallback_tried else ask_again(state)
        return [*said, Tell("resumed", "the link is back, and the outing says to go on", {}), *asked]

    def _checked(self, event: words.Checked) -> list[Effect]:
        state = self.state
        if not state.checking:
            return []
        state.checking, state.checked, state.checked_utc = False, True, state.now_utc
        if event.bad and state.held is not None:
            state.checked = False  # looked at again after what stopped it
            return [Tell("check", f"not ready: {', '.join(event.bad)}", {"bad": list(event.bad)})]
        before, state.bad = state.bad, event.bad
        if not event.bad:
            return []
        if event.bad == before:
            return [Tell("check", f"as a person left it: {', '.join(event.bad)}", {"bad": list(event.bad)})]
        return hold(state, Held(f"not ready: {', '.join(event.bad)}; put it right, then say resume"), Urgency.DO)

    def _means_told(self, event: words.MeansTold) -> list[Effect]:
        state = self.state
        state.reading_means, state.means_fresh = False, True
        before, per_min = state.means.battery_percent, state.means.percent_per_min
        used = 0.0 if before is None or event.battery_percent is None else before - event.battery_percent
        if used:
            # From step to step of the gauge, which may be a coarse one; where it stood within its first is not known.
            if state.gauge_has_moved and used > 0.0 and state.gauge_open_s:
                # What the last frame took is what the next will: cold makes the last word the right one.
                per_min = used / state.gauge_open_s * 60.0
            state.gauge_has_moved, state.gauge_open_s = True, 0.0
        state.means = replace(
            state.means, battery_percent=event.battery_percent, disk_free_bytes=event.disk_free_bytes,
            percent_per_min=per_min,
        )  # fmt: skip
        return tell_left(state)

    def _restarted(self, event: words.Restarted) -> list[Effect]:
        """Before the first frame the plan stands; after it nothing fires without a person."""
        state = self.state
        state.taking, state.checking, state.reading_means, state.checked = None, False, False, False
        state.means_fresh, state.asked_time_utc = False, None
        if state.measuring is not None and state.measuring.take.role is Role.LONG:
            count_frame(state)
        state.measuring = None
        if event.settled and state.unsettled is not None:
            told_closed(state)
        state.unsettled = None if event.settled else (state.unsettled or "a frame of the time before")
        state.unsettled_utc = None if event.settled else state.now_utc
        state.resumable_link = False
        rang, state.alarm = state.alarm, None
        if state.stop is not None:
            return begin_again_after(state, rang)
        if state.held is not None:
            return hold(state, state.held)  # the same report as before
        if state.opened_utc is None:
            return []
        return self._fault(Fault.RESTART, "the program was started again in the middle; say resume to go on")


_FAULT_OF: Mapping[str, Fault] = {
    "link_lost": Fault.LINK,
    "refused": Fault.CAMERA,
    "failed": Fault.CAMERA,
    "unknown": Fault.SHUTTER,
}

_REACTIONS: Mapping[type[Any], Callable[[Evening, Any], list[Effect]]] = {
    words.Said: Evening._said,
    words.FrameTold: Evening._frame_told,
    words.Measured: lambda evening, event: measured(evening.state, evening._shape, event),
    words.NotMeasured: lambda evening, event: not_measured(evening.state, event),
    words.FaultSeen: Evening._fault_seen,
    words.FaultGone: Evening._fault_gone,
    words.Checked: Evening._checked,
    words.MeansTold: Evening._means_told,
    words.Begun: lambda evening, event: evening_time.begun(evening.state, event),
    words.ClockConfirmed: lambda evening, event: evening_time.clock_confirmed(evening.state, event),
    words.ClockStepped: lambda evening, event: evening_time.clock_stepped(evening.state, event),
    words.SleepAhead: lambda evening, _: evening_time.sleep_ahead(evening.state),
    words.Woke: lambda evening, event: evening_time.woke(evening.state, event),
    words.Restarted: Evening._restarted,
}
