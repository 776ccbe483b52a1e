"""Start, stop and evidence of each family, on a lead made of paper: every answer that a body may give."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from duskhold.camera.drivers import Driver, Hint, LibrarySaid, driver_for
from duskhold.camera.families import BULB, BUTTON, NO_FAMILY, OPEN_CAPTURE, TOGGLE, ControlFamily, Holding
from duskhold.camera.library_errors import Code
from duskhold.camera.port import BodyRefused, Closing, LinkHung, LinkLost

# The choices of libgphoto2 2.5.34 and of those before it (camlibs/ptp2/config.c).
NEW = ["None", "Press Half AF", "Press Full AF", "Press Half MF", "Press Full MF", "Release Half", "Release Full"]
NEW += ["Release"]
OLD = ["None", "Press Half", "Press Full", "Release Half", "Release Full", "Immediate", "Press 1", "Release 1"]


class PaperLead:
    """Answers `put` with a list of codes, and tells hints at their times after the last put."""

    def __init__(self, driver: Driver) -> None:
        self.driver = driver
        self.puts: list[int | str] = []
        self.codes: list[int] = []
        self.hints: list[tuple[float, Hint]] = []
        self.time_s = 100.0
        self.put_s = 100.0
        self.alive: Callable[[], None] = lambda: None
        self.backlog, self.let_in_s = 0, 0.0

    def put(self, widget: str, value: int | str) -> None:
        self.puts.append(value)
        self.put_s = self.time_s
        code = self.codes.pop(0) if self.codes else Code.OK
        if code != Code.OK:
            raise LibrarySaid(code, 0.01)

    def let_in(self) -> bool:
        due = [hint for at_s, hint in self.hints if self.put_s + at_s <= self.time_s]
        self.hints = [each for each in self.hints if self.put_s + each[0] > self.time_s]
        for hint in due:
            self.driver.heard(hint)
        self.time_s += self.let_in_s
        self.backlog -= 1
        return self.backlog >= 0

    def ensure_bulb(self) -> None:
        return

    def check_alive(self) -> None:
        self.alive()

    def now_s(self) -> float:
        return self.time_s

    def sleep(self, seconds: float) -> None:
        self.time_s += seconds


def opened(driver: Driver, *hints: Hint) -> PaperLead:
    lead = PaperLead(driver)
    driver.open(lead)
    for hint in hints:
        driver.heard(hint)
    lead.puts.clear()
    return lead


def closed_after(lead: PaperLead, *hints: tuple[float, Hint], codes: Sequence[int] = ()) -> Closing:
    lead.hints, lead.codes = list(hints), list(codes)
    return lead.driver.close(lead)


def test_the_button_takes_the_choices_that_there_are() -> None:
    for choices, start, stop in ((NEW, "Press Full MF", "Release"), (OLD, "Immediate", "Release Full")):
        driver = driver_for(BUTTON, choices)
        lead = PaperLead(driver)
        driver.open(lead)
        closed_after(lead, (0.1, Hint.COMPLETE))
        assert lead.puts == [start, stop]


def test_a_button_without_a_way_to_stop_is_not_pressed() -> None:
    driver = driver_for(BUTTON, ["None", "Press Full MF"])
    lead = PaperLead(driver)
    with pytest.raises(BodyRefused):
        driver.open(lead)
    assert not lead.puts


def test_a_body_that_cannot_be_held_is_told_so() -> None:
    driver = driver_for(NO_FAMILY, [])
    with pytest.raises(BodyRefused, match="cannot be held"):
        driver.open(PaperLead(driver))
    assert driver.close(PaperLead(driver)) is Closing.NOTHING_OPEN


def test_a_completed_capture_proves_the_close() -> None:
    assert closed_after(opened(driver_for(BUTTON, NEW), Hint.BUSY), (0.4, Hint.COMPLETE)) is Closing.CLOSED


def test_an_answered_stop_that_did_nothing_is_followed_by_the_next_way() -> None:
    lead = opened(driver_for(BUTTON, NEW), Hint.BUSY)
    assert closed_after(lead, (0.9, Hint.EXPOSING)) is Closing.STILL_OPEN
    assert closed_after(lead, (0.9, Hint.EXPOSING)) is Closing.STILL_OPEN
    assert closed_after(lead, (0.4, Hint.COMPLETE)) is Closing.CLOSED
    assert lead.puts == ["Release", "Release Full", "Release Half"]


def test_a_refused_stop_is_judged_by_what_the_body_tells() -> None:
    open_still = closed_after(opened(driver_for(BULB, []), Hint.BUSY), (0.9, Hint.EXPOSING), codes=[Code.GENERAL])
    assert open_still is Closing.STILL_OPEN
    hidden = closed_after(opened(driver_for(BULB, []), Hint.BUSY), (0.9, Hint.COMPLETE), codes=[Code.GENERAL])
    assert hidden is Closing.CLOSED


def test_a_body_that_told_its_end_before_the_stop_had_nothing_open() -> None:
    lead = opened(driver_for(BUTTON, NEW), Hint.BUSY, Hint.EXPOSING, Hint.PICTURE, Hint.COMPLETE)
    assert closed_after(lead, (0.2, Hint.COMPLETE)) is Closing.NOTHING_OPEN
    assert closed_after(lead) is Closing.NOTHING_OPEN
    assert lead.puts == ["Release", "Release"]


def test_a_body_that_fell_silent_before_the_stop_had_nothing_open_whatever_it_tells_of_its_end_later() -> None:
    # It closed by itself, and takes its own dark frame: the end is told behind that.
    lead = opened(driver_for(BUTTON, NEW), Hint.BUSY, Hint.EXPOSING)
    lead.sleep(2.6)
    assert closed_after(lead, (0.6, Hint.COMPLETE)) is Closing.NOTHING_OPEN
    assert closed_after(lead) is Closing.NOTHING_OPEN
    lead = opened(driver_for(BUTTON, NEW), Hint.BUSY, Hint.EXPOSING)
    lead.sleep(2.4)
    assert closed_after(lead, (0.6, Hint.COMPLETE)) is Closing.CLOSED


def test_a_body_that_was_silent_and_then_tells_a_second_is_open() -> None:
    lead = opened(driver_for(BUTTON, NEW), Hint.BUSY, Hint.EXPOSING)
    lead.sleep(60.0)
    assert closed_after(lead, (0.9, Hint.EXPOSING)) is Closing.STILL_OPEN
    lead.sleep(60.0)  # between two closings nobody counts seconds
    assert closed_after(lead, (0.4, Hint.COMPLETE)) is Closing.CLOSED


def test_a_body_that_never_told_a_second_cannot_fall_silent() -> None:
    lead = opened(driver_for(BULB, NEW), Hint.BUSY)
    lead.sleep(60.0)
    assert closed_after(lead, (0.4, Hint.COMPLETE)) is Closing.CLOSED


def test_an_end_that_another_second_follows_was_none() -> None:
    lead = opened(driver_for(BUTTON, NEW), Hint.BUSY, Hint.COMPLETE, Hint.EXPOSING)
    assert closed_after(lead, (0.4, Hint.COMPLETE)) is Closing.CLOSED
    lead = opened(driver_for(BUTTON, NEW), Hint.BUSY, Hint.COMPLETE)
    assert closed_after(lead, (0.9, Hint.EXPOSING)) is Closing.STILL_OPEN
    assert closed_after(lead, (0.4, Hint.COMPLETE)) is Closing.CLOSED


def test_an_end_that_is_told_before_anything_began_is_of_the_frame_before() -> None:
    lead = opened(driver_for(BUTTON, NEW), Hint.COMPLETE, Hint.BUSY)
    assert closed_after(lead, (0.4, Hint.COMPLETE)) is Closing.CLOSED


def test_a_second_counted_before_the_stop_is_no_proof() -> None:
    lead = opened(driver_for(BUTTON, NEW), Hint.BUSY)
    assert closed_after(lead, (0.0, Hint.EXPOSING), (0.6, Hint.COMPLETE)) is Closing.CLOSED


def test_the_stop_goes_out_before_old_news_is_heard_and_old_news_proves_nothing() -> None:
    lead = opened(driver_for(BUTTON, NEW))
    lead.backlog, lead.let_in_s = 10, 0.1
    # What stands in the queue from before: seconds, a picture, an end. Then, 0.3 s after all of it, another second.
    old = [(0.05, Hint.EXPOSING), (0.15, Hint.PICTURE), (0.2, Hint.COMPLETE)]
    assert closed_after(lead, *old, (1.6, Hint.EXPOSING)) is Closing.STILL_OPEN
    assert lead.puts == ["Release"]
    lead.backlog = 10
    assert closed_after(lead, *old, (1.6, Hint.COMPLETE)) is Closing.CLOSED
    lead.driver.heard(Hint.EXPOSING)
    lead.backlog = 10
    assert closed_after(lead, *old) is Closing.CLOSED_BUSY


def test_a_picture_alone_is_believed_only_after_silence() -> None:
    late = closed_after(opened(driver_for(BUTTON, NEW), Hint.BUSY), (0.1, Hint.PICTURE), (0.9, Hint.EXPOSING))
    assert late is Closing.STILL_OPEN
    assert closed_after(opened(driver_for(BUTTON, NEW), Hint.BUSY), (0.1, Hint.PICTURE)) is Closing.CLOSED


def test_silence_after_an_opening_is_a_busy_body() -> None:
    assert closed_after(opened(driver_for(BUTTON, NEW), Hint.BUSY, Hint.EXPOSING)) is Closing.CLOSED_BUSY


def test_silence_without_an_opening_is_nothing_open() -> None:
    assert closed_after(opened(driver_for(BUTTON, NEW))) is Closing.NOTHING_OPEN
    assert closed_after(opened(driver_for(BULB, [])), codes=[Code.GENERAL]) is Closing.NOTHING_OPEN


@pytest.mark.parametrize(("code", "error"), [(Code.IO, LinkLost), (Code.TIMEOUT, LinkHung)])
@pytest.mark.parametrize("family", [TOGGLE, BUTTON, BULB, OPEN_CAPTURE], ids=lambda each: str(each.name))
def test_a_lost_link_is_no_answer(family: object, code: Code, error: type[Exception]) -> None:
    known = next(each for each in (TOGGLE, BUTTON, BULB, OPEN_CAPTURE) if each is family)
    with pytest.raises(error):
        closed_after(opened(driver_for(known, NEW)), codes=[code])


def test_an_unproven_toggle_is_believed_only_with_a_picture() -> None:
    family = ControlFamily("bulb toggle", 0x0011, Holding.TOGGLE, proven=False)
    for hint in (Hint.PICTURE, Hint.COMPLETE):
        assert closed_after(opened(driver_for(family, [])), (0.5, hint)) is Closing.CLOSED
    lead = opened(driver_for(family, []), Hint.PICTURE)  # one of before is no proof
    assert closed_after(lead) is Closing.NOTHING_OPEN
    assert lead.puts == [0]
    assert closed_after(lead, codes=[Code.BUSY]) is Closing.CLOSED_BUSY
    assert closed_after(opened(driver_for(TOGGLE, []))) is Closing.CLOSED, "there the library has asked the body"


def test_open_capture_is_closed_when_a_second_stop_is_refused() -> None:
    lead = opened(driver_for(OPEN_CAPTURE, []))
    assert closed_after(lead, (0.4, Hint.COMPLETE), codes=[Code.OK, Code.GENERAL]) is Closing.CLOSED
    assert closed_after(lead, codes=[Code.OK, Code.GENERAL]) is Closing.CLOSED_BUSY
    assert closed_after(lead, codes=[Code.GENERAL]) is Closing.NOTHING_OPEN


def test_open_capture_whose_second_stop_ended_it_says_so_at_the_next_asking() -> None:
    lead = opened(driver_for(OPEN_CAPTURE, []))
    assert closed_after(lead, codes=[Code.OK, Code.OK]) is Closing.STILL_OPEN
    lead.puts.clear()
    assert closed_after(lead, (0.2, Hint.COMPLETE)) is Closing.CLOSED
    assert not lead.puts


def test_a_link_that_ended_in_good_order_is_not_a_closed_shutter() -> None:
    def gone() -> None:
        raise LinkLost("gone")

    for family in (TOGGLE, OPEN_CAPTURE):
        lead = opened(driver_for(family, []))
        lead.alive = gone
        with pytest.raises(LinkLost):
            closed_after(lead, codes=[Code.GENERAL])
