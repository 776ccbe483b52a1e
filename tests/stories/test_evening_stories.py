"""Evenings of the trade's worked stories played from end to end: Loch Varrin's tries, Hollin Fell, the winter causeway,
the pulled lead.

Figures and tolerances are worked arithmetic of the stories, with T = log2(1 + A r ln 2) / r (common practice of the
trade). Simulated time, raw files of 192 x 128; what happened is read from the body's own log and from the numbers in
the files.
"""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from evening_stage import SMALL, Played, left_told, near, played, utc

from duskhold.app.evening_world import Habits
from duskhold.app.outing_file import load_outing
from duskhold.app.settings import Settings
from duskhold.camera.body import SimulatedBody
from duskhold.camera.faults import Faults, Strike
from duskhold.camera.stage import ConstantLight, FadingLight
from duskhold.light.crossings import Direction
from duskhold.light.filters import parse_filter
from duskhold.light.place import Place
from duskhold.plan import at_home
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.decision import Drift, SteadyDrift
from duskhold.plan.evening_words import Word
from duskhold.plan.lean import UPRIGHT, Lean
from duskhold.plan.outing import (
    AfterLinkLoss,
    Base,
    Bounds,
    ClockStart,
    Costs,
    Dark,
    Kind,
    LeaveBy,
    Outing,
    OutingKit,
    SunStart,
    Want,
)
from duskhold.plan.role import Role
from duskhold.plan.timeline import plan_timeline

F8, ISO_100 = Setting("f/8", 8.0), Setting("100", 100.0)


# Story 4: how many tries are left. The frame's time is taken as given: the light is steady.


def steady(_outing: Outing) -> Drift:
    return SteadyDrift(0.0)


@pytest.fixture
def steady_at_home(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(at_home, "drift_at_home", steady)


def still(found: Played) -> None:
    """The light of the story holds, for the lens and for whoever reasons from it."""
    found.light(ConstantLight())
    found.forget_the_sky()


def loch_varrin(dark: Dark) -> Outing:
    return Outing(
        "tries",
        SunStart(-1.0, Direction.DOWN, datetime(2026, 10, 14, 12, tzinfo=UTC)),
        Want(Kind.AGAIN, first_s=240.0, between_s=32.0),  # 12 s of storing, 20 s of looking
        OutingKit((), (), F8, ISO_100),
        place=Place(57.32, -5.61),
        bounds=Bounds(sun_altitude_deg=-6.0, longest_s=300.0),
        dark=dark,
        costs=Costs(storing_s=12.0),
    )


@pytest.mark.usefixtures("steady_at_home")
@pytest.mark.parametrize(("dark", "tries", "last"), [(Dark.AFTER, 8, "17:58:56"), (Dark.IN_CAMERA, 4, "17:52:48")])
def test_tries_left_are_told_before_the_first_frame_and_after_each(dark: Dark, tries: int, last: str) -> None:
    settings = {"quality": "raw", "dark_frame": "on" if dark is Dark.IN_CAMERA else "off"}
    with played(loch_varrin(dark), still, profile=replace(SMALL, storing_s=12.0, settings=settings)) as found:
        longs, told = found.of(Role.LONG), found.lines("left")
        assert left_told(found) == list(range(tries, -1, -1))
        assert told[0].at_utc < longs[0].opened_utc
        other = "4 with in-camera" if dark is Dark.AFTER else "8 without in-camera"
        assert other in told[0].line and (dark is Dark.IN_CAMERA or "+ 2 darks" in told[0].line)
        assert [one.open_s for one in longs] == pytest.approx([240.0] * tries, rel=0.01)
        assert near(longs[-1].closed_utc, last, 4.0)
        darks = found.of(Role.DARK)
        assert [one.open_s for one in darks] == pytest.approx([240.0] * (2 if dark is Dark.AFTER else 0), rel=0.01)
        assert found.lines("replanned") == []


@pytest.mark.usefixtures("steady_at_home")
def test_tries_left_are_counted_anew_when_a_frame_is_skipped() -> None:
    def skips(found: Played) -> None:
        still(found)
        found.say_at(utc("17:24:00", "2026-10-14"), Word.HOLD)
        found.say_at(utc("17:33:00", "2026-10-14"), Word.RESUME)

    with played(loch_varrin(Dark.NONE), skips) as found:
        told = found.lines("left", "replanned")
        anew = next(one for one in told if one.word == "replanned")
        assert near(anew.at_utc, "17:33:00", 5.0)
        # From 17:33:00 there are 27 min 47 s: six of 272 s, the last without its pause, after a scout.
        assert anew.line.startswith("6 ")
        assert (left_told(found)[0], left_told(found)[-1]) == (8, 0)
        assert len(found.of(Role.LONG)) == 7
        for one in told:
            still_to_come = sum(each.opened_utc >= one.at_utc for each in found.of(Role.LONG))
            assert one is told[0] or abs(int(one.line.split()[0]) - still_to_come) <= 1


# Story 6: a bracket


@pytest.mark.parametrize("rate", [-0.15, 0.15], ids=["dusk", "dawn"])
def test_the_steps_of_a_bracket_are_a_stop_in_the_pixels(rate: float) -> None:
    outing = Outing(
        "bracket",
        ClockStart(utc("18:00:00", "2026-03-20")),
        Want(Kind.BRACKET, base=Base("1/4", 0.25), steps=(-1.0, 0.0, 1.0), between_s=10.0),
        OutingKit((BagFilter("eight", parse_filter("7.9"), 0.03),), ("eight",), F8, ISO_100),
        costs=Costs(storing_s=1.0),
    )

    def fades(found: Played) -> None:
        found.light(FadingLight(rate, found.second(utc("18:02:00", "2026-03-20"))))

    with played(outing, fades, habits=Habits(answer_s=(25.0, 25.0))) as found:
        longs = found.of(Role.LONG)
        levels = [one.level_stops or math.nan for one in longs]
        assert len(longs) == 3
        steps = [after - before for before, after in pairwise(levels)]
        assert steps == pytest.approx([math.copysign(1.0, rate)] * 2, abs=0.05)
        times = sorted(one.open_s for one in longs)
        assert times[-1] / times[0] == pytest.approx(2.8, abs=0.3) if rate < 0.0 else times[-1] / times[0] < 4.0
        assert "frames" in found.lines("ended")[0].line


def port_ellary(want: Want, lean: Lean) -> Outing:
    """From -2 degrees on, behind 6.1 stops."""
    start = SunStart(-2.0, Direction.DOWN, utc("12:00:00", "2026-03-20"))
    kit = OutingKit((BagFilter("six", parse_filter("6.1"), 0.03),), ("six",), F8, ISO_100)
    return Outing(
        "ellary", start, want, kit, Place(50.20, -4.10), Bounds(frames=3), costs=Costs(storing_s=5.0), lean=lean
    )


@pytest.mark.parametrize(
    ("want", "lean", "levels"),
    [
        (Want(Kind.BRACKET, first_s=30.0, steps=(-1.0, 0.0, 1.0)), UPRIGHT, (0.0, 1.0, -1.0)),
        (Want(Kind.AGAIN, first_s=30.0), Lean(dusk_longer_stops=0.3), (0.0, 0.3, 0.3)),
    ],
    ids=["bracket", "lean"],
)
def test_after_a_first_frame_of_a_chosen_time_steps_and_lean_are_against_it_as_planned(
    want: Want, lean: Lean, levels: tuple[float, ...]
) -> None:
    outing = port_ellary(want, lean)
    plan = plan_timeline(outing, at_home.standing_at_home(outing))
    with played(outing) as found:
        assert found.level_errors_stops() == pytest.approx(levels, abs=0.05)
        longs = found.of(Role.LONG)
        assert [one.open_s for one in longs] == pytest.approx([one.open_s for one in plan.frames], rel=0.03)
        wanted = [float(str(one.order.reasoning.get("wanted_stops", 0.0))) for one in longs]
        assert wanted == pytest.approx(levels, abs=0.01)


def test_the_example_that_waits_for_the_light_takes_its_bracket_at_dusk() -> None:
    """`config/outings/bracket.yaml`: watched while the clear sky is within 4 stops, and begun when it has come."""
    path = Path(__file__).parents[2] / "config" / "outings" / "bracket.yaml"
    outing = load_outing(path, Settings(), (), datetime(2026, 1, 1, tzinfo=UTC))
    comes_utc = at_home.begins_at_home_utc(outing)
    with played(outing) as found:
        bases, longs = found.of(Role.BASE), found.of(Role.LONG)
        assert found.lines("held") == []
        assert 2 < len(bases) < 30 and bases[-2].opened_utc < comes_utc + timedelta(minutes=2)
        assert abs(longs[0].opened_utc - comes_utc) < timedelta(minutes=5)
        assert found.level_errors_stops() == pytest.approx([0.0, -1.0, -2.0], abs=0.1)
        assert longs[0].open_s > longs[1].open_s > longs[2].open_s


# Story 12: the winter causeway. The light is steady, as the story takes it.


def aldermoor() -> Outing:
    return Outing(
        "causeway",
        ClockStart(utc("17:05:00", "2026-02-19")),
        Want(Kind.AGAIN, first_s=300.0, between_s=12.0),
        OutingKit((), (), F8, ISO_100),
        place=Place(54.90, -1.90),
        bounds=Bounds(
            longest_s=600.0,
            sun_altitude_deg=-6.0,
            leave_by=LeaveBy(at_utc=utc("18:40:00", "2026-02-19"), pack_min=12.0),
            battery_reserve_percent=12.0,
        ),
        dark=Dark.AFTER,
        costs=Costs(storing_s=12.0, battery_percent_per_min=0.62),
    )


@pytest.fixture
def fine_gauge(monkeypatch: pytest.MonkeyPatch) -> None:
    """The story's battery is told in tenths of a per cent."""
    plain = SimulatedBody.value

    def value(body: SimulatedBody, name: str, now_s: float) -> str:
        return f"{body._battery_percent(now_s):.2f}%" if name == "battery" else plain(body, name, now_s)

    monkeypatch.setattr(SimulatedBody, "value", value)


COLD = replace(SMALL, storing_s=12.0, battery_percent=58.0, battery_percent_per_min=0.62)


def use_more(found: Played) -> None:
    """The battery of the body falls by five per cent a frame from now on."""
    body = found.evening.body
    body.profile = replace(body.profile, battery_percent_per_min=1.0)


@pytest.mark.usefixtures("steady_at_home", "fine_gauge")
def test_a_causeway_evening_that_fits_takes_ten_and_two_darks() -> None:
    with played(aldermoor(), still, profile=COLD, habits=Habits(answer_s=(5.0, 5.0))) as found:
        longs, darks = found.of(Role.LONG), found.of(Role.DARK)
        assert found.lines("left")[0].line.startswith("10 long frames + 2 darks left until 17:56:48")
        assert len(longs) == 10 and near(longs[-1].closed_utc, "17:56:48", 10.0)
        assert len(darks) == 2 and near(darks[-1].closed_utc, "18:07:12", 60.0)
        assert found.lines("replanned") == []


@pytest.mark.usefixtures("steady_at_home", "fine_gauge")
def test_a_battery_that_falls_faster_is_replanned_within_a_frame() -> None:
    def colder(found: Played) -> None:
        still(found)
        found.at(utc("17:31:00", "2026-02-19"), lambda: use_more(found))

    with played(aldermoor(), colder, profile=COLD, habits=Habits(answer_s=(5.0, 5.0))) as found:
        (anew, *_) = found.lines("replanned")
        assert near(anew.at_utc, "17:36:12", 15.0), "the frame in which it began to fall faster tells it"
        assert anew.line.startswith("4 long frames + 1 dark left until 17:56:")
        assert "change the battery now (costs one frame)" in anew.line
        seventh = found.lines("left", "replanned")[7]
        assert near(seventh.at_utc, "17:41:24", 20.0) and seventh.line.startswith("3 long frames + 1 dark left")
        assert [one.role for one in found.openings] == [Role.LONG] * 10 + [Role.DARK]


@pytest.mark.usefixtures("steady_at_home", "fine_gauge")
def test_the_leave_alarm_rings_whatever_is_going_on_and_no_frame_passes_it() -> None:
    long_light = replace(aldermoor(), bounds=replace(aldermoor().bounds, sun_altitude_deg=None, longest_s=900.0))
    with played(long_light, still, profile=replace(COLD, battery_percent_per_min=0.1)) as found:
        pack_utc = utc("18:28:00", "2026-02-19")
        assert all(one.closed_utc <= pack_utc for one in found.openings)
        assert found.of(Role.LONG)[-1].closed_utc > pack_utc - timedelta(minutes=6)
        assert "pack" in found.lines("ended")[0].line


@pytest.mark.usefixtures("steady_at_home")
def test_the_leave_alarm_rings_while_it_is_held_and_only_leaving_keeps_it_from_that() -> None:
    def holds(found: Played) -> None:
        still(found)
        found.say_at(utc("17:20:00", "2026-02-19"), Word.HOLD)
        found.say_at(utc("18:20:00", "2026-02-19"), Word.HEARD)

    endless = replace(aldermoor(), bounds=replace(aldermoor().bounds, sun_altitude_deg=None))
    with played(endless, holds, profile=COLD) as found:
        assert near(found.lines("ring")[-1].at_utc, "18:28:00", 1.0)
        assert "pack" in found.lines("ring")[-1].line

    def leaves(found: Played) -> None:
        holds(found)
        found.say_at(utc("18:27:00", "2026-02-19"), Word.LEAVING)

    with played(endless, leaves, profile=COLD) as found:
        assert not any("pack" in one.line for one in found.lines("ring"))
        assert "you leave" in found.lines("ended")[0].line


# Story 10: the lead is pulled


def pier(after_link_loss: AfterLinkLoss = AfterLinkLoss.STOP) -> Outing:
    return Outing(
        "pier",
        ClockStart(utc("19:00:00", "2026-03-20")),
        Want(Kind.AGAIN, first_s=180.0),
        OutingKit((), (), F8, ISO_100),
        bounds=Bounds(frames=2, longest_s=300.0),
        after_link_loss=after_link_loss,
    )


def pulled(back_after_s: float) -> Faults:
    return Faults(link_drop=Strike.at(1), link_drop_after_s=95.0, link_return_after_s=back_after_s)


def test_a_pulled_lead_with_a_body_that_stays_open() -> None:
    with played(pier(), faults=pulled(136.0), habits=Habits(resumes=0.0)) as found:
        (first,) = found.openings
        assert first.open_s == pytest.approx(231.4, abs=1.0)
        record = found.frames[0].outcome
        assert record is not None and record.outcome == "link_lost" and record.settled
        assert record.open_s == pytest.approx(first.open_s, abs=0.5)
        assert math.log2(first.open_s / 180.0) == pytest.approx(0.36, abs=0.01)
        assert len(record.files) == 1, "kept"
        assert any("link" in one.line for one in found.lines("ring"))


def test_a_pulled_lead_and_a_person_who_says_go_on_gets_a_whole_frame() -> None:
    with played(pier(), faults=pulled(136.0), habits=Habits(answer_s=(20.0, 20.0))) as found:
        first, *others = found.openings
        assert others and all(one.opened_utc >= first.closed_utc for one in others)
        again = next(one for one in others if one.role is Role.LONG)
        assert again.open_s == pytest.approx(180.0, abs=2.0)


def closes_itself(found: Played) -> None:
    """The other kind of body: it closes when the lead goes."""
    body = found.evening.body

    def close() -> None:
        if body.is_exposing(found.evening.elapsed_s):
            body.release(found.evening.elapsed_s)

    found.at(utc("19:01:35.100", "2026-03-20"), close)


def test_a_pulled_lead_with_a_body_that_closes_itself() -> None:
    with played(pier(), closes_itself, faults=pulled(136.0), habits=Habits(answer_s=(20.0, 20.0))) as found:
        first, *others = found.openings
        assert first.open_s == pytest.approx(95.0, abs=1.0)
        assert math.log2(first.open_s / 180.0) == pytest.approx(-0.92, abs=0.02)
        record = found.frames[0].outcome
        assert record is not None and record.outcome == "link_lost" and len(record.files) == 1
        known = record.open_s_range or (record.open_s, record.open_s)
        assert known[0] is not None and known[1] is not None
        assert known[0] - 1.0 <= first.open_s <= known[1] + 1.0, "the true time lies within what is recorded"
        again = next(one for one in others if one.role is Role.LONG)
        assert again.open_s == pytest.approx(180.0, abs=2.0), "a fresh frame, not the remainder"


def test_no_connection_for_long_is_an_alarm_and_a_start_in_between_says_the_same() -> None:
    with played(pier(), faults=pulled(500.0), habits=Habits(resumes=0.0), crash_at_s=900.0) as found:
        (first,) = found.openings
        assert first.opened_utc + timedelta(seconds=95.0 + 500.0) <= first.closed_utc
        record = found.frames[0].outcome
        assert record is not None and record.outcome == "link_lost" and record.settled
        assert record.open_s == pytest.approx(first.open_s, abs=1.0)
        restart = found.evening.log.restarts[0]
        rung = found.lines("ring")
        assert any("link" in one.line and one.at_utc < restart for one in rung)
        assert any("link" in one.line and one.at_utc >= restart for one in rung), "the same again"
        assert len(found.frames) == 1, "nothing is fired on its own"
