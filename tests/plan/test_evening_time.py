"""What the program's clock does to an evening: set, doubted, or against the sky."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from evening_desk import AGAIN, BARE, BEGUN, Desk

from duskhold.light.crossings import Direction
from duskhold.light.place import Place
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import ClockConfirmed, Word
from duskhold.plan.outing import Base, Bounds, ClockStart, Kind, LeaveBy, Outing, SunStart, Want
from duskhold.plan.role import Role

PLACE = Place(50.20, -4.10)


def by_sun(from_utc: datetime) -> Outing:
    return replace(AGAIN, start=SunStart(-2.0, Direction.DOWN, from_utc), place=PLACE)


def test_a_clock_an_hour_fast_does_not_cost_the_evening() -> None:
    """The sun is at -2 degrees at about 17:35 here; the clock said 17:50 when it was 16:50."""
    said = datetime(2026, 10, 14, 17, 50, tzinfo=UTC)
    desk = Desk(by_sun(said), begun_utc=said)
    assert desk.evening.state.start_utc > said + timedelta(hours=20), "tomorrow, by that clock"
    desk.step_clock(-3600.0)
    desk.say(Word.DONE)
    assert desk.evening.state.start_utc == pytest.approx(
        datetime(2026, 10, 14, 17, 35, tzinfo=UTC), abs=timedelta(minutes=2)
    )
    assert desk.evening.view(desk.now).phase is Phase.WAITING
    desk.until_open(Role.LONG, 700)


def test_a_clock_three_days_behind_begins_tonight_when_it_is_set() -> None:
    desk = Desk(by_sun(BEGUN - timedelta(days=3)), begun_utc=BEGUN - timedelta(days=3))
    desk.step_clock(3 * 86400.0)
    desk.say(Word.DONE)
    assert timedelta() < desk.evening.state.start_utc - desk.now < timedelta(minutes=20)
    assert not desk.lines("begin"), "not in the past, and not in daylight"


def test_a_named_day_stays_whatever_the_clock_says() -> None:
    named = by_sun(datetime(2026, 10, 14, 12, tzinfo=UTC))
    desk = Desk(named, begun_utc=BEGUN)
    before = desk.evening.state.start_utc
    desk.step_clock(-7200.0)
    assert desk.evening.state.start_utc == before


def test_done_answers_the_question_whether_the_clock_is_right() -> None:
    desk = Desk()
    desk.close()
    desk.step_clock(-3600.0)
    assert desk.evening.state.held is not None
    desk.say(Word.DONE)
    assert desk.evening.state.held is None and desk.evening.state.time_confirmed
    assert desk.lines("clock")[-1] == "the time is right, says a person"


def leaving_at(minutes: float) -> Outing:
    at_utc = BEGUN + timedelta(minutes=minutes)
    return replace(AGAIN, bounds=Bounds(leave_by=LeaveBy(at_utc=at_utc, pack_min=0.0)))


@pytest.mark.parametrize("step_s", [-3600.0, 3600.0])
def test_the_earlier_of_two_clocks_says_when_to_leave_until_one_is_right(step_s: float) -> None:
    desk = Desk(leaving_at(180.0))
    desk.close()
    desk.step_clock(step_s)
    left_s = (desk.evening.state.ends.pack_utc - desk.now).total_seconds()  # type: ignore[operator]
    by_old_s = 180.0 * 60.0 - (desk.now - BEGUN).total_seconds() + step_s
    by_new_s = by_old_s - step_s
    assert left_s == pytest.approx(min(by_old_s, by_new_s), abs=1.0)
    desk.say(Word.DONE)
    assert desk.evening.state.ends.pack_utc == BEGUN + timedelta(minutes=180.0), "confirmed: by the clock alone"


def test_whoever_says_that_the_time_is_right_before_the_start_is_understood() -> None:
    desk = Desk(leaving_at(180.0), confirmed=False)
    desk.say(Word.DONE)
    assert desk.lines("clock") == ["the time is right, says a person"]
    desk.say(Word.DONE)
    assert len(desk.lines("clock")) == 1, "it was asked once"


def test_a_clock_that_nobody_trusts_does_not_send_home_before_anybody_was_asked() -> None:
    early = ClockStart(BEGUN - timedelta(hours=1))
    leave = Bounds(leave_by=LeaveBy(at_utc=BEGUN - timedelta(minutes=30), pack_min=0.0))
    desk = Desk(replace(AGAIN, start=early, bounds=leave), confirmed=False)
    assert desk.over() is None and "is the time right?" in desk.rung()[0]
    desk.wait(600.0)
    assert desk.over() is None
    desk.feed(ClockConfirmed("the system"))
    assert desk.over() == "leave_by"


# Against the sky

WATCH = Outing(
    "watch", ClockStart(BEGUN), Want(Kind.WATCH, base=Base("1/4", 0.25), every_s=60.0), BARE, place=PLACE,
    bounds=Bounds(frames=5),
)  # fmt: skip


def test_a_person_is_asked_once_whether_the_light_can_be_right() -> None:
    desk = Desk(WATCH)
    desk.level_ev = 1.0  # deep shade
    for _ in range(5):
        desk.until_open(Role.BASE)
        desk.close()
        if desk.evening.state.held is not None:
            desk.say(Word.RESUME)
    assert len(desk.lines("held")) == 1 and "the light is −" in desk.lines("held")[0]
    assert "stop from a clear sky" in desk.lines("held")[0]


def test_lamps_at_night_are_no_wrong_clock_but_daylight_is() -> None:
    night = BEGUN + timedelta(hours=2)  # the sun is 15 degrees down
    for level_ev, holds in ((2.0, False), (-5.0, False), (13.0, True)):
        desk = Desk(replace(WATCH, start=ClockStart(night)), begun_utc=night)
        desk.level_ev = level_ev
        desk.until_open(Role.BASE)
        desk.close()
        assert (desk.evening.state.held is not None) is holds, level_ev
