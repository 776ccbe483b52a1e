"""Deliberate bugs planted in the evening machine, one at a time: its pure tests must catch every one."""

from __future__ import annotations

import pytest

from planting import Fates, Mutant, ensure_caught, ensure_clean, fates

MUTANTS = (
    Mutant(
        "fires although the prompt was not verified", "plan/evening_agenda.py",
        "plan/test_evening_person.py::test_an_answer_is_proven_by_a_scout_before_a_long_frame",
        "    is_asked = request is not None and request.answered\n    if not",
        "    is_asked = False\n    if request is not None and request.answered:\n"
        "        state.set_up, state.request = request.after, None\n    if not",
    ),
    Mutant(
        "takes a denied change for done", "plan/evening_pixels.py",
        "plan/test_evening_person.py::test_an_answer_that_the_pixels_deny_opens_nothing_and_asks_again",
        "if proof is None or proof.seen is Seen.AS_ASKED:", "if proof is None or proof.seen is not Seen.LOOK_AGAIN:",
    ),
    Mutant(
        "takes a burnt scout for a proof", "plan/evening_pixels.py",
        "plan/test_evening_doubt.py::test_a_burnt_scout_never_proves_a_change_however_often_it_is_said_to_be_made",
        "    if off is not None and look.is_burnt:", "    if False:",
    ),
    Mutant(
        "does not wait for an answer", "plan/evening_agenda.py",
        "plan/test_evening_person.py::test_nobody_answers_and_it_ends",
        "(seconds=prompting.patience_s) and not state.fallback_tried:", "(seconds=0.0) and not state.fallback_tried:",
    ),
    Mutant(
        "the fallback assumes the change", "plan/evening_agenda.py",
        "plan/test_evening_person.py::test_nobody_answers_and_it_goes_on_as_agreed_with_the_filters_that_are_on",
        "        wider(state.outing, request.before) if", "        wider(state.outing, request.after) if",
    ),
    Mutant(
        "forgets the time to pack", "plan/evening_agenda.py",
        "plan/test_evening_trouble.py::test_time_to_pack_closes_a_frame_that_is_open_and_rings",
        "    if pack_utc is None or state.now_utc < pack_utc or is_known or", "    if True or",
    ),
    Mutant(
        "lets an open frame be when it is time to pack", "plan/evening_agenda.py",
        "plan/test_evening_trouble.py::test_time_to_pack_closes_a_frame_that_is_open_and_rings",
        "    return [ring(state, Urgency.LEAVE, PACK_LINE), *close_now(state), *stop",
        "    return [ring(state, Urgency.LEAVE, PACK_LINE), *stop",
    ),
    Mutant(
        "forgets the cap's margin", "plan/stops.py",
        "plan/test_evening_trouble.py::test_no_frame_starts_that_would_not_be_over_at_its_cap_when_it_is_time_to_pack",
        "seconds=busy_s(outing, open_s) + outing.limits.cap_margin_s)", "seconds=busy_s(outing, open_s))",
    ),
    Mutant(
        "forgets the dark frame in the camera", "plan/stops.py",
        "plan/test_evening_trouble.py::test_no_frame_starts_that_would_not_be_over_at_its_cap_when_it_is_time_to_pack",
        "    return 2 if outing.dark is Dark.IN_CAMERA else 1", "    return 1",
    ),
    Mutant(
        "resumes by itself after a fault", "plan/evening.py",
        "plan/test_evening_trouble.py::test_every_fault_closes_and_stops_until_a_person_resumes",
        "        if event.fault is not Fault.LINK or not state.resumable_link or", "        if",
    ),
    Mutant(
        "resumes while the shutter may still be open", "plan/evening.py",
        "plan/test_evening_trouble.py::test_after_a_link_loss_it_resumes_by_itself_only_where_that_was_agreed",
        " or not state.resumable_link or state.unsettled is not None:", " or not state.resumable_link:",
    ),
    Mutant(
        "takes a dark frame after leaving", "plan/evening_finish.py",
        "plan/test_evening_trouble.py::test_no_dark_is_taken_after_leaving_a_fault_or_the_time_to_pack",
        "if state.packed or state.left or state.resting", "if state.packed or state.resting",
    ),
    Mutant(
        "takes a dark frame without the cap", "plan/evening_finish.py",
        "plan/test_evening_trouble.py::test_darks_come_after_the_long_frames_with_the_cap_on_as_long_as_the_longest",
        "    if not state.cap_on:\n", "    if state.cap_on is None:\n",
    ),
    Mutant(
        "does not look at the battery between darks", "plan/evening_finish.py",
        "plan/test_evening_trouble.py::test_no_dark_is_taken_below_the_battery_reserve",
        "    if not state.means_fresh:", "    if False:",
    ),
    Mutant(
        "counts a retake as done", "plan/evening_pixels.py",
        "plan/test_evening_person.py::test_a_frame_to_be_taken_again_is_not_counted",
        "        return said + _picture_fault(state, event.text)\n    state.faults_running = 0\n",
        "        count_frame(state)\n        return said + _picture_fault(state, event.text)\n"
        "    state.faults_running = 0\n",
    ),
    Mutant(
        "never forgets a picture fault", "plan/evening_pixels.py",
        "plan/test_evening_person.py::test_three_picture_faults_running_stop_and_a_good_frame_between_starts_the_count_anew",
        "        return said + _picture_fault(state, event.text)\n    state.faults_running = 0\n",
        "        return said + _picture_fault(state, event.text)\n",
    ),
    Mutant(
        "ignores that the light is stale", "plan/known_light.py",
        "plan/test_evening_trouble.py::test_stale_light_opens_a_scout_and_no_long_frame",
        "(at_utc - newest_utc).total_seconds() > self._age_max_s", "(at_utc - newest_utc).total_seconds() > 1e9",
    ),
    Mutant(
        "learns a filter with the wrong sign", "plan/known_light.py",
        "plan/test_evening_person.py::test_a_filter_that_takes_a_little_more_than_the_bag_says_is_learnt_with_its_sign",
        "self.takes_more_stops(filters) - off", "self.takes_more_stops(filters) + off",
    ),
    Mutant(
        "does not close before sleep", "plan/evening_time.py",
        "plan/test_evening_trouble.py::test_sleep_closes_first_and_after_waking_nothing_goes_on_by_itself",
        "[*close_now(state), *fault(state, Fault.POWER", "[*fault(state, Fault.POWER",
    ),
    Mutant(
        "does not close at a fault", "plan/evening.py",
        "plan/test_evening_trouble.py::test_every_fault_closes_and_stops_until_a_person_resumes",
        "[*close_now(self.state), *self._fault(event.fault", "[*self._fault(event.fault",
    ),
    Mutant(
        "overwrites the first reason to stop", "plan/evening_rest.py",
        "plan/test_evening_trouble.py::test_the_first_reason_is_the_one_that_is_told",
        "    if state.stop is not None:\n        return []\n    state.stop, state.stop_line, state.foreseen",
        "    state.stop, state.stop_line, state.foreseen",
    ),
    Mutant(
        "goes on by itself after a restart", "plan/evening.py",
        "plan/test_evening_trouble.py::test_a_restart_after_the_first_opening_fires_nothing_by_itself",
        "        if state.opened_utc is None:\n            return []\n        return self",
        "        if True:\n            return []\n        return self",
    ),
    Mutant(
        "is silent after a restart", "plan/evening.py",
        "plan/test_evening_trouble.py::test_a_restart_rings_again_for_what_held_it",
        "            return hold(state, state.held)  # the same report as before", "            return []",
    ),
    Mutant(
        "begins by a clock that nobody trusts", "plan/evening_agenda.py",
        "plan/test_evening_trouble.py::test_what_hangs_on_the_clock_does_not_begin_by_a_clock_that_nobody_trusts",
        "    if state.time_confirmed or state.told_begin or", "    if True or",
    ),
    Mutant(
        "begins a missed start unasked", "plan/evening_agenda.py",
        "plan/test_evening_trouble.py::test_a_start_missed_by_more_than_a_quarter_of_an_hour_is_a_persons_decision",
        "    if late_s > LATE_S:\n", "    if late_s < 0.0:\n",
    ),
    Mutant(
        "asks while the shutter may still be open", "plan/evening_state.py",
        "plan/test_evening_trouble.py::test_nothing_is_asked_while_the_shutter_may_still_be_open",
        "return self.awaits_answer or (self.unsettled is not None and self.stop is None)", "return self.awaits_answer",
    ),
    Mutant(
        "holds before the frame is over, not after it", "plan/evening.py",
        "plan/test_evening_person.py::test_hold_lets_the_frame_be_and_takes_none_after_it_until_resume",
        "                state.hold_after, state.resumable_link = state.held is None, False",
        "                said += close_now(state)",
    ),
    Mutant(
        "forgets whoever never comes", "plan/evening_agenda.py",
        "plan/test_evening_person.py::test_two_hours_without_anybody_end_it",
        "    if at_utc is None or state.now_utc < at_utc:\n        return None\n    is_fault =",
        "    if True:\n        return None\n    is_fault =",
    ),
    Mutant(
        "counts on the clock's step for leaving", "plan/evening_time.py",
        "plan/test_evening_trouble.py::test_a_step_of_the_clock_is_told_and_a_large_one_holds",
        "    state.shift(event.step_s)\n", "",
    ),
    Mutant(
        "opens another frame for whoever closed one before it opened", "plan/evening_recovery.py",
        "plan/test_evening_person.py::test_close_before_it_opens_is_no_fault_and_opens_no_other_one",
        'return hold_quietly(state, "closed before it opened: say resume to go on")', "return []",
    ),
    Mutant(
        "believes a check of hours ago", "plan/evening_agenda.py",
        "plan/test_evening_trouble.py::test_a_check_passed_long_before_the_start_is_made_again_at_it",
        "        state.checked = False  # hands may", "        state.checked = True  # hands may",
    ),
    Mutant(
        "goes home without the alarm that was promised", "plan/evening_rest.py",
        "plan/test_evening_end.py::test_after_the_last_frame_it_waits_for_the_time_to_pack_and_rings_until_it_is_heard",
        "    waits = [] if state.packed or state.ends.pack_utc is None else", "    waits = [] if True else",
    ),
    Mutant(
        "waits for a lost camera with a person who leaves", "plan/evening_state.py",
        "plan/test_evening_end.py::test_whoever_leaves_does_not_wait_for_a_shutter_that_does_not_answer",
        "self.unsettled is not None and self.stop is None", "self.unsettled is not None",
    ),
    Mutant(
        "keeps the start of a wrong clock", "plan/evening_time.py",
        "plan/test_evening_time.py::test_a_clock_an_hour_fast_does_not_cost_the_evening",
        "    if not state.told_begin:\n        _begin", "    if False:\n        _begin",
    ),
    Mutant(
        "asks at every base frame whether the light can be right", "plan/evening_time.py",
        "plan/test_evening_time.py::test_a_person_is_asked_once_whether_the_light_can_be_right",
        "    state.sky_apart_stops = apart\n", "",
    ),
)  # fmt: skip


@pytest.fixture(scope="module")
def found() -> Fates:
    return fates(MUTANTS)


@pytest.mark.parametrize("mutant", MUTANTS, ids=[mutant.name for mutant in MUTANTS])
def test_the_bug_is_caught(mutant: Mutant, found: Fates) -> None:
    ensure_caught(mutant, found)


def test_the_files_as_they_are_pass(found: Fates) -> None:
    ensure_clean(found)
