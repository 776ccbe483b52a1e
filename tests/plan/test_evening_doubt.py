"""Pictures that do not tell what they are taken for: clipped, far off, or none; what is asked and said then."""

from dataclasses import replace

import pytest
from evening_desk import AGAIN, BEGUN, FITTED, TONE, Desk, takes

from duskhold.light.crossings import Direction
from duskhold.plan import evening_words as words
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import Word
from duskhold.plan.outing import Doubt, LightStart, Outing
from duskhold.plan.role import Role


def clipped(desk: Desk) -> list[words.Effect]:
    """The open frame is at full scale."""
    frame_id = desk.newest()
    desk.close(measured=False)
    return desk.feed(words.Measured(frame_id, desk.level_ev, 0.01, at_least=True))


def test_a_base_frame_that_is_clipped_is_asked_about_and_metered_once_more() -> None:
    desk = Desk(FITTED)
    desk.until_open(Role.BASE)
    clipped(desk)
    assert desk.evening.view(desk.now).phase is Phase.HELD and "base frame is clipped" in desk.rung()[-1]
    assert takes(desk.wait(600.0)) == [], "no long frame by a tone that nobody knows"
    desk.level_ev -= 2.0
    desk.say(Word.RESUME)
    assert desk.open is not None and desk.open.role is Role.BASE
    desk.close()
    reference = desk.evening.state.light.reference
    assert reference is not None and reference.level_ev == desk.level_ev
    assert desk.evening.state.request is not None, "now the filter"


def test_whoever_resumes_with_a_clipped_base_frame_is_asked_once() -> None:
    desk = Desk(FITTED)
    desk.until_open(Role.BASE)
    clipped(desk)
    desk.say(Word.RESUME)
    clipped(desk)
    assert desk.evening.state.held is None and desk.evening.state.request is not None
    assert "clipped" in desk.lines("clipped")[-1]


@pytest.mark.parametrize(("doubt", "over"), [(Doubt.GO_ON, None), (Doubt.STOP, "in_doubt")])
def test_a_clipped_base_frame_is_a_doubt_like_any_other(doubt: Doubt, over: str | None) -> None:
    desk = Desk(replace(FITTED, doubt=doubt))
    desk.until_open(Role.BASE)
    clipped(desk)
    assert desk.over() == over and desk.evening.state.held is None
    assert (desk.evening.state.request is None) == (over is not None)


def test_only_the_last_base_frame_has_to_tell_a_tone() -> None:
    desk = Desk(replace(FITTED, want=replace(FITTED.want, base_frames=2)))
    desk.until_open(Role.BASE)
    clipped(desk)
    assert desk.evening.state.held is None and desk.lines("clipped")


def test_while_the_light_is_watched_its_frames_may_be_clipped() -> None:
    watch = replace(
        FITTED, start=LightStart(1.0, Direction.DOWN, BEGUN), want=replace(FITTED.want, base_frames=1, every_s=60.0)
    )
    desk = Desk(watch)
    desk.level_ev = 12.0
    for _ in range(3):
        desk.until_open(Role.BASE)
        clipped(desk)
        assert desk.evening.state.held is None


@pytest.mark.parametrize("at_least", [True, False])
def test_a_scout_looks_first_and_it_is_said_why(at_least: bool) -> None:
    desk = Desk()
    desk.close()
    desk.until_open(Role.LONG)
    frame_id = desk.newest()
    desk.close(measured=False)
    desk.feed(words.Measured(frame_id, desk.level_ev + 3.0, 0.01, at_least=at_least))
    assert desk.lines("odd")[-1].startswith("clipped" if at_least else "far from what was expected")


def test_a_hold_before_anything_was_measured_says_nothing_of_filters() -> None:
    desk = Desk(TONE)
    desk.close(measured=False, outcome="link_lost")
    desk.evening.state.frames_done = 1  # taken while the program was away, and never measured
    desk.say(Word.RESUME)
    desk.until_open(Role.LONG)
    assert desk.lines("unverified") == []


# A scout that is clipped


def held(outing: Outing = AGAIN) -> Desk:
    """A frame is taken, then it is held, so that a scout looks first."""
    desk = Desk(outing)
    desk.close()
    desk.say(Word.HOLD)
    desk.say(Word.RESUME)
    assert desk.open is not None and desk.open.role is Role.SCOUT
    return desk


def test_nothing_is_computed_from_a_scout_that_is_clipped() -> None:
    desk = held()
    for _ in range(3):
        assert desk.open is not None and desk.open.role is Role.SCOUT
        clipped(desk)
        desk.wait(10.0)
    assert len(desk.lines("look_again")) == 2 and desk.evening.view(desk.now).phase is Phase.HELD
    assert "scout is clipped" in desk.rung()[-1]
    desk.say(Word.RESUME)
    assert desk.open is not None and desk.open.role is Role.SCOUT
    desk.close()
    desk.until_open(Role.LONG)


def test_one_flash_is_forgotten_when_the_next_scout_is_as_it_should_be() -> None:
    desk = held()
    clipped(desk)
    desk.wait(10.0)
    desk.close()
    desk.until_open(Role.LONG)
    assert desk.rung() == []


def test_a_clipped_scout_never_proves_a_change_however_often_it_is_said_to_be_made() -> None:
    desk = Desk(FITTED)
    desk.until_open(Role.BASE)
    desk.close()
    for _ in range(4):
        desk.say(Word.DONE)
        assert desk.open is not None and desk.open.role is Role.SCOUT
        desk.level_ev += 2.6  # six stops brighter, of which the picture shows no more
        clipped(desk)
        desk.level_ev -= 2.6
        assert desk.open is None and desk.evening.state.request is not None
    assert desk.lines("denied") == ["the six not on (+2.6 stop or more)"] * 4
    desk.say(Word.DONE)
    desk.close()
    desk.until_open(Role.LONG)
