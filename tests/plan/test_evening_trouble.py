"""What may go wrong in an evening, and how it begins and ends: each rule of the machine by itself."""

from dataclasses import replace
from datetime import timedelta

import pytest
from evening_desk import AGAIN, BEGUN, FITTED, TONE, Desk, closes, leaving_in, takes

from duskhold.light.place import Place
from duskhold.plan import evening_words as words
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import ClockConfirmed, Fault, FaultGone, FaultSeen, Word
from duskhold.plan.outing import AfterLinkLoss, Bounds, ClockStart, Costs, Dark, Outing
from duskhold.plan.role import Role

DARKS = replace(AGAIN, dark=Dark.AFTER, bounds=Bounds(frames=1))

# Faults


@pytest.mark.parametrize("fault", list(Fault))
def test_every_fault_closes_and_stops_until_a_person_resumes(fault: Fault) -> None:
    desk = Desk()
    desk.wait(20.0)
    assert closes(desk.feed(FaultSeen(fault, "is wrong")))
    desk.close(20.5, "cut_short")
    desk.feed(FaultGone(fault))
    assert takes(desk.wait(3600.0)) == [], "being well again is no reason to go on"
    assert (
        desk.evening.view(desk.now).phase is Phase.HELD
        and f"{fault.value}: is wrong; say resume to go on" in desk.rung()
    )
    desk.say(Word.RESUME)
    desk.until_open(Role.LONG)


@pytest.mark.parametrize(
    ("outcome", "fault"), [("link_lost", "link"), ("refused", "camera"), ("failed", "camera"), ("unknown", "shutter")]
)
def test_a_frame_that_failed_is_a_fault_and_is_not_counted(outcome: str, fault: str) -> None:
    desk = Desk()
    desk.close(0.0 if outcome == "refused" else None, outcome, text="the reason")
    assert desk.rung() == [f"{fault}: the reason; say resume to go on"] and desk.evening.state.frames_done == 0
    assert takes(desk.wait(1000.0)) == []


def test_after_a_link_loss_it_resumes_by_itself_only_where_that_was_agreed() -> None:
    desk = Desk(replace(AGAIN, after_link_loss=AfterLinkLoss.RESUME))
    desk.close()
    desk.until_open(Role.LONG)
    desk.close(40.0, "link_lost", settled=False)
    desk.feed(FaultGone(Fault.LINK))
    assert desk.open is None and desk.evening.state.held is not None, "the shutter may still be open"
    told = desk.events[-2][1]
    assert isinstance(told, words.FrameTold)
    desk.feed(replace(told, settled=True))
    checks = sum(isinstance(one, words.RunCheck) for one in desk.said)
    desk.feed(FaultGone(Fault.LINK))
    assert sum(isinstance(one, words.RunCheck) for one in desk.said) == checks + 1, "a passed check first"
    desk.until_open(Role.LONG)


def five_faults() -> Desk:
    desk = Desk()
    for count in range(5):
        desk.until_open(Role.LONG)
        assert desk.over() is None, f"after {count}"
        desk.close(0.0, "refused")
        desk.say(Word.RESUME)
    return desk


def test_five_faults_without_a_frame_between_them_end_it() -> None:
    assert five_faults().over() == "fault"


def test_nothing_is_asked_while_the_shutter_may_still_be_open() -> None:
    desk = Desk()
    desk.close(40.0, "link_lost", settled=False)
    desk.say(Word.RESUME)
    assert takes(desk.wait(600.0)) == []


def test_a_bad_check_holds_and_what_a_person_left_as_it_was_is_taken_as_meant() -> None:
    desk = Desk()
    desk.close()
    desk.bad = ("focus",)
    desk.feed(FaultSeen(Fault.CAMERA, "says no"))
    desk.say(Word.RESUME)
    assert "not ready: focus" in desk.rung()[-1]
    assert takes(desk.wait(600.0)) == []
    desk.say(Word.RESUME)
    desk.until_open(Role.LONG)


def test_stale_light_opens_a_scout_and_no_long_frame() -> None:
    desk = Desk(replace(AGAIN, want=replace(AGAIN.want, between_s=1200.0)))
    desk.close()
    found = desk.wait(1201.0)
    assert [one.role for one in takes(found)] == [Role.SCOUT] and desk.lines("stale")
    desk.close()
    assert desk.open is not None and desk.open.role is Role.LONG


# Clock, sleep, start


def by_clock(minutes: float = 30.0, **bounds: object) -> Outing:
    start = ClockStart(BEGUN + timedelta(minutes=minutes))
    return replace(AGAIN, start=start, bounds=replace(AGAIN.bounds, **bounds))  # type: ignore[arg-type]


def test_it_waits_for_its_start() -> None:
    desk = Desk(by_clock())
    assert takes(desk.wait(1799.0)) == [] and desk.evening.view(desk.now).phase is Phase.WAITING
    assert len(takes(desk.wait(2.0))) == 1


def test_what_hangs_on_the_clock_does_not_begin_by_a_clock_that_nobody_trusts() -> None:
    desk = Desk(by_clock(), confirmed=False)
    assert takes(desk.wait(7200.0)) == [] and "is the time right?" in desk.rung()[0]


@pytest.mark.parametrize("answer", [ClockConfirmed("the system"), words.Said(Word.DONE)])
def test_a_confirmed_clock_lets_it_begin(answer: words.Event) -> None:
    desk = Desk(by_clock(), confirmed=False)
    desk.feed(answer)
    desk.wait(1801.0)
    assert desk.open is not None


def test_the_question_for_the_time_does_not_ring_on_when_something_else_answers_it() -> None:
    desk = Desk(by_clock(), confirmed=False)
    found = desk.feed(ClockConfirmed("the system"))
    assert isinstance(found[0], words.Quiet) and desk.evening.view(desk.now).alarm is None


@pytest.mark.parametrize(("minutes", "again"), [(14.0, False), (16.0, True)])
def test_a_check_passed_long_before_the_start_is_made_again_at_it(minutes: float, again: bool) -> None:
    desk = Desk(by_clock(minutes))
    desk.bad = ("focus",)  # somebody's sleeve, hours after the check
    desk.wait(minutes * 60.0 + 1.0)
    assert (desk.open is None) is again
    assert bool(desk.lines("held")) is again


def test_what_does_not_hang_on_the_clock_begins_without() -> None:
    assert Desk(leaving_in(60.0), confirmed=False).open is not None


def test_a_start_missed_by_more_than_a_quarter_of_an_hour_is_a_persons_decision() -> None:
    assert Desk(by_clock(-14.0)).open is not None
    desk = Desk(by_clock(-16.0))
    assert desk.open is None and "16 min ago" in desk.rung()[0]
    desk.say(Word.RESUME)
    assert desk.open is not None


@pytest.mark.parametrize(("step_s", "holds"), [(5.0, False), (-59.0, False), (61.0, True), (-3600.0, True)])
def test_a_step_of_the_clock_is_told_and_a_large_one_holds(step_s: float, holds: bool) -> None:
    desk = Desk(leaving_in(90.0))
    desk.wait(20.0)
    pack_s = (desk.evening.state.ends.pack_utc or desk.now) - desk.now
    desk.step_clock(step_s)
    assert (desk.evening.state.held is not None) is holds
    assert (desk.evening.state.ends.pack_utc or desk.now) - desk.now == pack_s, "minutes until leaving stay minutes"


def test_sleep_closes_first_and_after_waking_nothing_goes_on_by_itself() -> None:
    desk = Desk()
    desk.wait(20.0)
    assert closes(desk.feed(words.SleepAhead()))
    desk.close(20.5, "cut_short")
    desk.wait(1200.0)
    desk.feed(words.Woke(1200.0))
    assert takes(desk.wait(600.0)) == [] and "slept for 1200 s" in desk.rung()[-1]


def test_light_that_cannot_be_that_of_this_place_and_time_holds() -> None:
    desk = Desk(replace(FITTED, place=Place(50.0, -4.0)))  # just before sunset: about 10 EV
    desk.level_ev = -6.0
    desk.until_open(Role.BASE)
    desk.close()
    assert "from a clear sky at this place and time" in desk.rung()[-1]


# Restart


def restarted(desk: Desk, settled: bool = True) -> Desk:
    desk.open = None
    desk.feed(words.Restarted(settled))
    return desk


def test_a_restart_before_the_first_frame_keeps_the_plan() -> None:
    desk = restarted(Desk(by_clock()))
    desk.wait(1801.0)
    assert desk.open is not None


@pytest.mark.parametrize("after", ["open", "measured", "failed"])
def test_a_restart_after_the_first_opening_fires_nothing_by_itself(after: str) -> None:
    desk = Desk()
    if after == "measured":
        desk.close()
    if after == "failed":
        desk.close(0.0, "failed")
        desk.say(Word.RESUME)
    restarted(desk)
    assert takes(desk.wait(3600.0)) == [] and "started again" in desk.rung()[-1]
    desk.say(Word.RESUME)
    desk.until_open(Role.LONG)


def test_a_restart_rings_again_for_what_held_it() -> None:
    desk = Desk(replace(AGAIN, after_link_loss=AfterLinkLoss.RESUME))
    desk.close(40.0, "link_lost", text="the lead is gone")
    restarted(desk)
    assert desk.rung() == ["link: the lead is gone; say resume to go on"] * 2
    desk.feed(FaultGone(Fault.LINK))
    assert takes(desk.wait(600.0)) == []


def test_a_restart_with_an_unsettled_shutter_waits_for_it_even_after_resume() -> None:
    desk = restarted(Desk(), settled=False)
    desk.say(Word.RESUME)
    assert takes(desk.wait(600.0)) == []


# Ends


def test_it_ends_when_its_frames_are_taken() -> None:
    desk = Desk(replace(AGAIN, bounds=Bounds(frames=2)))
    for _ in range(2):
        desk.until_open(Role.LONG)
        desk.close()
    desk.wait(60.0)
    assert desk.over() == "frames_done" and desk.takes() == [Role.LONG] * 2


def test_no_frame_starts_that_would_not_be_over_at_its_cap_when_it_is_time_to_pack() -> None:
    # 60 s open, 6 s storing and 5 s of cap: 71 s before packing it may start, 70 s before it may not
    assert Desk(leaving_in(2.0 + 71.5 / 60.0)).open is not None
    desk = Desk(leaving_in(2.0 + 70.5 / 60.0))
    assert desk.open is None and desk.over() == "leave_by"
    # and with the dark frame in the camera 60 s more
    assert Desk(replace(leaving_in(2.0 + 130.0 / 60.0), dark=Dark.IN_CAMERA)).open is None


def test_time_to_pack_closes_a_frame_that_is_open_and_rings() -> None:
    desk = Desk(leaving_in(4.0))
    desk.wait(30.0)
    # The program was slow, the body deaf: whatever the reason, it is open when it is time to pack.
    found = desk.wait(91.0)
    assert closes(found) and "time to pack" in desk.rung()[-1]
    desk.close(120.0, "cut_short")
    assert desk.over() == "leave_by"


def test_time_to_pack_before_it_opened_rings_for_packing_and_for_nothing_else() -> None:
    desk = Desk(leaving_in(4.0))
    desk.wait(121.0)
    desk.close(0.0, "refused", text="interrupted before the opening")
    assert desk.over() == "leave_by" and len(desk.rung()) == 1


def test_time_to_pack_rings_while_it_is_held_and_after_another_end() -> None:
    desk = Desk(leaving_in(30.0))
    desk.close()
    desk.say(Word.HOLD)
    if desk.open is not None:
        desk.close()
    desk.wait(1800.0)
    assert "time to pack" in desk.rung()[-1] and desk.over() == "leave_by"


def test_the_first_reason_is_the_one_that_is_told() -> None:
    desk = five_faults()
    desk.feed(FaultSeen(Fault.STORAGE, "later"))
    assert desk.over() == "fault" and sum(isinstance(one, words.Ended) for one in desk.said) == 1
    desk = Desk(DARKS)
    desk.close()
    desk.wait(10.0)
    desk.say(Word.DONE)
    desk.close(0.0, "failed")
    assert desk.over() == "frames_done", "a dark frame that failed does not change why the series ended"
    desk = Desk(replace(DARKS, bounds=replace(leaving_in(4.0).bounds, frames=1)))
    desk.close()
    desk.wait(70.0)
    assert "time to pack" in desk.rung()[-1] and desk.over() == "frames_done"


@pytest.mark.parametrize(
    ("battery_percent", "disk_bytes", "reason"),
    [(15.5, 10**12, "battery_reserve"), (90.0, 559_999_999, "disk_reserve")],
)
def test_battery_and_disk_stay_above_their_reserves(battery_percent: float, disk_bytes: int, reason: str) -> None:
    desk = Desk(by_clock())
    desk.battery_percent, desk.disk_bytes = battery_percent, disk_bytes  # 60 s cost 0.6 per cent and 60 MB
    desk.wait(1801.0)
    assert desk.over() == reason and desk.takes() == []


def test_the_battery_falls_as_its_gauge_says_from_step_to_step() -> None:
    desk = Desk(replace(AGAIN, costs=Costs(battery_percent_per_min=0.6)))
    for percent in (89.0, 89.0, 88.0):  # a gauge of whole per cents: one in two minutes
        desk.battery_percent = percent
        desk.until_open(Role.LONG)
        desk.close(60.0)
    assert desk.evening.state.means.percent_per_min == pytest.approx(0.5)


def test_darks_come_after_the_long_frames_with_the_cap_on_as_long_as_the_longest() -> None:
    desk = Desk(DARKS)
    desk.close()
    desk.wait(10.0)
    assert desk.open is None and "put the cap on" in desk.rung()[-1]
    desk.say(Word.DONE)
    desk.level_ev = -9.0
    for _ in range(2):
        assert desk.open is not None and (desk.open.role, desk.open.open_s) == (Role.DARK, 60.0)
        desk.close()
    assert desk.over() == "frames_done" and desk.takes() == [Role.LONG, Role.DARK, Role.DARK]


def test_without_the_cap_in_time_it_ends_without_darks() -> None:
    desk = Desk(DARKS)
    desk.close()
    desk.wait(200.0)
    assert desk.over() == "frames_done" and desk.takes() == [Role.LONG]


def test_a_dark_frame_that_is_not_dark_is_not_counted_and_asked_for_again() -> None:
    desk = Desk(DARKS)
    desk.close()
    desk.wait(10.0)
    desk.say(Word.DONE)
    desk.close()  # as bright as the scene
    assert "not dark" in desk.rung()[-1] and desk.open is None and desk.evening.state.darks_left == 2


def test_no_dark_is_taken_below_the_battery_reserve() -> None:
    desk = Desk(DARKS)
    desk.close()
    desk.wait(10.0)
    desk.level_ev, desk.battery_percent = -9.0, 15.7
    desk.say(Word.DONE)
    desk.battery_percent = 15.1
    desk.close()
    assert desk.takes() == [Role.LONG, Role.DARK] and desk.over() == "frames_done"


@pytest.mark.parametrize("end", ["leaving", "fault", "pack"])
def test_no_dark_is_taken_after_leaving_a_fault_or_the_time_to_pack(end: str) -> None:
    desk = Desk(replace(leaving_in(30.0), dark=Dark.AFTER))
    desk.close()
    match end:
        case "leaving":
            desk.say(Word.LEAVING)
        case "fault":
            desk.feed(FaultSeen(Fault.CAMERA, "says no"))
            desk.wait(7300.0)
        case _:
            desk.say(Word.HOLD)
            desk.wait(2000.0)
    if desk.open is not None:
        desk.close()
    desk.wait(60.0)
    assert desk.over() is not None and Role.DARK not in desk.takes() and "put the cap on" not in "".join(desk.rung())


def test_the_pause_counts_from_the_end_of_the_dark_frame_in_the_camera() -> None:
    for dark, pause_s in ((Dark.NONE, 6.0), (Dark.IN_CAMERA, 66.0)):
        desk = Desk(replace(AGAIN, dark=dark))
        desk.close()
        closed = desk.now
        desk.until_open(Role.LONG)
        assert (desk.now - closed).total_seconds() == pytest.approx(pause_s, abs=5.0)
        assert desk.evening.state.opened_utc == closed + timedelta(seconds=pause_s)


def test_what_is_left_is_told_and_falls() -> None:
    desk = Desk(replace(AGAIN, bounds=Bounds(frames=3)))
    seen: list[int] = []
    while desk.over() is None:
        seen.append(desk.evening.view(desk.now).frames_left or 0)
        desk.close() if desk.open else desk.wait(10.0)
    assert set(seen) >= {3, 2, 1} and seen == sorted(seen, reverse=True)
    assert desk.evening.view(desk.now).frames_left == 0
    assert desk.lines("left")[0].startswith("3 long frames left")


def test_the_sun_ends_what_waits_for_a_person() -> None:
    place = Place(50.20, -4.10)
    desk = Desk(replace(TONE, place=place, bounds=replace(TONE.bounds, sun_altitude_deg=-2.0)))
    sun_utc = desk.evening.state.ends.sun_utc
    assert sun_utc is not None
    desk.close()
    desk.say(Word.HOLD)
    if desk.open is not None:
        desk.close()
    desk.wait((sun_utc - desk.now).total_seconds() + 1.0)
    assert desk.over() == "sun_altitude"
