"""How an evening stands, in words, for its screen and for who asks; a countdown only for what a person waits for."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from evening_bench import BEGUN_UTC, VIEW

from duskhold.app.hearing import view_body
from duskhold.faces.countdown import fitted
from duskhold.faces.standing import awaited_utc, length, line_of, lines_of, view_from
from duskhold.faces.telling import Once
from duskhold.plan.evening_view import Foreseen, Phase
from duskhold.plan.stops import StopReason

OPEN = replace(VIEW, phase=Phase.OPEN, role="long", frames_done=3, frames_left=22, next_open_s=95.0)
SOON = BEGUN_UTC + timedelta(seconds=72)


def test_whether_it_is_open_says_the_shutter_process_alone() -> None:
    assert line_of(OPEN, 161.0, "open") == "OPEN  2:41   long frame   3 done, 22 left"
    for shutter in ("", "opening", "closing", "storing", "silent", "lost"):
        line = line_of(OPEN, 161.0, shutter)
        assert "OPEN" not in line and "2:41" not in line


def test_from_its_planned_end_on_it_is_closing() -> None:
    assert line_of(OPEN, 0.1, "open").startswith("OPEN   0.1 s")
    assert line_of(OPEN, 0.0, "open") == "closing   long frame   3 done, 22 left"


def test_what_a_person_must_do_is_in_the_line() -> None:
    asking = replace(VIEW, phase=Phase.ASKING, line="take off the six")
    assert line_of(asking, None, "") == "WAITS FOR YOU   take off the six   0 done"
    held = replace(VIEW, phase=Phase.HELD, line="held: say resume to go on")
    assert line_of(held, None, "") == "HELD   say resume to go on   0 done"
    assert line_of(replace(VIEW, next_open_s=95.0), 4.0, "") == "next frame in 4.0 s   long frame 1:35   0 done"
    assert line_of(replace(VIEW, next_open_s=95.0), -3.0, "") == "between frames   long frame 1:35   0 done"


@pytest.mark.parametrize("phase", list(Phase))
def test_every_phase_has_its_words(phase: Phase) -> None:
    for line in ("nothing", "look at the lead"):
        view = replace(VIEW, phase=phase, line=line)
        said = " ".join([line_of(view, None, ""), *lines_of(view, BEGUN_UTC)])
        assert "nothing" not in said and f"{phase.value}:" not in said.lower().replace("held:", "")


@pytest.mark.parametrize("phase", list(Phase))
def test_only_what_a_person_waits_for_is_counted_down(phase: Phase) -> None:
    view = replace(VIEW, phase=phase, until_utc=SOON)
    counted = phase in (Phase.OPEN, Phase.WAITING, Phase.WATCHING, Phase.BETWEEN)
    assert awaited_utc(view) == (SOON if counted else None)
    assert ("1:12" in " ".join(lines_of(view, BEGUN_UTC))) == counted
    assert awaited_utc(replace(view, pack_utc=SOON)) is None
    assert awaited_utc(replace(view, light_ends_utc=SOON)) is None


def test_once_the_series_is_over_no_frame_is_next() -> None:
    over = replace(VIEW, stop="all 3 frames are taken", frames_done=3, frames_left=0, next_open_s=20.0)
    assert line_of(over, None, "") == "between frames   3 done"
    assert line_of(replace(over, phase=Phase.ENDED), None, "") == "over"
    left = replace(over, stop="you leave; get home safely")
    assert lines_of(left, BEGUN_UTC)[1] == "The series is over: you leave; get home safely."
    told = lines_of(replace(over, phase=Phase.ENDED), BEGUN_UTC)
    assert told == ["The series is over: all 3 frames are taken.", "Long frames: 3 done."]


def test_whoever_asks_reads_sentences() -> None:
    assert lines_of(replace(OPEN, until_utc=SOON), BEGUN_UTC) == [
        "The long frame is open, 1:12 left.", "The next long frame: 1:35.", "Long frames: 3 done, 22 left.",
    ]  # fmt: skip
    last = replace(OPEN, until_utc=SOON, frames_left=1)
    assert lines_of(last, BEGUN_UTC)[1:] == ["Long frames: 3 done, 1 left."]
    closing = lines_of(replace(last, until_utc=None), BEGUN_UTC)
    assert closing[0] == "The long frame is being closed, and stored."
    packing = replace(VIEW, phase=Phase.RESTING, line="time to pack", stop="the frame is taken")
    assert lines_of(packing, BEGUN_UTC)[:2] == ["Time to pack.", "The series is over: the frame is taken."]
    held = replace(VIEW, phase=Phase.HELD, line="held: say resume to go on")
    assert lines_of(held, BEGUN_UTC)[0] == "Held: say resume to go on."


def test_a_view_comes_through_the_socket_as_it_was() -> None:
    view = replace(OPEN, until_utc=SOON, pack_utc=SOON, filters=("six",))
    assert view_from(view_body(view)) == view


def test_a_line_fits_its_terminal() -> None:
    line = line_of(replace(VIEW, next_open_s=95.0, frames_left=22), 4.0, "")
    assert fitted(line, 80) == line
    assert fitted(line, 40) == "next frame in 4.0 s   long frame 1:35"
    assert len(fitted("WAITS FOR YOU   take off the six and fit the three", 40)) < 40


@pytest.mark.parametrize(("seconds", "text"), [(0.5, "0.5 s"), (4.0, "4 s"), (59.7, "1:00"), (95.4, "1:35")])
def test_lengths(seconds: float, text: str) -> None:
    assert length(seconds) == text


def test_codes_are_said_in_words() -> None:
    once = Once()
    assert once.said("stop", "all 2 frames are taken") == "all 2 frames are taken"
    assert once.said("ended", "all 2 frames are taken") == "over"
    for reason in StopReason:
        foreseen = Foreseen(2, 1, 2, 0, 0, None, BEGUN_UTC, reason)
        assert "_" not in foreseen.line()
