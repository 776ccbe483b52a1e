"""What a person says to the evening machine, and what it asks of a person: each rule by itself."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from evening_desk import AGAIN, FITTED, GLASS, TONE, Desk, closes, takes

from duskhold.plan.evening_pixels import scene_ev
from duskhold.plan.evening_state import Announced
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import Act, Fault, FaultSeen, Measured, NotMeasured, Quiet, Word
from duskhold.plan.outing import Bounds, Doubt, Fallback, Kind, Outing, Want
from duskhold.plan.role import Role

# Words


def test_close_closes_keeps_and_the_series_goes_on() -> None:
    desk = Desk()
    desk.wait(20.0)
    assert closes(desk.say(Word.CLOSE))
    desk.close(20.0, "cut_short")
    desk.wait(30.0)
    assert desk.open is not None and desk.evening.state.frames_done == 1


def test_close_without_a_frame_closes_nothing() -> None:
    desk = Desk()
    desk.close()
    assert not closes(desk.say(Word.CLOSE))


def test_close_before_it_opens_is_no_fault_and_opens_no_other_one() -> None:
    desk = Desk()
    desk.say(Word.CLOSE)
    desk.close(0.0, "refused", text="interrupted before the opening")
    assert desk.evening.state.held is not None and desk.evening.state.held.fault is None
    assert desk.rung() == [] and takes(desk.wait(1800.0)) == []
    desk.say(Word.RESUME)
    assert desk.open is not None, "nothing was taken yet: the first frame comes now"
    desk.close(0.0, "refused", text="busy")  # this one nobody closed
    assert desk.evening.state.held.fault is Fault.CAMERA


def test_hold_lets_the_frame_be_and_takes_none_after_it_until_resume() -> None:
    desk = Desk()
    assert not closes(desk.say(Word.HOLD))
    desk.close()
    assert desk.evening.state.frames_done == 1
    assert takes(desk.wait(1800.0)) == [] and desk.evening.view(desk.now).phase is Phase.HELD
    desk.say(Word.RESUME)
    assert desk.open is not None and desk.open.role is Role.SCOUT, "light went on changing"


def test_leaving_closes_at_once_keeps_and_ends_without_darks() -> None:
    desk = Desk()
    desk.wait(20.0)
    assert closes(desk.say(Word.LEAVING))
    assert desk.over() is None, "the frame is still to be told"
    desk.close(21.0, "cut_short")
    assert desk.over() == "left_by_person"
    assert takes(desk.wait(7200.0)) == []


def test_leaving_outranks_a_hold_and_a_fault() -> None:
    desk = Desk()
    desk.close()
    desk.feed(FaultSeen(Fault.CAMERA, "says no"))
    desk.say(Word.LEAVING)
    assert desk.over() == "left_by_person"


def test_any_word_quiets_the_alarm_and_heard_does_nothing_else() -> None:
    desk = Desk()
    desk.feed(FaultSeen(Fault.STORAGE, "the disk is full"))
    said = desk.say(Word.HEARD)
    assert isinstance(said[0], Quiet) and desk.evening.state.held is not None
    assert desk.evening.view(desk.now).alarm is None


def test_resume_after_a_fault_checks_the_camera_again() -> None:
    desk = Desk()
    desk.close()
    desk.feed(FaultSeen(Fault.CAMERA, "says no"))
    checks = sum(type(one).__name__ == "RunCheck" for one in desk.said)
    desk.say(Word.RESUME)
    assert sum(type(one).__name__ == "RunCheck" for one in desk.said) == checks + 1


# Prompts


def asked() -> Desk:
    desk = Desk(FITTED)
    desk.until_open(Role.BASE)
    desk.close()
    assert desk.lines("prompt") == ["fit the six"] and desk.rung() == ["fit the six, then say done"]
    return desk


def test_nothing_opens_while_a_prompt_is_unanswered() -> None:
    desk = asked()
    assert takes(desk.wait(7000.0)) == []
    assert desk.evening.view(desk.now).phase is Phase.ASKING


def test_an_answer_is_proven_by_a_scout_before_a_long_frame() -> None:
    desk = asked()
    (scout,) = takes(desk.say(Word.DONE))
    assert (scout.role, scout.filters) == (Role.SCOUT, ("six",))
    desk.close()
    assert desk.lines("verified")
    assert desk.until_open(Role.LONG).open_s == pytest.approx(64.0, rel=0.02)


def test_an_answer_that_the_pixels_deny_opens_nothing_and_asks_again() -> None:
    desk = asked()
    desk.say(Word.DONE)
    desk.close(off_stops=6.0)  # bare: six stops brighter than behind the six
    assert "the six not on (+6.0 stop)" in desk.lines("denied")[0]
    assert takes(desk.wait(600.0)) == []
    desk.say(Word.DONE)
    desk.close()
    desk.until_open(Role.LONG)


def test_a_filter_that_takes_a_little_more_than_the_bag_says_is_learnt_with_its_sign() -> None:
    desk = asked()
    desk.say(Word.DONE)
    desk.close(off_stops=-0.2)
    desk.level_ev -= 0.2  # it really takes 6.2, so every frame behind it looks so much darker
    assert desk.until_open(Role.LONG).open_s == pytest.approx(64.0 * 2.0**0.2, rel=0.02)


def test_a_scout_between_two_states_is_taken_once_more() -> None:
    desk = asked()
    desk.say(Word.DONE)
    desk.close(off_stops=0.8)
    assert desk.lines("look_again") and desk.open is None
    desk.wait(15.0)
    assert desk.open is not None and desk.open.role is Role.SCOUT
    desk.close(off_stops=0.8)
    assert desk.lines("verified"), "twice the same, and far from any other state of the filters"


def test_a_change_is_told_ahead() -> None:
    desk = Desk(TONE)
    desk.until_asked()
    ahead, prompt = desk.lines("change_ahead"), desk.lines("prompt")
    assert prompt == ["take off the six, fit the three"] and ahead[-1].endswith(prompt[0])


@pytest.mark.parametrize(("in_s", "when"), [(30.0, "in less than a minute"), (60.0, "in about 1 min")])
def test_how_far_ahead_is_told_in_words(in_s: float, when: str) -> None:
    desk = Desk(TONE)
    desk.evening.state.announced = Announced(("three",), desk.now + timedelta(seconds=in_s))
    desk.wait(0.0)
    assert desk.lines("change_ahead") == [f"{when}: take off the six, fit the three"]


def away(fallback: Fallback) -> Desk:
    desk = Desk(replace(TONE, prompting=replace(TONE.prompting, fallback=fallback)))
    desk.until_asked()
    return desk


def test_nobody_answers_and_it_holds() -> None:
    desk = away(Fallback.HOLD)
    assert takes(desk.wait(3600.0)) == [] and desk.lines("unanswered")
    assert desk.over() is None


def test_nobody_answers_and_it_ends() -> None:
    desk = away(Fallback.STOP)
    desk.wait(119.0)
    assert desk.over() is None
    desk.wait(2.0)
    assert desk.over() == "nobody_answered"


@pytest.mark.parametrize(
    ("fallback", "settings"), [(Fallback.APERTURE, ("f/5.6", "100")), (Fallback.ISO, ("f/8", "400"))]
)
def test_nobody_answers_and_it_goes_on_as_agreed_with_the_filters_that_are_on(
    fallback: Fallback, settings: tuple[str, str]
) -> None:
    desk = away(fallback)
    desk.wait(125.0)
    assert desk.open is not None and desk.open.role is Role.SCOUT and desk.open.filters == ("six",)
    desk.close()
    take = desk.until_open(Role.LONG)
    assert (take.aperture, take.iso) == settings and take.filters == ("six",)


def test_a_late_answer_during_the_fallback_counts() -> None:
    desk = away(Fallback.APERTURE)
    desk.wait(125.0)
    desk.close()
    desk.until_open(Role.LONG)
    desk.say(Word.DONE)
    desk.close()
    assert desk.until_open(Role.SCOUT).filters == ("three",)


def test_two_hours_without_anybody_end_it() -> None:
    desk = asked()
    desk.wait(7190.0)
    assert desk.over() is None
    desk.wait(20.0)
    assert desk.over() == "nobody_answered"


# Verdicts on pictures


def test_a_frame_to_be_taken_again_is_not_counted() -> None:
    desk = Desk()
    desk.close(act=Act.RETAKE, text="the camera moved")
    assert desk.evening.state.frames_done == 0 and desk.lines("picture_fault") == ["the camera moved"]
    desk.until_open(Role.LONG)


def test_three_picture_faults_running_stop_and_a_good_frame_between_starts_the_count_anew() -> None:
    desk = Desk()
    for act in (Act.RETAKE, Act.RETAKE, Act.KEEP, Act.RETAKE, Act.RETAKE):
        desk.until_open(Role.LONG)
        desk.close(act=act, text="moved")
    assert desk.over() is None
    desk.until_open(Role.LONG)
    desk.close(act=Act.RETAKE, text="moved")
    assert desk.over() == "picture_faults"


def test_pixels_that_tell_nothing_are_a_picture_fault_and_a_scout_looks() -> None:
    desk = Desk()
    desk.close(measured=False)
    desk.feed(NotMeasured("frame-0", "no raw file came home"))
    assert desk.lines("picture_fault") == ["no raw file came home"]
    assert desk.evening.state.faults_running == 1


def test_a_measurement_that_never_comes_is_given_up_after_a_minute() -> None:
    desk = Desk()
    desk.close(measured=False)
    desk.wait(59.0)
    assert desk.lines("picture_fault") == []
    desk.wait(2.0)
    assert "no answer" in desk.lines("picture_fault")[0]


@pytest.mark.parametrize(
    ("doubt", "phase"), [(Doubt.ASK, Phase.HELD), (Doubt.GO_ON, None), (Doubt.STOP, Phase.RESTING)]
)
def test_in_doubt_it_does_as_agreed(doubt: Doubt, phase: Phase | None) -> None:
    desk = Desk(replace(AGAIN, doubt=doubt))
    desk.close(act=Act.ASK, text="dew on the glass")
    if phase is None:
        assert desk.lines("in_doubt") == ["dew on the glass"]
        desk.until_open(Role.LONG)
        return
    assert desk.evening.view(desk.now).phase is phase
    assert takes(desk.wait(600.0)) == []


def test_a_verdict_that_says_stop_stops_whatever_the_outing_says() -> None:
    desk = Desk(replace(AGAIN, doubt=Doubt.GO_ON))
    desk.close(act=Act.STOP, text="the glass is wet")
    assert desk.over() == "in_doubt"


# Kinds


def test_pairs_take_the_filter_off_and_on_around_every_frame() -> None:
    pairs = replace(FITTED, want=replace(FITTED.want, kind=Kind.PAIRS), bounds=Bounds(frames=2))
    desk = Desk(pairs)
    for _ in range(60):
        if desk.over() is not None:
            break
        if desk.open is not None:
            desk.close()
        elif desk.evening.state.request is not None:
            desk.say(Word.DONE)
        else:
            desk.wait(5.0)
    assert desk.over() == "frames_done"
    assert desk.lines("prompt")[:3] == ["fit the six", "take off the six", "fit the six"]
    roles = [role for role in desk.takes() if role in (Role.BASE, Role.LONG)]
    assert roles[:3] == [Role.BASE, Role.LONG, Role.BASE] and roles.count(Role.LONG) == 2


def fading(outing: Outing) -> tuple[list[datetime], list[float], list[datetime]]:
    """Light that fades by a fifth of a stop a minute: when long frames opened, how bright each was meant to be against
    the last base frame, and when the base frames were taken.
    """
    desk, opened, wanted, based = Desk(outing), list[datetime](), list[float](), list[datetime]()
    begun, begun_ev = desk.now, desk.level_ev
    for _ in range(400):
        take, request = desk.open, desk.evening.state.request
        if desk.over() is not None:
            break
        if take is not None:
            if take.role is Role.LONG:
                opened.append(desk.now)
                wanted.append(float(str(take.reasoning["wanted_stops"])))
            if take.role is Role.BASE:
                based.append(desk.now)
            desk.level_ev = begun_ev - 0.2 * ((desk.now - begun).total_seconds() + take.open_s / 2.0) / 60.0
            desk.close()
        elif request is not None and not request.answered:
            desk.say(Word.DONE)
        else:
            desk.wait(5.0)
    return opened, wanted, based


def test_a_frame_is_meant_as_bright_as_the_first_base_frame_though_the_last_one_came_out_darker() -> None:
    pairs = replace(FITTED, want=replace(FITTED.want, kind=Kind.PAIRS), bounds=Bounds(frames=2))
    _, wanted, based = fading(pairs)
    assert wanted[0] == pytest.approx(0.0, abs=0.01)
    assert wanted[1] == pytest.approx(0.2 * (based[1] - based[0]).total_seconds() / 60.0, abs=0.02)


def test_what_is_let_through_of_the_fade_is_what_the_frame_is_meant_to_be_darker() -> None:
    eye = replace(FITTED, want=replace(FITTED.want, kind=Kind.EYE, make_up_share=0.5), bounds=Bounds(frames=3))
    opened, wanted, _ = fading(eye)
    # The fade counts from what the first long frame saw, half a minute after its opening.
    minutes = [max(0.0, (each - opened[0]).total_seconds() / 60.0 - 32.0 / 60.0) for each in opened]
    assert wanted == [pytest.approx(-0.5 * 0.2 * each, abs=0.03) for each in minutes]
    assert wanted[2] < -0.2


def test_a_watch_takes_base_frames_alone_at_its_pace() -> None:
    want = Want(Kind.WATCH, base=FITTED.want.base, every_s=120.0)
    desk = Desk(replace(FITTED, want=want, kit=replace(FITTED.kit, filters=()), bounds=Bounds(frames=3)))
    opened = []
    for _ in range(3):
        desk.until_open(Role.BASE)
        opened.append(desk.now)
        desk.close()
    assert desk.over() == "frames_done" and set(desk.takes()) == {Role.BASE}
    assert opened[1] - opened[0] == pytest.approx(timedelta(seconds=120.0), abs=timedelta(seconds=6.0))


def test_the_dial_of_a_watch_goes_with_the_light() -> None:
    """A dusk of half a stop from frame to frame, after a first frame that is burnt: f/8 and 1 s are right for 6 EV.

    Of 8.5 EV a mid-tone takes 1/6 s, in full stops 1/4 s; that one is not burnt, and its tone is kept.
    """
    want = Want(Kind.WATCH, base=FITTED.want.base, every_s=60.0)
    desk = Desk(replace(FITTED, want=want, kit=replace(FITTED.kit, filters=()), bounds=Bounds(frames=9)))
    dials, desk.level_ev = [], 8.5
    for number in range(9):
        dials.append(desk.until_open(Role.BASE).dial)
        frame_id = desk.newest()
        desk.close(measured=False)
        desk.feed(Measured(frame_id, desk.level_ev, 0.01, at_least=number == 0))
        desk.level_ev -= 0.5 * (number > 0)
    assert dials == ["1", "1/4", "1/4", "0.5", "0.5", "1", "1", "2", "2"]


def test_a_watch_of_light_that_jumps_does_not_go_on_with_burnt_frames() -> None:
    """A gap in the cloud: of 12 EV after 8 a frame of 1 s at f/8, and one of 1/4 s, show no more than 2.5 over mid."""
    want = Want(Kind.WATCH, base=FITTED.want.base, every_s=60.0)
    desk = Desk(replace(FITTED, want=want, kit=replace(FITTED.kit, filters=()), bounds=Bounds(frames=14)))
    burnt = []
    for number in range(14):
        take = desk.until_open(Role.BASE)
        desk.level_ev = 8.0 if number < 4 else 12.0
        most_ev = scene_ev(GLASS, take, take.open_s, 1.0) + 2.5
        frame_id = desk.newest()
        desk.close(measured=False)
        burnt.append(desk.level_ev > most_ev)
        desk.feed(Measured(frame_id, min(desk.level_ev, most_ev), 0.01, at_least=burnt[-1]))
    assert burnt[4] and sum(burnt) <= 5 and not any(burnt[-4:])


@pytest.mark.parametrize("step_stops", [-7.0, 7.0])
def test_a_watch_outlives_a_rate_that_no_day_could_go_on_with(step_stops: float) -> None:
    """A cap that comes off, or lamps that go out: taken for the hours that are looked ahead it is a thousand stops."""
    want = Want(Kind.WATCH, base=FITTED.want.base, every_s=60.0)
    desk = Desk(replace(FITTED, want=want, kit=replace(FITTED.kit, filters=()), bounds=Bounds()))
    for _ in range(4):
        desk.until_open(Role.BASE)
        desk.close()
        desk.level_ev += step_stops
    assert desk.evening.state.stop is None and desk.evening.state.held is None
