"""Pictures that do not tell what they are taken for: clipped, far off, or none; what is asked and said then."""

from dataclasses import replace
from datetime import timedelta

import pytest
from evening_desk import AGAIN, BEGUN, FITTED, TONE, Desk, takes

from duskhold.light.crossings import Direction
from duskhold.light.place import Place
from duskhold.light.skycurve import SkyCurve
from duskhold.light.skyshape import SkyShape
from duskhold.plan import evening_words as words
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import Word
from duskhold.plan.outing import Bounds, Dark, Doubt, LightStart, Outing
from duskhold.plan.role import Role


def clipped(desk: Desk) -> list[words.Effect]:
    """The open frame is at full scale: burnt, since the light of the desk is two stops above a mid-tone and more."""
    frame_id = desk.newest()
    desk.close(measured=False)
    return desk.feed(words.Measured(frame_id, desk.level_ev, 0.01, at_least=True))


def test_a_base_frame_that_is_burnt_is_asked_about_and_metered_once_more() -> None:
    desk = Desk(FITTED)
    desk.until_open(Role.BASE)
    for _ in range(3):
        clipped(desk)
        assert desk.evening.view(desk.now).phase is Phase.HELD and "base frame is burnt" in desk.rung()[-1]
        assert takes(desk.wait(600.0)) == [], "no long frame by a tone that nobody knows"
        desk.say(Word.RESUME)
        assert desk.open is not None and desk.open.role is Role.BASE
    desk.level_ev -= 2.0
    desk.close()
    reference = desk.evening.state.light.reference
    assert reference is not None and reference.level_ev == desk.level_ev
    assert desk.evening.state.request is not None, "now the filter"


def test_a_base_frame_with_some_points_at_full_scale_will_do() -> None:
    desk = Desk(FITTED)
    desk.level_ev = 7.5
    desk.until_open(Role.BASE)
    clipped(desk)
    assert desk.lines("clipped") and desk.evening.state.request is not None
    desk.say(Word.DONE)
    clipped(desk)
    assert desk.lines("verified"), "the scout has the same points at full scale"


def test_light_of_which_some_points_are_at_full_scale_fades_by_the_sky_all_the_same() -> None:
    outing = replace(FITTED, place=Place(50.0, -4.0), want=replace(FITTED.want, base_frames=2))
    sky = SkyShape(SkyCurve(Place(50.0, -4.0), BEGUN), BEGUN)
    desk = Desk(outing)

    def faded() -> None:
        desk.level_ev = 7.5 + sky.stops(desk.now) - sky.stops(BEGUN)

    for _ in range(2):
        desk.until_open(Role.BASE)
        faded()
        clipped(desk)
    desk.wait(150.0)  # cold fingers
    desk.say(Word.DONE)
    faded()
    clipped(desk)
    assert desk.lines("verified") == ["the pixels say that it is done"]
    assert abs(desk.evening.state.light.takes_more_stops(("six",))) < 0.05
    desk.until_open(Role.LONG)
    rate = desk.open.reasoning["rate_stops_per_min"] if desk.open is not None else None
    assert rate == pytest.approx(sky.rate_stops_per_min(desk.now), abs=0.01)


def test_light_that_has_changed_too_far_since_it_was_seen_is_seen_again_by_a_scout() -> None:
    """0.2 stop a minute, and a camera that is busy with its own dark frame for as long again: past 1.5 stops a
    correction rests on too long a look ahead, and nobody has to be asked for a nearer look."""
    bounds = Bounds(longest_s=600.0, frames=9)
    desk = Desk(replace(AGAIN, want=replace(AGAIN.want, first_s=26.0), dark=Dark.IN_CAMERA, bounds=bounds))
    while desk.over() is None:
        desk.wait(10.0)
        if desk.open is not None:
            desk.level_ev = 8.0 - 0.2 * ((desk.now - BEGUN).total_seconds() + desk.open.open_s / 2.0) / 60.0
            desk.close()
    assert desk.takes() == [Role.LONG] * 8 + [Role.SCOUT, Role.LONG]
    assert "a scout first" in desk.lines("stale")[0]
    assert desk.over() == "frames_done"


def test_where_nobody_is_asked_it_is_metered_until_the_light_can_be_told() -> None:
    desk = Desk(replace(FITTED, doubt=Doubt.GO_ON))
    for _ in range(3):
        assert desk.until_open(Role.BASE) is not None
        clipped(desk)
        assert desk.open is None and desk.evening.state.held is None and desk.evening.state.request is None
    desk.level_ev -= 2.0
    desk.until_open(Role.BASE)
    desk.close()
    assert desk.evening.state.request is not None
    assert desk.now - BEGUN >= timedelta(minutes=6)


def test_it_is_not_metered_for_ever() -> None:
    desk = Desk(replace(FITTED, doubt=Doubt.GO_ON))
    for _ in range(16):
        desk.until_open(Role.BASE)
        clipped(desk)
    assert desk.over() == "in_doubt" and "shorten want.base" in desk.rung()[-1]


def test_whoever_wants_it_stopped_in_doubt_has_it_stopped() -> None:
    desk = Desk(replace(FITTED, doubt=Doubt.STOP))
    desk.until_open(Role.BASE)
    clipped(desk)
    assert desk.over() == "in_doubt" and "resume" not in desk.rung()[-1]


def test_a_first_frame_that_is_burnt_is_no_tone_to_keep() -> None:
    desk = Desk()
    clipped(desk)
    assert desk.evening.view(desk.now).phase is Phase.HELD and "first frame is burnt" in desk.rung()[-1]
    assert desk.evening.state.frames_done == 1, "it is kept"
    desk.say(Word.RESUME)
    assert desk.until_open(Role.LONG).open_s == 60.0
    desk.close()
    assert desk.evening.state.light.reference is not None


def test_only_the_last_base_frame_has_to_tell_a_tone() -> None:
    desk = Desk(replace(FITTED, want=replace(FITTED.want, base_frames=2)))
    desk.until_open(Role.BASE)
    clipped(desk)
    assert desk.evening.state.held is None and desk.lines("clipped")
    desk.level_ev -= 2.0
    desk.until_open(Role.BASE)
    desk.close()
    assert desk.evening.state.request is not None


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


def test_whoever_leaves_is_not_asked_about_a_picture() -> None:
    desk = Desk()
    desk.say(Word.LEAVING)
    clipped(desk)
    assert desk.rung() == [] and desk.ended() == "left_by_person"


# A scout that is burnt


def held(outing: Outing = AGAIN) -> Desk:
    """A frame is taken, then it is held, so that a scout looks first."""
    desk = Desk(outing)
    desk.close()
    desk.say(Word.HOLD)
    desk.say(Word.RESUME)
    assert desk.open is not None and desk.open.role is Role.SCOUT
    return desk


def test_nothing_is_computed_from_a_scout_that_is_burnt() -> None:
    desk = held()
    for _ in range(3):
        assert desk.open is not None and desk.open.role is Role.SCOUT
        clipped(desk)
        desk.wait(10.0)
    assert len(desk.lines("look_again")) == 2 and desk.evening.view(desk.now).phase is Phase.HELD
    assert "scout is burnt" in desk.rung()[-1]
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


def test_a_burnt_scout_never_proves_a_change_however_often_it_is_said_to_be_made() -> None:
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


def doubtful(desk: Desk, role: Role, *codes: str) -> None:
    """The next frame of this role shows what only a person can judge; all before it is as it should be."""
    desk.until_open(role)
    frame_id = desk.newest()
    desk.close(measured=False)
    desk.feed(words.Measured(frame_id, desk.level_ev, 0.01, act=words.Act.ASK, codes=codes, text="on the glass"))


def test_what_a_person_looked_at_twice_is_told_and_not_asked_again() -> None:
    desk = Desk(TONE)
    doubtful(desk, Role.LONG, "spots")
    assert desk.evening.view(desk.now).phase is Phase.HELD
    desk.say(Word.RESUME)
    doubtful(desk, Role.SCOUT, "spots")
    assert desk.evening.view(desk.now).phase is Phase.HELD, "it was wiped, and is still there"
    desk.say(Word.RESUME)
    rung = len(desk.rung())
    doubtful(desk, Role.LONG, "spots")
    assert desk.evening.state.held is None and len(desk.rung()) == rung
    assert "looked at" in desk.lines("in_doubt")[-1]
    doubtful(desk, Role.LONG, "spots", "leak")
    assert desk.evening.state.held is not None, "another fault is another question"


def test_what_was_away_and_came_again_is_asked_again() -> None:
    desk = Desk(TONE)
    for _ in range(2):
        doubtful(desk, Role.LONG, "spots")
        assert desk.evening.state.held is not None
        desk.say(Word.RESUME)
    desk.until_open(Role.LONG)
    desk.close()
    doubtful(desk, Role.LONG, "spots")
    assert desk.evening.state.held is not None
