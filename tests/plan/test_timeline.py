"""The timeline against the trade's worked stories: Loch Varrin's tries, Port Ellary's dusk, the winter causeway.

Times and counts of the stories are worked arithmetic and the published illuminance polynomial (Explanatory Supplement
to the Astronomical Almanac, 3rd edition, table 12.8); tolerances as the stories give them.
"""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from duskhold.light.crossings import Direction
from duskhold.light.filters import parse_filter
from duskhold.light.place import Place
from duskhold.light.skycurve import SkyCurve
from duskhold.plan.at_home import standing_at_home
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.course import Standing
from duskhold.plan.decision import LightReading, SteadyDrift
from duskhold.plan.lean import Lean
from duskhold.plan.moments import begins_utc, late_from_utc
from duskhold.plan.outing import (
    Base,
    Bounds,
    ClockStart,
    Costs,
    Dark,
    Kind,
    LeaveBy,
    LightStart,
    Outing,
    OutingKit,
    Prompting,
    SunStart,
    Want,
)
from duskhold.plan.role import Role
from duskhold.plan.series import Metered, decide
from duskhold.plan.stops import Ends, Means, StopReason
from duskhold.plan.timeline import FramesLeft, Timeline, plan_timeline

F11, F8, ISO_100 = Setting("f/11", 2**3.5), Setting("f/8", 8.0), Setting("100", 100.0)
SIX, THREE = (BagFilter(name, parse_filter(label), 0.03) for name, label in (("six", "6.1"), ("three", "3.0")))
STEADY = SteadyDrift(0.0)


def second(moment: datetime) -> str:
    return f"{moment + timedelta(milliseconds=500):%H:%M:%S}"


def utc(clock: str, day: str = "2026-02-19") -> datetime:
    return datetime.fromisoformat(f"{day}T{clock}+00:00")


def seconds_apart(moment: datetime, clock: str) -> float:
    return abs((moment - utc(clock, f"{moment:%Y-%m-%d}")).total_seconds())


# Story 4: how many tries are left


def loch_varrin(dark: Dark) -> Outing:
    noon = datetime(2026, 10, 14, 12, tzinfo=UTC)
    return Outing(
        "tries",
        SunStart(-1.0, Direction.DOWN, noon),
        Want(Kind.AGAIN, first_s=240.0, between_s=32.0),  # 12 s of storing, 20 s of looking
        OutingKit((), (), F8, ISO_100),
        place=Place(57.32, -5.61),
        bounds=Bounds(sun_altitude_deg=-6.0),
        dark=dark,
        costs=Costs(storing_s=12.0),
    )


def test_four_tries_with_the_dark_frame_in_the_camera_and_eight_without() -> None:
    outing = loch_varrin(Dark.IN_CAMERA)
    plan = plan_timeline(outing, standing_at_home(outing, STEADY))
    assert plan.frames_left == FramesLeft(in_camera_dark=4, without=8)
    assert seconds_apart(plan.frames[0].opens_utc, "17:23:12") <= 2.0
    assert seconds_apart(plan.frames[-1].closes_utc, "17:52:48") <= 2.0
    assert plan.frames[-1].ready_utc - plan.frames[-1].closes_utc == timedelta(seconds=252)
    assert plan.stop.reason is StopReason.SUN_ALTITUDE
    assert plan.darks == ()


def test_two_darks_afterwards_end_outside_the_window() -> None:
    outing = loch_varrin(Dark.AFTER)
    plan = plan_timeline(outing, standing_at_home(outing, STEADY))
    assert plan.frames_left == FramesLeft(in_camera_dark=4, without=8)
    assert seconds_apart(plan.frames[-1].closes_utc, "17:58:56") <= 2.0
    assert [dark.open_s for dark in plan.darks] == [240.0, 240.0]
    assert seconds_apart(plan.darks[0].opens_utc, "17:59:08") <= 2.0
    assert seconds_apart(plan.done_utc, "18:07:32") <= 2.0


def test_the_count_falls_by_one_with_every_frame_and_by_more_when_one_is_skipped_or_lengthened() -> None:
    outing = loch_varrin(Dark.AFTER)
    start = standing_at_home(outing, STEADY)

    def left_at(after_s: float, done: int) -> FramesLeft:
        there = replace(start, opens_utc=start.opens_utc + timedelta(seconds=after_s), frames_done=done)
        return plan_timeline(outing, there).frames_left

    assert [left_at(272.0 * done, done).without for done in range(9)] == [8, 7, 6, 5, 4, 3, 2, 1, 0]
    assert left_at(2 * 272.0, 1).without == 6  # a frame skipped
    assert left_at(272.0 + 150.0, 1).without == 6  # a frame of 390 s: 33 min 11 s less 79 s are left for six
    assert left_at(272.0, 1).in_camera_dark == 4  # 272 s later there is still room for four: 1776 + 272 < 2255 s


# Story 5: through the dusk


def port_ellary(kind: Kind = Kind.TONE, make_up_share: float = 1.0) -> Outing:
    return Outing(
        "dusk",
        SunStart(-2.0, Direction.DOWN, datetime(2026, 3, 20, 12, tzinfo=UTC)),
        Want(kind, first_s=30.0, between_s=15.0, make_up_share=make_up_share),
        OutingKit((SIX, THREE), ("six",), F11, ISO_100),
        place=Place(50.20, -4.10),
        bounds=Bounds(longest_s=240.0, shortest_s=1.0, sun_altitude_deg=-8.0),
    )


STORY_5_S = (
    30.0, 33.3, 37.2, 42.2, 48.6, 57.1, 68.9, 86.8, 116.8, 178.5,
    34.5, 40.0, 47.1, 57.1, 72.1, 96.1, 142.6,
    29.1, 33.4, 39.0, 46.4, 56.8, 72.1, 97.3, 145.9,
)  # fmt: skip


@pytest.fixture(scope="module")
def dusk() -> Timeline:
    outing = port_ellary()
    return plan_timeline(outing, standing_at_home(outing))


def test_a_dusk_has_its_frames_to_a_hundredth(dusk: Timeline) -> None:
    assert [frame.open_s for frame in dusk.frames] == pytest.approx(STORY_5_S, rel=0.01)
    assert [frame.n for frame in dusk.frames] == list(range(1, 26))
    assert seconds_apart(dusk.frames[0].opens_utc, "18:36:34") <= 2.0
    assert [frame.filters for frame in dusk.frames] == [("six",)] * 10 + [("three",)] * 7 + [()] * 8
    assert dusk.others == ()


def test_a_dusk_prompts_for_its_changes_three_minutes_ahead(dusk: Timeline) -> None:
    first, last = dusk.prompts
    assert (first.remove, first.fit) == (("six",), ("three",))
    assert (last.remove, last.fit) == (("three",), ())
    assert seconds_apart(first.at_utc, "18:50:43") <= 60.0
    assert seconds_apart(last.at_utc, "19:01:37") <= 60.0
    for prompt in dusk.prompts:
        assert prompt.at_utc - prompt.announce_utc >= timedelta(minutes=3)


def test_a_dusk_ends_at_the_longest_frame(dusk: Timeline) -> None:
    assert dusk.stop.reason is StopReason.LONGEST_FRAME
    assert seconds_apart(dusk.stop.at_utc, "19:13:17") <= 60.0


def test_the_sun_and_the_light_are_told_with_every_frame(dusk: Timeline) -> None:
    altitudes = [frame.sun_altitude_deg for frame in dusk.frames if frame.sun_altitude_deg is not None]
    assert len(altitudes) == 25
    assert altitudes[0] == pytest.approx(-2.0, abs=0.01)
    assert altitudes == sorted(altitudes, reverse=True)
    after_change = dusk.frames[10]
    # What the light lost is made up by the filter and by time: 3.1 stops of glass and log2 of the plain times.
    plain_s = 30.0 / 2**0.05
    assert after_change.light_stops == pytest.approx(-3.28, abs=0.05)
    made_up = 2.0 ** -(after_change.light_stops + 3.1) * plain_s
    assert after_change.open_s == pytest.approx(made_up * 2**after_change.correction_stops, rel=0.01)


def test_a_plan_made_on_the_way_foretells_the_rest_of_the_first(dusk: Timeline) -> None:
    outing, eleventh = port_ellary(), dusk.frames[10]
    there = replace(
        dusk.standing,
        opens_utc=eleventh.opens_utc,
        set_up=replace(dusk.standing.set_up, filters=eleventh.filters),
        frames_done=10,
        longest_s=dusk.frames[9].open_s,
    )
    again = plan_timeline(outing, there)
    assert again.frames == dusk.frames[10:]
    assert again.prompts == dusk.prompts[1:]
    assert (again.stop, again.frames_left.without) == (dusk.stop, 15)


@pytest.mark.parametrize(("share", "bare_s"), [(0.7, 36.0), (1.0, 237.9)])
def test_a_share_of_the_fade_let_through(share: float, bare_s: float) -> None:
    """Bare glass at -8 degrees after a fade of 9.09 stops; 30 s is the plain time behind 6.1 stops at -2 degrees."""
    outing = port_ellary(Kind.EYE, share)
    home = standing_at_home(outing)
    metered = Metered(LightReading(30.0 / 2.0**6.1, home.opens_utc), home.metered.drift)
    found = decide(outing, replace(home.set_up, filters=()), metered, utc("19:14:20", "2026-03-20"))
    assert found.plain_s * 2.0**9.09 == pytest.approx(bare_s, rel=0.01)


def test_a_first_frame_of_a_chosen_time_is_that_long_whichever_way_one_leans() -> None:
    outing = replace(port_ellary(), lean=Lean(dusk_longer_stops=0.3))
    first, second, *_ = plan_timeline(outing, standing_at_home(outing)).frames
    assert first.open_s == 30.0
    assert second.open_s == pytest.approx(33.3 * 2.0**0.3, rel=0.01)


@pytest.mark.parametrize("first_s", [37.3, 157.9, 240.0])
def test_a_first_frame_may_be_as_long_as_any(first_s: float) -> None:
    outing = port_ellary()
    outing = replace(
        outing, want=replace(outing.want, first_s=first_s), bounds=replace(outing.bounds, longest_s=first_s)
    )
    assert plan_timeline(outing, standing_at_home(outing)).frames[0].open_s == first_s


# Story 6: the order of a bracket


@pytest.mark.parametrize(
    ("rate", "open_s", "done_s"), [(-0.15, (142.7, 88.8, 51.1), 332.6), (0.15, None, None)], ids=["dusk", "dawn"]
)
def test_a_bracket_takes_the_longest_first_at_dusk_and_last_at_dawn(
    rate: float, open_s: tuple[float, ...] | None, done_s: float | None
) -> None:
    metered_utc = utc("18:00:00")
    outing = Outing(
        "bracket",
        ClockStart(metered_utc),
        Want(Kind.BRACKET, base=Base("1", 1.0), steps=(-1.0, 0.0, 1.0), between_s=10.0, base_frames=1),
        OutingKit((BagFilter("b", parse_filter("5.906890595608519"), 0.1),), ("b",), F8, ISO_100),  # 60 s
    )
    opens_utc = metered_utc + timedelta(seconds=30)
    there = replace(standing_at_home(outing, SteadyDrift(rate)), opens_utc=opens_utc, base_left=0)
    plan = plan_timeline(outing, replace(there, set_up=replace(there.set_up, filters=("b",))))
    assert [frame.step_stops for frame in plan.frames] == sorted((-1.0, 0.0, 1.0), reverse=rate < 0.0)
    assert plan.stop.reason is StopReason.FRAMES_DONE
    if open_s is not None:
        assert [frame.open_s for frame in plan.frames] == pytest.approx(open_s, abs=0.06)
        assert (plan.frames[-1].closes_utc - metered_utc).total_seconds() == pytest.approx(done_s, abs=0.1)


# Story 12: the winter causeway


def aldermoor() -> Outing:
    return Outing(
        "causeway",
        ClockStart(utc("17:05:00")),
        Want(Kind.AGAIN, first_s=300.0, between_s=12.0),
        OutingKit((), (), F8, ISO_100),
        place=Place(54.90, -1.90),
        bounds=Bounds(
            longest_s=600.0,
            sun_altitude_deg=-6.0,
            leave_by=LeaveBy(at_utc=utc("18:40:00"), pack_min=12.0),
            battery_reserve_percent=12.0,
        ),
        dark=Dark.AFTER,
        costs=Costs(storing_s=12.0, battery_percent_per_min=0.62),
    )


def aldermoor_standing(means: Means, opens: str = "17:05:00", done: int = 0) -> Standing:
    home = standing_at_home(aldermoor(), STEADY)
    longest_s = 300.0 if done else 0.0
    return replace(home, opens_utc=utc(opens), means=means, frames_done=done, longest_s=longest_s)


def test_the_whole_causeway_evening_fits() -> None:
    plan = plan_timeline(aldermoor(), aldermoor_standing(Means(58.0, None, 0.62)))
    assert len(plan.frames) == 10
    assert seconds_apart(plan.frames[-1].closes_utc, "17:56:48") <= 2.0
    assert plan.stop.reason is StopReason.SUN_ALTITUDE
    assert len(plan.darks) == 2
    assert plan.darks_short is None
    assert seconds_apart(plan.darks[-1].closes_utc, "18:07:12") <= 15.0
    assert plan.battery_percent == pytest.approx(20.8, abs=0.01)
    assert plan.frames[4].battery_percent == pytest.approx(42.5, abs=0.01)


def test_a_battery_that_falls_faster_leaves_three_frames_and_one_dark() -> None:
    plan = plan_timeline(aldermoor(), aldermoor_standing(Means(32.5, None, 1.0), "17:41:24", 7))
    assert [frame.n for frame in plan.frames] == [8, 9, 10]
    assert len(plan.darks) == 1
    assert plan.darks_short is StopReason.BATTERY_RESERVE
    assert plan.battery_percent == pytest.approx(12.5)


def test_long_frames_come_before_darks() -> None:
    # Left for three exposures: none of them is kept for a dark.
    plan = plan_timeline(aldermoor(), aldermoor_standing(Means(27.5, None, 1.0), "17:41:24", 7))
    assert (len(plan.frames), len(plan.darks)) == (3, 0)
    assert plan.darks_short is StopReason.BATTERY_RESERVE
    plan = plan_timeline(aldermoor(), aldermoor_standing(Means(22.5, None, 1.0), "17:41:24", 7))
    assert (len(plan.frames), len(plan.darks)) == (2, 0)
    assert plan.stop.reason is StopReason.BATTERY_RESERVE


def test_no_dark_ends_after_it_is_time_to_pack() -> None:
    early = replace(aldermoor(), bounds=replace(aldermoor().bounds, leave_by=LeaveBy(at_utc=utc("18:15:00"))))
    home = aldermoor_standing(Means(58.0, None, 0.62))
    plan = plan_timeline(early, replace(home, ends=replace(home.ends, pack_utc=utc("18:03:00"))))
    assert (len(plan.frames), len(plan.darks)) == (10, 1)
    assert plan.darks_short is StopReason.LEAVE_BY


# What happens around the long frames


def with_base(kind: Kind, **want: object) -> Outing:
    return Outing(
        "around",
        ClockStart(utc("17:00:00")),
        Want(kind, base=Base("1", 1.0), **want),  # type: ignore[arg-type]
        OutingKit((SIX, THREE), () if kind is Kind.WATCH else ("six",), F8, ISO_100),
        bounds=Bounds(frames=None if kind is Kind.ONE else 2),
        prompting=Prompting(announce_s=30.0, change_s=60.0),
    )


def test_base_frames_the_filters_and_a_scout_come_first() -> None:
    outing = with_base(Kind.ONE)
    plan = plan_timeline(outing, standing_at_home(outing))
    assert [(frame.role, frame.filters, second(frame.opens_utc)) for frame in plan.others] == [
        (Role.BASE, (), "17:00:00"),
        (Role.BASE, (), "17:02:00"),
        (Role.SCOUT, ("six",), "17:03:07"),
    ]
    (prompt,) = plan.prompts
    assert (prompt.fit, prompt.remove, second(prompt.at_utc)) == (("six",), (), "17:02:07")
    assert second(prompt.announce_utc) == "17:01:37"
    (frame,) = plan.frames
    scout = plan.others[-1]
    assert (scout.open_s, scout.iso) == (2.0, "3200")  # 68.6 s at ISO 100 is 2.1 s five stops up
    assert (frame.filters, frame.opens_utc) == (("six",), scout.ready_utc)
    assert frame.open_s == pytest.approx(2.0**6.1)
    assert plan.stop.reason is StopReason.FRAMES_DONE


def test_pairs_take_the_filters_off_and_on_again() -> None:
    outing = with_base(Kind.PAIRS)
    plan = plan_timeline(outing, standing_at_home(outing))
    assert [frame.role for frame in plan.others] == [Role.BASE, Role.BASE, Role.SCOUT, Role.BASE]
    assert [(prompt.remove, prompt.fit) for prompt in plan.prompts] == [
        ((), ("six",)),
        (("six",), ()),
        ((), ("six",)),
    ]
    between, last = plan.others[-1], plan.frames[-1]
    assert plan.frames[0].closes_utc < between.opens_utc - timedelta(seconds=60)
    assert last.opens_utc == between.ready_utc + timedelta(seconds=60)
    assert (between.filters, last.filters) == ((), ("six",))


def test_a_watch_takes_base_frames_only() -> None:
    outing = with_base(Kind.WATCH, every_s=180.0)
    plan = plan_timeline(outing, standing_at_home(outing))
    assert [(frame.role, frame.open_s, second(frame.opens_utc)) for frame in plan.frames] == [
        (Role.BASE, 1.0, "17:00:00"),
        (Role.BASE, 1.0, "17:03:01"),
    ]
    assert (plan.prompts, plan.darks, plan.others) == ((), (), ())


def test_the_dial_of_a_watch_goes_with_the_light_as_far_as_a_dial_goes() -> None:
    outing = replace(aldermoor(), want=Want(Kind.WATCH, base=Base("1/6", 2 ** (-8 / 3)), every_s=600.0))
    outing = replace(outing, bounds=Bounds(sun_altitude_deg=-12.0))
    plan = plan_timeline(outing, standing_at_home(outing))
    times = [frame.open_s for frame in plan.frames]
    assert times[0] == 2 ** (-8 / 3) and times == sorted(times) and times[-1] == 32.0
    assert all(one == 2 ** (-8 / 3) or math.log2(one).is_integer() for one in times)
    assert plan.stop.reason is StopReason.SUN_ALTITUDE
    levels = [frame.light_stops + math.log2(frame.open_s * 2 ** (8 / 3)) for frame in plan.frames if frame.open_s < 32]
    assert max(map(abs, levels)) <= 0.51


def test_nothing_ends_it_as_far_as_a_plan_looks() -> None:
    outing = replace(with_base(Kind.AGAIN), bounds=Bounds())
    plan = plan_timeline(outing, standing_at_home(outing))
    assert plan.stop.reason is None
    assert plan.stop.at_utc - utc("17:00:00") >= timedelta(hours=24)


def test_disk_is_counted_down_and_ends_it() -> None:
    outing = replace(aldermoor(), costs=Costs(storing_s=12.0, disk_bytes=100_000_000))
    plan = plan_timeline(outing, aldermoor_standing(Means(None, 1_000_000_000)))
    assert len(plan.frames) == 5  # half a gigabyte is the reserve
    assert plan.stop.reason is StopReason.DISK_RESERVE
    assert (plan.disk_free_bytes, plan.battery_percent) == (500_000_000, None)


def test_a_start_by_the_light_comes_when_a_clear_sky_asks_for_it() -> None:
    # 0.1 s at f/11 and ISO 100 with the sun at 0 degrees, 2.5 s at -4 (common practice, no source; the steps between
    # them follow the published illuminance curve).
    outing = replace(
        with_base(Kind.ONE),
        start=LightStart(2.5, Direction.DOWN, datetime(2026, 3, 20, 12, tzinfo=UTC)),
        kit=OutingKit((SIX,), ("six",), F11, ISO_100),
        place=Place(50.20, -4.10),
    )
    plan = plan_timeline(outing, standing_at_home(outing))
    assert plan.others[0].sun_altitude_deg == pytest.approx(-4.0, abs=0.1)
    # It is watched from 4 stops before that on, which the same curve has at -0.93 degrees (log2 E 4 stops up from -4),
    # and is late when as much has gone.
    band = [begins_utc(outing), plan.frames[0].opens_utc, late_from_utc(outing)]
    sky = SkyCurve(Place(50.20, -4.10), band[0])
    levels = [math.log2(sky.level((each - band[0]).total_seconds())) for each in (band[0], band[2])]
    assert levels[0] - levels[1] == pytest.approx(8.0, abs=0.01)
    assert band == sorted(band) and sky.sun_altitude_deg(0.0) == pytest.approx(-0.93, abs=0.3)
    nowhere = replace(outing, place=None)
    noon_utc = datetime(2026, 3, 20, 12, tzinfo=UTC)
    assert (begins_utc(nowhere), late_from_utc(nowhere)) == (noon_utc, noon_utc + timedelta(hours=24))


def test_the_age_of_the_reading_refuses_nothing() -> None:
    outing = aldermoor()
    old = Metered(LightReading(300.0, utc("15:00:00")), STEADY)
    plan = plan_timeline(outing, replace(aldermoor_standing(Means()), metered=old, ends=Ends(frames=2)))
    assert len(plan.frames) == 2
