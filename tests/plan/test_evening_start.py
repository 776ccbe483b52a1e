"""How an evening begins: when the light is watched for, what is late, and what a start that was missed leads to."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from evening_desk import AGAIN, BEGUN, FITTED, Desk

from duskhold.light.crossings import Direction
from duskhold.light.place import Place
from duskhold.plan.at_home import standing_at_home
from duskhold.plan.course import Course
from duskhold.plan.evening_rest import TIME_LINE
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import FrameTold, Measured, Restarted, Word
from duskhold.plan.outing import Base, Bounds, LightStart
from duskhold.plan.role import Role
from duskhold.plan.stops import StopReason


def test_a_start_by_the_light_watches_until_it_has_come() -> None:
    # f/8 and 1 s at ISO 100 are 6 EV
    start = LightStart(1.0, Direction.DOWN, BEGUN)
    desk = Desk(replace(FITTED, start=start, want=replace(FITTED.want, every_s=60.0)))
    for level_ev in (8.0, 7.0, 6.5):
        desk.level_ev = level_ev
        desk.until_open(Role.BASE)
        desk.close()
    assert desk.lines("prompt") == [] and desk.evening.view(desk.now).phase is Phase.WATCHING
    desk.level_ev = 5.9
    desk.until_open(Role.BASE)
    desk.close()
    assert desk.lines("prompt") == ["fit the six"]


@pytest.mark.parametrize(("begun", "is_late"), [("17:30", False), ("18:05", False), ("20:00", True)])
def test_light_that_is_still_to_come_is_not_late(begun: str, is_late: bool) -> None:
    """At 50 N 4 W that day a clear sky asks for 1 s at f/8 at 17:46, and is 4 stops from that at 17:24 and at 18:02."""
    start = LightStart(1.0, Direction.DOWN, datetime(2026, 10, 14, 12, 16, tzinfo=UTC))
    outing = replace(FITTED, start=start, place=Place(50.0, -4.0))
    desk = Desk(outing, begun_utc=datetime.fromisoformat(f"2026-10-14T{begun}:00Z"))
    held = desk.evening.state.held
    assert (held is not None) is is_late
    assert not is_late or (held is not None and "say resume to begin now" in held.reason)
    assert (Role.BASE in desk.takes()) is not is_late


@pytest.mark.parametrize(("late", "says"), [(10, None), (20, "say resume"), (60, "past its limit already")])
def test_a_start_that_was_missed_ends_by_the_sun_of_that_evening(late: int, says: str | None) -> None:
    """At 50 N 4 W the sun is at -4 degrees at 17:47 UTC that day; the next time is tomorrow's."""
    outing = replace(AGAIN, place=Place(50.0, -4.0), bounds=Bounds(sun_altitude_deg=-4.0))
    desk = Desk(outing, begun_utc=BEGUN + timedelta(minutes=late))
    desk.wait(1.0)
    state = desk.evening.state
    told = state.stop_line if state.stop is not None else "" if state.held is None else state.held.reason
    assert (told == "") if says is None else (says in told)
    assert (desk.over() == "sun_altitude") is (late == 60)
    assert state.ends.sun_utc is not None and abs(state.ends.sun_utc - BEGUN) < timedelta(minutes=40)
    again_utc = BEGUN + timedelta(days=2, minutes=10)  # the same file, another evening
    ends = Desk(outing, begun_utc=again_utc).evening.state.ends
    assert ends.sun_utc is not None and ends.sun_utc > again_utc


@pytest.mark.parametrize(("begun", "is_past"), [("17:30", False), ("19:30", True)])
def test_a_start_by_the_light_when_the_sun_is_past_its_limit_is_over(begun: str, is_past: bool) -> None:
    """At 50 N 4 W the sun is at -6 degrees at 18:00 UTC that day; the next time is tomorrow's."""
    begun_utc = datetime.fromisoformat(f"2026-10-14T{begun}:00Z")
    start = LightStart(1.0, Direction.DOWN, begun_utc)
    outing = replace(FITTED, start=start, place=Place(50.0, -4.0), bounds=Bounds(sun_altitude_deg=-6.0))
    desk = Desk(outing, begun_utc=begun_utc)
    desk.wait(1.0)
    assert desk.takes() == ([] if is_past else [Role.BASE])
    assert (desk.over() == "sun_altitude") is is_past
    planned = Course(outing, standing_at_home(outing), 3)
    assert (planned.frames == []) is is_past and (planned.stop.reason is StopReason.SUN_ALTITUDE) is is_past


def test_a_clock_that_nobody_trusts_does_not_say_when_the_light_is_to_be_watched() -> None:
    start = LightStart(1.0, Direction.DOWN, BEGUN - timedelta(hours=3))
    outing = replace(FITTED, start=start, place=Place(50.0, -4.0))
    early = Desk(outing, confirmed=False, begun_utc=BEGUN - timedelta(hours=3))
    assert early.rung() == [TIME_LINE]
    assert Desk(replace(outing, place=None), confirmed=False).takes() == [Role.BASE]


def test_what_an_earlier_version_began_sooner_is_not_gone_on_with_by_itself() -> None:
    """Its record has a base frame from before the light is watched for now: nothing fires without a person."""
    begun_utc = BEGUN - timedelta(minutes=30)
    outing = replace(FITTED, start=LightStart(1.0, Direction.DOWN, begun_utc), place=Place(50.0, -4.0))
    desk = Desk(outing, begun_utc=begun_utc)
    desk.feed(FrameTold("base-1", Role.BASE, "complete", 1.0, desk.now, desk.now + timedelta(seconds=1.0), True, ""))
    desk.feed(Measured("base-1", 8.0, 0.01))
    desk.wait(60.0)
    desk.feed(Restarted(True))
    desk.wait(3000.0)
    assert desk.takes() == [] and "say resume" in desk.rung()[-1]
    desk.say(Word.RESUME)
    desk.wait(1.0)
    assert desk.takes() == [Role.BASE]


def test_what_is_left_counts_from_when_the_light_comes() -> None:
    """At 50 N 4 W that day a clear sky asks for 1 s at f/8 at 17:46; base frames before that do not bring it."""
    outing = replace(FITTED, start=LightStart(1.0, Direction.DOWN, BEGUN), place=Place(50.0, -4.0))
    desk = Desk(replace(outing, bounds=Bounds(frames=2)), begun_utc=BEGUN + timedelta(minutes=5))
    desk.level_ev = 9.0
    for _ in range(2):
        desk.until_open(Role.BASE)
        desk.close()
        desk.wait(1.0)
        ends_utc = desk.evening.view(desk.now).ends_utc
        assert ends_utc is not None and ends_utc > BEGUN.replace(hour=17, minute=46)
    assert desk.evening.view(desk.now).frames_left == 2


def test_a_burnt_frame_does_not_tell_that_the_light_has_faded() -> None:
    """Base frames of 8 s at f/8 are right for 3 EV; at 5.5 EV and at any more they are burnt, and 1 s is waited for."""
    want = replace(FITTED.want, base=Base("8", 8.0), base_frames=1, every_s=60.0)
    desk = Desk(replace(FITTED, start=LightStart(1.0, Direction.DOWN, BEGUN), want=want))
    for _ in range(2):
        desk.until_open(Role.BASE)
        frame_id = desk.newest()
        desk.close(measured=False)
        desk.feed(Measured(frame_id, 5.5, 0.01, at_least=True))
    assert desk.evening.view(desk.now).phase is Phase.WATCHING and desk.rung() == []
    desk.level_ev = 4.9
    desk.until_open(Role.BASE)
    desk.close()
    assert desk.lines("prompt") == ["fit the six"]
