"""The evening machine: what happens and the time go in, what is to be done comes out. The rules:

1. A long frame opens only when everything is known: the check was passed, the filters are as the pixels say, the light
   is fresh, every limit leaves room for the whole frame. What a person has not done is never assumed.
2. One thing at a time: nothing is asked of the camera while a frame is taken.
3. A fault of camera, link, shutter, clock, storage or power stops the series until a person resumes.
4. The first condition that ends the series is the one that is told.
5. "Leaving" and the time to pack outrank every frame.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, Final

from duskhold.light.reading import Reading
from duskhold.light.skycurve import SkyCurve
from duskhold.light.skyshape import SkyShape
from duskhold.plan import evening_time
from duskhold.plan import evening_words as words
from duskhold.plan.asking import Seen, complaint, filter_off, prove
from duskhold.plan.evening_agenda import go_on, light_has_come
from duskhold.plan.evening_finish import begin_again_after
from duskhold.plan.evening_forecast import tell_left
from duskhold.plan.evening_recovery import ask_again, fault, in_doubt, never_opened, resume, told_closed
from duskhold.plan.evening_rest import (
    close_now,
    confirm_time,
    deadline_utc,
    foretell,
    free_utc,
    hold,
    quiet,
    ring,
    stop,
    view_of,
)
from duskhold.plan.evening_state import Held, State
from duskhold.plan.evening_time import against_sky
from duskhold.plan.evening_view import View
from duskhold.plan.evening_words import Act, Effect, Event, Fault, Tell, Urgency, Word
from duskhold.plan.known_light import KnownLight, Reference
from duskhold.plan.moments import begins_utc, ends_of
from duskhold.plan.outing import BASE_GAP_S, Kind, LightStart, Outing
from duskhold.plan.role import Role
from duskhold.plan.series import SetUp
from duskhold.plan.stops import StopReason, exposures

PICTURE_FAULTS_MAX: Final = 3
MEASURING_S: Final = 60.0
"""Pixels that tell nothing for so long are a picture fault."""
LOOK_AGAIN_S: Final = 10.0
LOOKS_MAX: Final = 3
"""After so many scouts that do not agree with each other a person is asked. Common practice, no source."""
CLOCK_STEP_MAX_S: Final = 60.0


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
            ends=ends_of(outing, max(start_utc, begun_utc), begun_utc),
            set_up=SetUp(kit.filters if outing.want.first_s is not None else (), kit.aperture, kit.iso),
            now_utc=begun_utc,
        )

    def step(self, event: Event, now_utc: datetime) -> list[Effect]:
        """What is to be done after this. Time never goes back but by `ClockStepped`."""
        self.state.now_utc = now_utc
        react = _REACTIONS.get(type(event))
        said = [] if react is None else react(self, event)
        state = self.state
        if state.measuring is not None and state.measure_by_utc is not None and now_utc >= state.measure_by_utc:
            said += self._not_measured(words.NotMeasured(state.measuring, "no answer came from measuring it"))
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
            self._count()  # taken while the program was away
        if take is None or event.outcome not in ("complete", "cut_short") or not event.open_s:
            return said
        if event.role is Role.DARK and event.outcome != "complete":
            return said  # shorter than what it is for
        state.faults_since_frame = 0
        state.told_open_s, state.told_opened_utc = event.open_s, event.opened_utc or state.opened_utc
        state.gauge_open_s += event.open_s * (1 if event.role is Role.DARK else exposures(state.outing))
        if event.role is Role.LONG:
            state.longest_open_s = max(state.longest_open_s, event.open_s)
        state.measuring, state.measured_take = event.frame_id, take
        state.measure_by_utc = state.now_utc + timedelta(seconds=MEASURING_S)
        return said

    def _measured(self, event: words.Measured) -> list[Effect]:
        state = self.state
        if event.frame_id != state.measuring or state.measured_take is None:
            return []  # told too late, after it was given up
        take = state.measured_take
        self._measured_end()
        state.verdict = event.text
        opened_utc = state.told_opened_utc or state.now_utc
        reading = Reading(
            opened_utc + timedelta(seconds=state.told_open_s / 2.0), event.level_ev, event.sigma_stops,
            take.role.value, state.told_open_s, event.at_least,
        )  # fmt: skip
        match take.role:
            case Role.BASE:
                return self._base_seen(reading)
            case Role.SCOUT:
                return self._scout_seen(reading, event)
            case Role.LONG:
                return self._long_seen(reading, event, opened_utc)
            case Role.DARK:
                return self._dark_seen(reading)

    def _not_measured(self, event: words.NotMeasured) -> list[Effect]:
        state = self.state
        if event.frame_id != state.measuring or state.measured_take is None:
            return []
        take = state.measured_take
        self._measured_end()
        if take.role is Role.LONG:
            self._count()
            state.scout_needed = True
        if take.role is Role.DARK and state.darks_left:
            state.darks_left -= 1  # it is kept, whether or not it could be looked at
        return self._picture_fault(event.reason)

    def _measured_end(self) -> None:
        state = self.state
        state.measuring, state.measured_take, state.measure_by_utc = None, None, None

    def _base_seen(self, reading: Reading) -> list[Effect]:
        state, want = self.state, self.state.outing.want
        assert want.base is not None, "no base frame is asked for without"
        state.bases += 1
        state.base_wanted = False
        is_first = state.light.reference is None
        state.light.see_bare(reading)
        if is_first or state.frames_done == 0:
            state.light.reference = Reference(want.base.true_s, reading.level_stops)
        is_watch = want.kind is Kind.WATCH
        watching = is_watch or (isinstance(state.outing.start, LightStart) and not state.watched_enough)
        if is_watch:
            state.frames_done += 1
        elif watching and light_has_come(state):
            state.watched_enough, watching = True, False
        gap_s = want.every_s if watching else BASE_GAP_S
        state.base_due_utc = reading.taken_utc + timedelta(seconds=gap_s)
        said: list[Effect] = []
        if reading.at_least:
            said.append(Tell("clipped", "the base frame is clipped: its light is at least this bright", {}))
        return said + against_sky(state, self._shape, reading)

    def _scout_seen(self, reading: Reading, event: words.Measured) -> list[Effect]:
        state, request = self.state, self.state.request
        if request is not None and (request.answered or state.fallback_tried):
            return self._change_seen(reading)
        state.scout_needed, state.scout_due_utc = False, None
        state.light.see_light(reading, state.set_up.filters)
        return in_doubt(state, event) if event.act in (Act.ASK, Act.STOP) else []

    def _change_seen(self, reading: Reading) -> list[Effect]:
        """A scout behind what a person was asked to fit: made, not made, or to be looked at again."""
        state, request = self.state, self.state.request
        assert request is not None, "a scout is asked for by a request"
        fitted = request.after if request.answered else request.before
        off = state.light.off_stops(reading, fitted.filters)
        proof = None if off is None else prove(state.outing, request, fitted.filters, off, state.scout_off_stops)
        state.scout_due_utc = None
        state.looks += 1
        if proof is None or proof.seen is Seen.AS_ASKED:
            return self._as_asked(reading, fitted, off)
        state.scout_off_stops = off
        if proof.seen is Seen.LOOK_AGAIN and state.looks < LOOKS_MAX:
            state.scout_due_utc = state.now_utc + timedelta(seconds=LOOK_AGAIN_S)
            state.scout_needed = not request.answered
            return [Tell("look_again", f"{proof.off_stops:+.1f} stop from what was expected: once more", {})]
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

    def _as_asked(self, reading: Reading, fitted: SetUp, off: float | None) -> list[Effect]:
        state, request = self.state, self.state.request
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

    def _long_seen(self, reading: Reading, event: words.Measured, opened_utc: datetime) -> list[Effect]:
        state = self.state
        light, filters = self.state.light, self.state.set_up.filters
        if light.reference is None:
            glass_stops = state.outing.kit.glass(filters).stops
            base_s = (state.outing.want.first_s or reading.span_s) / math.exp2(glass_stops)
            light.reference = Reference(base_s, reading.level_stops)
        if light.first_ev is None:
            light.first_ev = reading.level_stops + light.takes_more_stops(filters)
        said: list[Effect] = []
        if not light.see_long(reading, filters, opened_utc):
            state.scout_needed = True
            said.append(Tell("odd", "clipped, or far from what was expected: a scout looks first", {}))
        foretell(state, 0.0)
        if event.act is Act.RETAKE:
            return said + self._picture_fault(event.text)
        state.faults_running = 0
        self._count()
        if event.act in (Act.ASK, Act.STOP):
            said += in_doubt(state, event)
        return said

    def _dark_seen(self, reading: Reading) -> list[Effect]:
        state = self.state
        expected = state.light.expected_ev(state.now_utc)
        assert state.darks_left is not None, "a dark frame is counted"
        if expected is not None and reading.level_stops > expected - DARK_BELOW_STOPS:
            state.cap_on = False
            state.cap_by_utc = state.now_utc + timedelta(seconds=state.outing.prompting.patience_s)
            return [ring(state, Urgency.DO, "the dark frame is not dark: put the cap on, then say done")]
        state.darks_left -= 1
        return []

    def _count(self) -> None:
        state, want = self.state, self.state.outing.want
        state.frames_done += 1
        if state.steps_left:
            state.steps_left = state.steps_left[1:]
        if want.kind is Kind.PAIRS:
            state.base_wanted, state.base_due_utc = True, None

    def _picture_fault(self, reason: str) -> list[Effect]:
        state = self.state
        state.faults_running += 1
        said: list[Effect] = [Tell("picture_fault", reason, {"running": state.faults_running})]
        if state.faults_running < PICTURE_FAULTS_MAX:
            return said
        line = f"{PICTURE_FAULTS_MAX} picture faults running, the last: {reason}"
        return [*said, ring(state, Urgency.FAILED, line), *stop(state, StopReason.PICTURE_FAULTS, line)]

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
        if state.measured_take is not None and state.measured_take.role is Role.LONG:
            self._count()
        self._measured_end()
        if event.settled and state.unsettled is not None:
            told_closed(state)
        state.unsettled = None if event.settled else (state.unsettled or "a frame of the time before")
        state.unsettled_utc = None if event.settled else state.now_utc
        state.resumable_link = False
        rang, urgency = state.alarm, state.alarm_urgency
        state.alarm = state.alarm_urgency = state.alarm_utc = None
        if state.stop is not None:
            return begin_again_after(state, rang, urgency)
        if state.held is not None:
            return hold(state, state.held)  # the same report as before
        if state.opened_utc is None:
            return []
        return self._fault(Fault.RESTART, "the program was started again in the middle; say resume to go on")


DARK_BELOW_STOPS: Final = 4.0
"""A frame with the cap on is at least so far below what the scene would give."""

_FAULT_OF: Mapping[str, Fault] = {
    "link_lost": Fault.LINK,
    "refused": Fault.CAMERA,
    "failed": Fault.CAMERA,
    "unknown": Fault.SHUTTER,
}

_REACTIONS: Mapping[type[Any], Callable[[Evening, Any], list[Effect]]] = {
    words.Said: Evening._said,
    words.FrameTold: Evening._frame_told,
    words.Measured: Evening._measured,
    words.NotMeasured: Evening._not_measured,
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
