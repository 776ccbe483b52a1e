"""Deliberate bugs planted in the safety files, one at a time: the shutter's tests must catch every one."""

from __future__ import annotations

import pytest

from planting import Fates, Mutant, ensure_caught, ensure_clean, fates

MUTANTS = (
    Mutant(
        "opens while an earlier frame is not settled",
        "shutter/machine.py",
        "shutter/test_machine.py::test_nothing_is_opened_while_another_frame_is_open",
        "        if self.frame is not None:\n            return Refused",
        "        if False:\n            return Refused",
    ),
    Mutant(
        "opens before the shutter is proven closed",
        "shutter/machine.py",
        "shutter/test_machine.py::test_nothing_is_opened_before_the_first_proof_of_a_closed_shutter",
        "        if self.phase is not Phase.READY:\n            return Refused",
        "        if self.phase is Phase.CLOSING:\n            return Refused",
    ),
    Mutant(
        "opens although the latch is set",
        "shutter/machine.py",
        "shutter/test_machine.py::test_three_closings_that_leave_it_open_set_the_latch",
        "        if self.latched:\n            return Refused",
        "        if False:\n            return Refused",
    ),
    Mutant(
        "opens before the last frame is collected",
        "shutter/machine.py",
        "shutter/test_machine.py::test_a_second_exposure_waits_for_the_first_to_be_collected",
        "        if self.reports:\n            return Refused",
        "        if False:\n            return Refused",
    ),
    Mutant(
        "opens first and writes afterwards",
        "shutter/machine.py",
        "shutter/test_crossed_orders.py::test_an_order_is_in_the_box_before_the_camera_hears_of_it",
        "return [opening, Open() if exposure.kind is Kind.HELD else Dial(exposure.open_s)]",
        "return [Open() if exposure.kind is Kind.HELD else Dial(exposure.open_s), opening]",
    ),
    Mutant(
        "does not close after an opening that was refused",
        "shutter/machine.py",
        "shutter/test_machine.py::test_a_body_that_says_no_has_opened_nothing",
        "            self.phase = Phase.CLOSING\n            return [Close()]\n        if self.phase in",
        "            self.phase = Phase.READY\n            return []\n        if self.phase in",
    ),
    Mutant(
        "forgets a request to stop that came during the opening call",
        "shutter/machine.py",
        "shutter/test_machine.py::test_a_request_to_stop_during_the_opening_call_closes_as_soon_as_it_is_answered",
        "        if self.stop_asked:\n            frame.cause",
        "        if False:\n            frame.cause",
    ),
    Mutant(
        "ignores the cap",
        "shutter/story.py",
        "shutter/test_machine.py::test_the_cap_ends_a_hold_whatever_the_latency_says",
        "wait_s = min(self.exposure.open_s - self.exposure.latency_s, self.exposure.cap_s)",
        "wait_s = self.exposure.open_s - self.exposure.latency_s",
    ),
    Mutant(
        "adds the latency to the wait instead of taking it off",
        "shutter/story.py",
        "shutter/test_machine.py::test_the_latency_of_the_body_is_taken_off_the_wait",
        "self.exposure.open_s - self.exposure.latency_s, self",
        "self.exposure.open_s + self.exposure.latency_s, self",
    ),
    Mutant(
        "believes a body that says nothing is open, at once",
        "shutter/machine.py",
        "shutter/test_machine.py::test_nothing_open_is_asked_once_more_before_it_is_believed",
        "if self._nothing_open < 2:",
        "if self._nothing_open < 1:",
    ),
    Mutant(
        "takes a shutter that is still open for closed",
        "shutter/machine.py",
        "shutter/test_machine.py::test_three_closings_that_leave_it_open_set_the_latch",
        "if event.closing is Closing.STILL_OPEN:",
        "if False:",
    ),
    Mutant(
        "never sets the latch",
        "shutter/machine.py",
        "shutter/test_machine.py::test_three_closings_that_leave_it_open_set_the_latch",
        "        self.latched = True\n",
        "        self.latched = False\n",
    ),
    Mutant(
        "sets the latch one closing early",
        "shutter/machine.py",
        "shutter/test_machine.py::test_two_closings_that_leave_it_open_do_not_set_the_latch",
        "CLOSINGS_BEFORE_LATCH = 3",
        "CLOSINGS_BEFORE_LATCH = 2",
    ),
    Mutant(
        "lets the latch be cleared while the shutter may be open",
        "shutter/machine.py",
        "shutter/test_machine.py::test_the_latch_is_not_cleared_while_the_shutter_may_be_open",
        "        if self.phase not in (Phase.READY, Phase.STORING):\n            return [Refused",
        "        if False:\n            return [Refused",
    ),
    Mutant(
        "ends a worn process before the last frame is collected",
        "shutter/machine.py",
        "shutter/test_recycling.py::test_it_ends_only_with_nothing_open_untold_or_uncollected",
        "if self.phase is not Phase.READY or self.frame is not None or self.reports:",
        "if self.frame is not None:",
    ),
    Mutant(
        "goes on with a session that hung",
        "shutter/machine.py",
        "shutter/test_machine.py::test_a_closing_call_that_hangs_is_repeated_by_the_successor",
        "if event.failure is Failure.HUNG:",
        "if False:",
    ),
    Mutant(
        "does not notice a hold that overran",
        "shutter/machine.py",
        "shutter/test_machine.py::test_a_hold_that_overran_ends_the_process",
        "if frame is not None and self.phase is Phase.OPEN and now_s >= frame.due_s + OVERRUN_S:",
        "if frame is None and now_s < 0:",
    ),
    Mutant(
        "connects without closing first",
        "shutter/machine.py",
        "shutter/test_machine.py::test_an_opening_that_was_answered_badly_is_closed_at_once",
        "else self.phase\n                return [Close()]",
        "else self.phase\n                self.phase = Phase.READY\n                return []",
    ),
    Mutant(
        "carries out an order that was told as not done while it waited",
        "shutter/hands.py",
        "shutter/test_crossed_orders.py::test_nothing_opens_when_the_link_is_back_that_was_lost_while_the_order_came",
        "            if self._is_void(effect):",
        "            if False:",
    ),
    Mutant(
        "takes an order between the word of a body that is back and its closing",
        "shutter/machine.py",
        "shutter/test_crossed_orders.py::test_a_body_that_answers_again_takes_no_order_before_it_is_closed",
        "self.phase = Phase.STARTING if self.phase is Phase.READY else self.phase",
        "self.phase = self.phase",
    ),
    Mutant(
        "takes a picture of the frame before for the end of one that the body times",
        "shutter/story.py",
        "shutter/test_dial_frames.py::test_a_late_word_of_the_frame_before_does_not_end_this_one",
        "return now_s >= self.planned_end_s - DIAL_OFF_SHARE * self.exposure.open_s",
        "return True",
    ),
    Mutant(
        "looks without end for a picture on a card that is gone",
        "shutter/machine.py",
        "shutter/test_dial_frames.py::test_a_picture_that_could_prove_the_opening_is_not_looked_for_without_end",
        "return [] if self.phase is Phase.PROVING else [Close()]",
        "return [Close()]",
    ),
    Mutant(
        "does not look for a lost camera again",
        "shutter/machine.py",
        "shutter/test_machine.py::test_a_lost_camera_is_looked_for_until_it_answers",
        "return [*news, Pause(pause_s), Connect()]",
        "return news",
    ),
    Mutant(
        "tells the planned time instead of the true one",
        "shutter/story.py",
        "shutter/test_machine.py::test_a_request_to_stop_closes_and_keeps",
        "open_s = max(0.0, frame.closing_s - frame.opened_s + frame.exposure.latency_s)",
        "open_s = frame.exposure.open_s",
    ),
    Mutant(
        "never says that a lost frame is unknown",
        "shutter/machine.py",
        "shutter/test_machine.py::test_a_lead_that_stays_away_is_told_as_unknown_and_closed_later",
        "if frame is not None and not frame.told and now_s >= frame.planned_end_s + GIVE_UP_S:",
        "if frame is not None and not frame.told and now_s < 0:",
    ),
    Mutant(
        "holds on after a request to stop",
        "shutter/hands.py",
        "shutter/test_machine.py::test_a_request_to_stop_closes_and_keeps",
        "            if self._desk.machine.stop_asked:\n                return HoldEnded(alive_s, hung)",
        "            if False:\n                return HoldEnded(alive_s, hung)",
    ),
    Mutant(
        "ends the frame early when the link stalls",
        "shutter/hands.py",
        "shutter/test_machine.py::test_a_link_that_hangs_while_open_does_not_shorten_the_frame",
        "                hung = failed\n",
        "                return HoldEnded(alive_s, failed)\n",
    ),
    Mutant(
        "closes half a second late",
        "shutter/hands.py",
        "shutter/test_machine.py::test_a_held_frame_is_open_for_as_long_as_it_says",
        "            self._sleep_until(until_s)\n        return HoldEnded",
        "            self._sleep_until(until_s + 0.5)\n        return HoldEnded",
    ),
    Mutant(
        "forgets what the last process left open",
        "shutter/leftover.py",
        "shutter/test_machine.py::test_an_opening_that_was_answered_badly_is_closed_at_once",
        '        if line.word == "opening":\n            frame = _understood(lambda line: _opening(line, boot), line)',
        '        if line.word == "opening":\n            frame = None',
    ),
    Mutant(
        "reads the stamps of another boot as its own",
        "shutter/leftover.py",
        "shutter/test_machine.py::test_after_a_boot_the_stamps_of_before_say_nothing",
        "same_boot=line.boot == boot,",
        "same_boot=True,",
    ),
    Mutant(
        "takes a message of any length",
        "shutter/wire.py",
        "shutter/test_box_and_wire.py::test_a_length_over_the_limit_is_refused_before_it_is_read",
        "if length > LONGEST_MESSAGE_BYTES:",
        "if length < 0:",
    ),
    Mutant(
        "lets a camera call take for ever",
        "shutter/control.py",
        "shutter/test_control.py::test_a_call_over_its_budget_ends_the_process",
        "if call is not None and call.overdue(now_s, self._excused_s):",
        "if call is None and self._excused_s < 0:",
    ),
    Mutant(
        "counts the time in which the machine stood still",
        "shutter/control.py",
        "shutter/test_control.py::test_the_time_in_which_the_whole_process_stood_still_is_not_counted",
        "if now_s > self._looked_s + STALLED_S:",
        "if now_s < 0:",
    ),
    Mutant(
        "opens although the black box has not taken it",
        "shutter/hands.py",
        "shutter/test_machine.py::test_what_cannot_be_written_is_not_opened_and_what_is_open_is_closed",
        "                pending.clear()  # what was not written is not done",
        "                pending.rotate(0)",
    ),
    Mutant(
        "is deaf while it waits for a proof",
        "shutter/machine.py",
        "shutter/test_machine.py::test_a_successor_listens_as_soon_as_its_closing_is_answered_and_waits_for_a_proof_afterwards",
        'self.trouble, self.trouble_code, self.looked = None, "not_ready", True',
        'self.trouble, self.trouble_code = None, "not_ready"',
    ),
    Mutant(
        "tells the second of two closings as the one that closed",
        "shutter/story.py",
        "shutter/test_machine.py::test_of_two_closings_that_may_have_closed_it_neither_is_told_as_the_one",
        "if frame.denied_s is not None and frame.closing_s - frame.denied_s > ONE_CALL_WITHIN_S:",
        "if False:",
    ),
    Mutant(
        "keeps a denial that was wrong",
        "shutter/machine.py",
        "shutter/test_machine.py::test_a_denial_is_forgotten_when_the_body_then_says_that_it_is_open",
        "self.frame.denied_s = None  # whatever was denied before: it is open",
        "pass",
    ),
    Mutant(
        "takes any word",
        "shutter/wire.py",
        "shutter/test_box_and_wire.py::test_what_is_not_of_this_wire_is_refused",
        "if not isinstance(word, str) or word not in WORDS:",
        "if not isinstance(word, str):",
    ),
)


@pytest.fixture(scope="module")
def found() -> Fates:
    return fates(MUTANTS)


@pytest.mark.parametrize("mutant", MUTANTS, ids=[mutant.name for mutant in MUTANTS])
def test_the_mutant_is_caught(mutant: Mutant, found: Fates) -> None:
    ensure_caught(mutant, found)


def test_the_unchanged_files_pass(found: Fates) -> None:
    ensure_clean(found)
