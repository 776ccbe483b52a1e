"""No planned frame passes a bound, whatever the outing: shortest, longest, sun, time to pack, battery, disk."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from duskhold.light.filters import Filter
from duskhold.plan.at_home import standing_at_home
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.decision import SteadyDrift
from duskhold.plan.outing import Base, Bounds, ClockStart, Costs, Dark, Kind, LeaveBy, Outing, OutingKit, Want
from duskhold.plan.stops import Means
from duskhold.plan.timeline import Timeline, plan_timeline

START = datetime(2026, 10, 14, 17, tzinfo=UTC)
APERTURES = tuple(Setting(f"f/{number}", value) for number, value in ((5.6, 2**2.5), (8, 8.0), (11, 2**3.5)))
ISOS = tuple(Setting(str(value), float(value)) for value in (100, 200, 400))


@st.composite
def outings(draw: st.DrawFn) -> Outing:
    kind = draw(st.sampled_from([Kind.ONE, Kind.AGAIN, Kind.TONE, Kind.EYE, Kind.LOOK, Kind.BRACKET, Kind.PAIRS]))
    bag = tuple(
        BagFilter(f"f{n}", Filter(f"{stops:g}", stops), 0.05)
        for n, stops in enumerate(draw(st.lists(st.floats(1.0, 12.0), max_size=3)))
    )
    fitted = draw(st.lists(st.sampled_from([one.name for one in bag]), max_size=2, unique=True)) if bag else []
    shortest_s = draw(st.floats(0.3, 60.0))
    longest_s = shortest_s * draw(st.floats(1.5, 20.0))
    # A base for which the first frame would be about right, so that there is something to bound.
    stops = sum(one.glass.stops for one in bag if one.name in fitted)
    base_s = draw(st.floats(0.9 * shortest_s, longest_s)) / 2.0**stops
    return Outing(
        "any",
        ClockStart(START),
        Want(
            kind,
            base=Base("any", base_s),
            make_up_share=draw(st.floats(0.0, 1.0)) if kind is Kind.EYE else 1.0,
            steps=(-1.0, 0.0, 1.0) if kind is Kind.BRACKET else (),
            between_s=draw(st.floats(0.0, 60.0)),
            base_frames=draw(st.integers(1, 3)),
        ),
        OutingKit(bag, tuple(fitted), APERTURES[1], ISOS[0], APERTURES, ISOS),
        bounds=Bounds(
            longest_s=longest_s,
            shortest_s=shortest_s,
            leave_by=LeaveBy(in_min=draw(st.floats(20.0, 240.0)), pack_min=draw(st.floats(0.0, 15.0))),
            frames=draw(st.none() | st.integers(1, 12)),
            battery_reserve_percent=draw(st.floats(0.0, 50.0)),
        ),
        dark=draw(st.sampled_from(Dark)),
        darks_after=draw(st.integers(1, 4)),
        costs=Costs(
            storing_s=draw(st.floats(0.0, 30.0)),
            disk_bytes=draw(st.integers(0, 300_000_000)),
        ),
    )


def planned(outing: Outing, rate: float, means: Means, sun_min: float | None = None) -> Timeline:
    home = standing_at_home(outing, SteadyDrift(rate), means)
    sun_utc = None if sun_min is None else START + timedelta(minutes=sun_min)
    return plan_timeline(outing, replace(home, ends=replace(home.ends, sun_utc=sun_utc)))


@settings(max_examples=60, deadline=None)
@given(
    outings(),
    st.floats(-0.4, 0.4),
    st.builds(Means, st.floats(10.0, 100.0), st.integers(400_000_000, 20_000_000_000), st.floats(0.0, 5.0)),
    st.none() | st.floats(5.0, 200.0),
)
def test_no_frame_passes_a_bound(outing: Outing, rate: float, means: Means, sun_min: float | None) -> None:
    plan = planned(outing, rate, means, sun_min)
    bounds, pack_utc, sun_utc = outing.bounds, plan.standing.ends.pack_utc, plan.standing.ends.sun_utc
    assert pack_utc is not None
    for frame in plan.frames:
        assert bounds.shortest_s <= frame.open_s <= bounds.longest_s
        assert sun_utc is None or frame.closes_utc <= sun_utc
    for frame in (*plan.frames, *plan.darks):
        assert frame.ready_utc <= pack_utc
        assert frame.battery_percent is not None
        assert frame.battery_percent >= bounds.battery_reserve_percent
        assert frame.disk_free_bytes is not None
        assert frame.disk_free_bytes >= bounds.disk_reserve_bytes
    if outing.frames_wanted is not None:
        assert len(plan.frames) <= outing.frames_wanted
    assert plan.stop.reason is not None or len(plan.frames) == 2000


@settings(max_examples=40, deadline=None)
@given(outings(), st.floats(-0.4, 0.4))
def test_one_thing_at_a_time(outing: Outing, rate: float) -> None:
    plan = planned(outing, rate, Means(100.0, 10**12))
    in_order = sorted((*plan.others, *plan.frames, *plan.darks), key=lambda frame: frame.opens_utc)
    for before, after in pairwise(in_order):
        assert after.opens_utc >= before.ready_utc
    for prompt in plan.prompts:
        assert prompt.announce_utc <= prompt.at_utc
        # Nothing opens while a person is at the lens.
        until_utc = prompt.at_utc + timedelta(seconds=outing.prompting.change_s)
        assert not [frame for frame in in_order if prompt.at_utc < frame.opens_utc < until_utc]
