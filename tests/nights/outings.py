"""A random outing from a seed, with a random world: place, date, weather, faults, a person, and one crash."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from duskhold.app.evening_world import Habits, Weather, World
from duskhold.camera.faults import Faults, Strike
from duskhold.camera.shot import BodyProfile
from duskhold.light.crossings import Direction
from duskhold.light.dials import APERTURE, ISO, SHUTTER, Dial
from duskhold.light.filters import parse_filter
from duskhold.light.place import Place
from duskhold.light.skycurve import SkyCurve
from duskhold.light.skylight import sun_illuminance_lx
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.moments import begins_utc
from duskhold.plan.outing import (
    AfterLinkLoss,
    BadOuting,
    Base,
    Bounds,
    Dark,
    Doubt,
    Fallback,
    Kind,
    LeaveBy,
    Outing,
    OutingKit,
    Prompting,
    SunStart,
    Want,
)
from duskhold.plan.sky_sense import HORIZON_EV

LONG_FRAMES_MAX = 30
_BAGS = (("10.1",), ("6.2", "3.1"), ("10.2", "6.1", "3.0"), ("9.8", "6.0"))
_STRIKES = {
    "press_busy": 0.02,
    "press_refused": 0.01,
    "open_ignored": 0.01,
    "open_error": 0.01,
    "release_ignored": 0.03,
    "stop_error": 0.02,
    "event_lost": 0.03,
    "event_late": 0.03,
    "pair_reversed": 0.1,
    "link_drop": 0.02,
    "link_hang": 0.01,
}


@dataclass(frozen=True, slots=True)
class Chance:
    """One evening of the thousand."""

    outing: Outing
    world: World
    crash_at_s: float


def chance_of(seed: int) -> Chance:
    """The evening of this seed; places where the sun does not do what is asked are drawn again."""
    draw = random.Random(f"outing:{seed}")
    while True:
        try:
            outing = _outing(draw, seed)
            start_utc = begins_utc(outing)
        except BadOuting:
            continue
        break
    begins = start_utc - timedelta(minutes=10)
    world = World(
        seed, begins, _weather(draw), _habits(draw), _faults(draw, seed), draw.uniform(0.0, 0.15), _profile(draw)
    )
    return Chance(outing, world, draw.uniform(30.0, 3600.0))


def _outing(draw: random.Random, seed: int) -> Outing:
    kind = draw.choice(tuple(Kind))
    place = Place(draw.uniform(-58.0, 58.0), draw.uniform(-180.0, 180.0))
    direction = draw.choice((Direction.DOWN, Direction.DOWN, Direction.UP))
    from_utc = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=draw.randrange(700 * 1440))
    altitude_deg = draw.uniform(-3.0, 1.5) if direction is Direction.DOWN else draw.uniform(-6.0, -2.0)
    start = SunStart(altitude_deg, direction, from_utc)
    bag = tuple(BagFilter(f"f{round(float(label))}", parse_filter(label), 0.03) for label in draw.choice(_BAGS))
    kit = OutingKit(
        bag, (bag[0].name,), _setting(APERTURE, "f/8"), _setting(ISO, "100"),
        tuple(_setting(APERTURE, one) for one in ("f/4", "f/5.6", "f/8", "f/11")),
        tuple(_setting(ISO, one) for one in ("100", "200", "400")),
    )  # fmt: skip
    base = _base(start, place, kit)
    longest_s, dark = draw.uniform(40.0, 240.0), draw.choice(tuple(Dark))
    by_first = kind not in (Kind.WATCH, Kind.PAIRS) and draw.random() < 0.3
    want = Want(
        kind,
        None if by_first else base,
        draw.uniform(5.0, 30.0) if by_first else None,
        draw.uniform(0.3, 0.9) if kind is Kind.EYE else 1.0,
        (-1.0, 0.0, 1.0) if kind is Kind.BRACKET else (),
        draw.uniform(2.0, 20.0),
        draw.uniform(60.0, 240.0),
        draw.choice((1, 2)),
    )
    bounds = Bounds(
        longest_s,
        1.0,
        draw.choice((None, altitude_deg - 6.0 if direction is Direction.DOWN else altitude_deg + 5.0)),
        draw.choice((None, LeaveBy(in_min=draw.uniform(25.0, 90.0), pack_min=draw.uniform(3.0, 12.0)))),
        draw.randrange(2, LONG_FRAMES_MAX),
        draw.uniform(10.0, 20.0),
        1_000_000,
    )
    prompting = Prompting(draw.uniform(60.0, 240.0), draw.uniform(60.0, 240.0), 60.0, draw.choice(tuple(Fallback)))
    return Outing(
        f"Evening {seed}", start, want, kit, place, bounds, dark, 2, prompting, draw.choice(tuple(Doubt)),
        draw.choice(tuple(AfterLinkLoss)),
    )  # fmt: skip


def _base(start: SunStart, place: Place, kit: OutingKit) -> Base:
    """What a meter would say towards the light at the start, on the dial."""
    at_utc = begins_utc(Outing("base", start, Want(Kind.WATCH, Base("1", 1.0)), kit, place))
    level_ev = HORIZON_EV + math.log2(SkyCurve(place, at_utc).level(0.0) / sun_illuminance_lx(0.0))
    mark = SHUTTER.nearest(min(16.0, kit.aperture.true_value**2 / 2.0**level_ev))
    return Base(mark.name, mark.true_value)


def _weather(draw: random.Random) -> Weather:
    clouds = tuple(
        (draw.uniform(-15.0, 60.0), draw.uniform(2.0, 15.0), draw.uniform(-1.0, 1.5)) for _ in range(draw.randrange(4))
    )
    return Weather(clouds, draw.uniform(-10.0, 20.0))


def _habits(draw: random.Random) -> Habits:
    first = draw.uniform(5.0, 60.0)
    return Habits((first, first + draw.uniform(1.0, 300.0)), draw.choice((0.0, 0.0, 0.3, 1.0)), draw.choice((0.0, 0.2)),
                  draw.choice((0.3, 1.0)))  # fmt: skip


def _faults(draw: random.Random, seed: int) -> Faults:
    if draw.random() < 0.3:
        return Faults(seed=seed)
    strikes = {name: Strike(chance=chance) for name, chance in _STRIKES.items()}
    return Faults(
        seed=seed, link_drop_after_s=draw.uniform(0.5, 40.0), link_return_after_s=draw.uniform(2.0, 200.0),
        link_hang_after_s=draw.uniform(0.5, 20.0), link_resume_after_s=draw.uniform(3.0, 40.0),
        card_full_from_s=draw.choice((math.inf, math.inf, math.inf, draw.uniform(600.0, 4000.0))),
        battery_flat_at_s=draw.choice((math.inf, math.inf, math.inf, draw.uniform(600.0, 4000.0))),
        **strikes,  # type: ignore[arg-type]
    )  # fmt: skip


def _profile(draw: random.Random) -> BodyProfile:
    return BodyProfile(
        width=192,
        height=128,
        battery_percent=draw.uniform(40.0, 96.0),
        battery_percent_per_min=draw.uniform(0.2, 1.2),
        settings={"quality": "raw"},
    )


def _setting(dial: Dial, name: str) -> Setting:
    return Setting(name, dial.true_value(name))
