"""How an evening comes to its end: nobody is left without the alarm that was promised, and nothing waits for ever."""

from dataclasses import replace
from datetime import timedelta

import pytest
from evening_desk import AGAIN, BEGUN, FITTED, LEVEL_EV, TONE, Desk, leaving_in, takes

from duskhold.plan import evening_words as words
from duskhold.plan.evening import Evening
from duskhold.plan.evening_rest import LEFT_UNSETTLED_S
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import Effect, Fault, FaultSeen, FrameTold, Said, Tell, Word
from duskhold.plan.outing import AfterLinkLoss, Bounds, ClockStart, Dark, Doubt, LeaveBy
from duskhold.plan.role import Role

HALF_AN_HOUR_S = 1800.0
DARKS = replace(AGAIN, bounds=Bounds(frames=1), dark=Dark.AFTER, darks_after=2)


def one_frame_and_an_hour() -> Desk:
    desk = Desk(replace(AGAIN, bounds=Bounds(frames=1, leave_by=LeaveBy(in_min=60.0, pack_min=10.0))))
    desk.close()
    return desk


def test_after_the_last_frame_it_waits_for_the_time_to_pack_and_rings_until_it_is_heard() -> None:
    desk = one_frame_and_an_hour()
    assert desk.over() == "frames_done" and desk.ended() is None
    view = desk.evening.view(desk.now)
    assert view.phase is Phase.RESTING and "leaving" in view.line and view.frames_left == 0
    desk.wait(50.0 * 60.0)
    assert "time to pack" in desk.rung()[-1] and desk.ended() is None
    desk.wait(HALF_AN_HOUR_S - 120.0)
    assert desk.ended() is None, "it still rings"
    desk.say(Word.HEARD)
    assert desk.ended() == "frames_done"


def test_a_rest_takes_nothing_whatever_is_said() -> None:
    desk = one_frame_and_an_hour()
    for word in (Word.RESUME, Word.DONE, Word.HOLD, Word.CLOSE):
        desk.say(word)
        assert takes(desk.wait(60.0)) == [] and desk.ended() is None
    desk.say(Word.LEAVING)
    assert desk.ended() == "frames_done", "the first reason is the one that counts"


@pytest.mark.parametrize("rings", ["fault", "pack"])
def test_an_alarm_of_the_end_that_nobody_hears_is_given_up(rings: str) -> None:
    desk = Desk(leaving_in(30.0))
    if rings == "fault":
        desk = Desk()
        for _ in range(5):
            desk.say(Word.RESUME)
            desk.until_open(Role.LONG)
            desk.close(0.0, "refused")
    else:
        desk.close()
        desk.say(Word.HOLD)
        if desk.open is not None:
            desk.close()
        desk.wait(28.0 * 60.0 - (desk.now - BEGUN).total_seconds() + 1.0)
    assert desk.over() is not None and desk.ended() is None
    desk.wait(HALF_AN_HOUR_S + 1.0)
    assert desk.ended() is not None and desk.evening.deadline_utc() is None


def test_a_prompt_that_is_over_keeps_nobody() -> None:
    desk = Desk(replace(FITTED, bounds=Bounds(frames=1)))
    desk.until_open(Role.BASE)
    desk.close()
    desk.say(Word.LEAVING)
    assert desk.ended() == "left_by_person" and desk.evening.state.alarm is None


def test_whoever_leaves_does_not_wait_for_a_shutter_that_does_not_answer() -> None:
    desk = Desk()
    desk.close(40.0, "link_lost", settled=False)
    desk.say(Word.RESUME)
    assert desk.evening.view(desk.now).phase is Phase.UNSETTLED
    desk.say(Word.LEAVING)
    assert desk.ended() is None, "a shutter process that died is followed within seconds"
    desk.wait(21.0)
    assert desk.ended() == "left_by_person"
    (ended,) = [one for one in desk.said if isinstance(one, words.Ended)]
    assert "not proven closed" in ended.line


def test_whoever_leaves_waits_for_a_frame_that_is_open_and_says_for_how_long() -> None:
    desk = Desk()
    assert desk.say(Word.CLOSE)[0] == words.CloseNow(None), "somebody is there to wait for it"
    assert desk.say(Word.LEAVING)[0] == words.CloseNow(LEFT_UNSETTLED_S)
    assert desk.ended() is None
    desk.close(40.0, "unknown", settled=False)
    desk.wait(LEFT_UNSETTLED_S + 1.0)
    assert desk.ended() == "left_by_person"


@pytest.mark.parametrize("asked", [words.RunCheck, words.ReadMeans])
def test_whoever_leaves_does_not_wait_for_a_camera_that_was_only_asked_something(asked: type[Effect]) -> None:
    evening = Evening(AGAIN, BEGUN)
    found = evening.step(words.Begun(True), BEGUN)
    if asked is words.ReadMeans:
        found = evening.step(words.Checked(()), BEGUN)
    assert [type(one) for one in found if not isinstance(one, Tell)] == [asked]
    left = evening.step(Said(Word.LEAVING), BEGUN)
    assert isinstance(left[-1], words.Ended) and evening.deadline_utc() is None
    # Its answer comes to nothing.
    for late in (words.Checked(("battery",)), words.MeansTold(50.0, 10**9)):
        assert evening.step(late, BEGUN) == []


def test_time_to_pack_does_not_wait_for_it_either() -> None:
    desk = Desk(leaving_in(30.0))
    desk.close(40.0, "link_lost", settled=False)
    desk.wait(1800.0)
    assert desk.over() == "leave_by"
    desk.say(Word.HEARD)
    assert desk.ended() == "leave_by"


def test_a_hold_says_when_its_shutter_is_closed_after_all() -> None:
    desk = Desk()
    frame_id = desk.newest()
    desk.close(40.0, "link_lost", settled=False, text="the lead is gone")
    desk.feed(FrameTold(frame_id, Role.LONG, "link_lost", 61.0, BEGUN, BEGUN + timedelta(seconds=61.0), True, ""))
    assert "is closed now; say resume" in desk.evening.view(desk.now).line
    desk.say(Word.RESUME)
    desk.until_open(Role.LONG)


# Darks


def darks() -> Desk:
    desk = Desk(DARKS)
    desk.close()
    desk.level_ev = -30.0
    desk.say(Word.DONE)
    assert desk.open is not None and desk.open.role is Role.DARK
    return desk


def test_hold_among_the_darks_holds_until_resume() -> None:
    desk = darks()
    desk.say(Word.HOLD)
    desk.close()
    assert takes(desk.wait(1200.0)) == [] and desk.evening.view(desk.now).phase is Phase.HELD
    desk.say(Word.RESUME)
    assert desk.open is not None and desk.open.role is Role.DARK
    desk.close()
    assert desk.ended() == "frames_done" and desk.takes().count(Role.DARK) == 2


def test_a_cap_that_is_said_to_be_on_and_is_not_costs_three_dark_frames_and_no_more() -> None:
    desk = darks()
    for _ in range(2):
        desk.level_ev = LEVEL_EV
        desk.close()
        assert "is not dark" in desk.rung()[-1] and desk.open is None
        desk.say(Word.DONE)
        assert desk.open is not None and desk.open.role is Role.DARK
    desk.close()
    assert "not dark: no more" in desk.lines("picture_fault")[-1]
    assert desk.ended() == "frames_done" and desk.takes().count(Role.DARK) == 3


def test_one_dark_frame_that_is_dark_starts_the_count_anew() -> None:
    desk = Desk(replace(DARKS, darks_after=4))
    desk.close()
    for level_ev in (LEVEL_EV, LEVEL_EV, -30.0, LEVEL_EV, LEVEL_EV, -30.0, -30.0, -30.0):
        desk.say(Word.DONE)
        desk.level_ev = level_ev
        desk.close()
    assert desk.ended() == "frames_done" and desk.lines("picture_fault") == []


def test_hold_among_the_darks_does_not_hold_for_ever() -> None:
    desk = darks()
    desk.say(Word.HOLD)
    desk.close()
    desk.wait(7300.0)
    assert desk.ended() == "frames_done"


def test_a_dark_that_was_cut_short_is_none() -> None:
    desk = darks()
    desk.say(Word.CLOSE)
    desk.close(10.0, "cut_short")
    assert desk.evening.state.darks_left == 2
    assert takes(desk.wait(600.0)) == [], "whoever closes one does not want the next at once"
    desk.say(Word.RESUME)
    assert desk.open is not None and desk.open.role is Role.DARK


def test_leaving_the_darks_does_not_change_why_the_series_ended() -> None:
    desk = darks()
    desk.say(Word.LEAVING)
    desk.close(3.0, "cut_short")
    assert desk.ended() == "frames_done"


def test_a_fault_in_the_darks_rings_until_it_is_heard() -> None:
    desk = darks()
    desk.close(10.0, "link_lost", settled=True, text="the lead is gone")
    assert desk.over() == "frames_done" and desk.ended() is None
    assert desk.evening.view(desk.now).alarm is not None
    desk.say(Word.HEARD)
    assert desk.ended() == "frames_done"


# Nobody there


def test_nobody_is_missed_before_the_start() -> None:
    desk = Desk(replace(AGAIN, start=ClockStart(BEGUN + timedelta(hours=4))))
    desk.say(Word.HOLD)
    desk.wait(4.0 * 3600.0)
    assert desk.over() is None
    desk.wait(2.1 * 3600.0)
    assert desk.over() == "nobody_answered" and "nobody came" in desk.rung()[-1]


def test_a_start_in_the_middle_of_a_hold_before_the_first_frame_rings_again() -> None:
    desk = Desk(replace(AGAIN, start=ClockStart(BEGUN + timedelta(minutes=20))))
    desk.bad = ("focus",)
    desk.wait(1201.0)
    assert desk.evening.state.held is not None
    rung = len(desk.rung())
    desk.feed(words.Restarted(settled=True))
    assert len(desk.rung()) == rung + 1 and "focus" in desk.rung()[-1]


def test_a_start_in_the_middle_of_the_rest_rings_for_nothing_new() -> None:
    desk = one_frame_and_an_hour()
    desk.feed(words.Restarted(settled=True))
    assert desk.rung() == [] and desk.evening.view(desk.now).phase is Phase.RESTING
    desk.wait(3600.0)
    assert "time to pack" in desk.rung()[-1]


def test_every_hold_says_what_to_do() -> None:
    for fault in Fault:
        desk = Desk()
        desk.feed(FaultSeen(fault, "is wrong"))
        assert desk.rung()[-1].endswith("say resume to go on")


# Alarms beside each other


def test_what_is_to_be_done_does_not_silence_what_failed_or_the_time_to_pack() -> None:
    desk = Desk(leaving_in(4.0))
    desk.wait(121.0)
    desk.close(120.0, "cut_short", act=words.Act.ASK, text="dew on the glass")
    assert desk.evening.view(desk.now).alarm == desk.rung()[-1] and "time to pack" in desk.rung()[-1]
    assert desk.ended() is None, "nobody has heard it"


def test_a_verdict_that_stops_rings_on_beside_the_cap() -> None:
    desk = Desk(replace(AGAIN, dark=Dark.AFTER, doubt=Doubt.STOP))
    desk.close(act=words.Act.ASK, text="ice on the glass")
    assert desk.evening.view(desk.now).alarm == "ice on the glass"
    desk.wait(300.0)
    assert desk.over() == "in_doubt" and desk.ended() is None


def test_a_start_again_rings_for_what_nobody_heard() -> None:
    desk = one_frame_and_an_hour()
    desk.wait(3001.0)
    rung = len(desk.rung())
    desk.feed(words.Restarted(settled=True))
    assert len(desk.rung()) == rung + 1 and "time to pack" in desk.rung()[-1]
    desk.say(Word.HEARD)
    assert desk.ended() == "frames_done"


def test_what_goes_wrong_when_all_is_over_holds_nobody() -> None:
    desk = one_frame_and_an_hour()
    for event in (FaultSeen(Fault.LINK, "gone"), words.SleepAhead(), words.Woke(60.0)):
        desk.feed(event)
        assert desk.rung() == [] and desk.evening.view(desk.now).phase is Phase.RESTING
    desk.step_clock(-7200.0)
    assert desk.rung() == [] and desk.evening.view(desk.now).phase is Phase.RESTING
    desk.feed(FaultSeen(Fault.SHUTTER, "it would not close"))
    assert desk.rung() == ["shutter: it would not close"]


def test_a_start_again_among_the_darks_waits_for_resume() -> None:
    desk = darks()
    desk.open = None
    desk.feed(words.Restarted(settled=True))
    assert takes(desk.wait(600.0)) == [] and "resume" in desk.rung()[-1]
    desk.say(Word.RESUME)
    assert desk.open is not None and desk.open.role is Role.DARK


def test_a_camera_fault_among_the_darks_is_not_hidden_by_a_hold() -> None:
    desk = darks()
    desk.say(Word.HOLD)
    desk.close(0.0, "failed", text="says no")
    desk.say(Word.RESUME)
    assert takes(desk.wait(1200.0)) == [] and desk.over() == "frames_done"


# Nothing waits for ever


def test_a_shutter_that_is_never_proven_closed_does_not_keep_it_for_ever() -> None:
    desk = Desk()
    desk.close(40.0, "link_lost", settled=False)
    desk.wait(7300.0)
    assert desk.over() == "fault"
    desk.wait(HALF_AN_HOUR_S)
    assert desk.ended() == "fault"


def test_resumed_over_it_does_not_keep_it_for_ever_either() -> None:
    desk = Desk()
    desk.close(40.0, "link_lost", settled=False)
    desk.say(Word.RESUME)
    desk.wait(7300.0)
    assert desk.over() == "fault" and "not proven closed" in desk.rung()[-1]


def test_a_clock_that_nobody_confirms_does_not_keep_it_for_ever() -> None:
    desk = Desk(replace(AGAIN, start=ClockStart(BEGUN + timedelta(minutes=30))), confirmed=False)
    desk.wait(3.1 * 3600.0)
    assert desk.ended() == "nobody_answered"


def test_a_clock_set_back_by_a_month_does_not_make_it_wait_a_month() -> None:
    desk = Desk()
    desk.close()
    desk.step_clock(-30 * 86400.0)
    desk.wait(7300.0)
    assert desk.over() == "fault"


def test_hold_after_a_link_was_lost_is_a_persons_hold() -> None:
    desk = Desk(replace(AGAIN, after_link_loss=AfterLinkLoss.RESUME))
    desk.feed(FaultSeen(Fault.LINK, "gone"))
    desk.close(10.0, "link_lost")
    desk.say(Word.HOLD)
    desk.feed(words.FaultGone(Fault.LINK))
    assert takes(desk.wait(60.0)) == [] and desk.evening.view(desk.now).phase is Phase.HELD


def test_a_hold_says_resume_though_a_change_is_asked_for() -> None:
    desk = Desk(replace(FITTED, bounds=Bounds(frames=1)))
    desk.until_open(Role.BASE)
    desk.close()
    desk.say(Word.HOLD)
    assert "resume" in desk.evening.view(desk.now).line


def test_light_that_goes_out_at_once_ends_no_program() -> None:
    desk = Desk(TONE)
    desk.feed(words.Woke(5.0))
    desk.close(5.0, "cut_short")
    desk.say(Word.RESUME)
    desk.until_open(Role.SCOUT)
    desk.close(4.0, off_stops=-6.0)  # a hand before the lens
    assert desk.evening.view(desk.now).phase is not Phase.ENDED
