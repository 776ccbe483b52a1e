"""The world of a rehearsed evening: its light and weather, its true filters, and a person who comes late or never."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from duskhold.camera.body import SimulatedBody
from duskhold.camera.card import MemoryCard
from duskhold.camera.faults import Faults
from duskhold.camera.shot import BodyProfile
from duskhold.camera.stage import Channels, ConstantLight, Light, PassingCloud, SkyLight, Stage
from duskhold.frames.measure import Area
from duskhold.light.filters import Filter
from duskhold.light.skycurve import SkyCurve
from duskhold.plan.at_home import begins_at_home_utc
from duskhold.plan.moments import begins_utc
from duskhold.plan.outing import Dark, LightStart, Outing

CAP: Channels = (24.0, 24.0, 24.0)
"""What a lens cap lets through: nothing that a frame could show."""
LAND = Area(0.0, 0.516, 1.0, 0.546)
"""Where levels are read: hills, since neither water nor cloud moves there."""
_LEAD = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class Weather:
    """Clouds as (minutes after the start, how long they take to pass, stops they take)."""

    clouds: tuple[tuple[float, float, float], ...] = ()
    temperature_c: float = 8.0


@dataclass(frozen=True, slots=True)
class Habits:
    """How the person answers: after so many seconds; `absent` never; `careless` is how often without having done it.

    `resumes` is how often a person comes to a fault and says to go on.
    """

    answer_s: tuple[float, float] = (25.0, 50.0)
    absent: float = 0.0
    careless: float = 0.0
    resumes: float = 1.0


@dataclass(frozen=True, slots=True)
class World:
    """One evening from one seed: where the clock begins, what is before the lens, and what may go wrong."""

    seed: int
    begins_utc: datetime
    weather: Weather = Weather()
    habits: Habits = Habits()
    faults: Faults = field(default_factory=Faults)
    filter_error_stops: float = 0.05
    profile: BodyProfile = field(default_factory=lambda: BodyProfile(width=192, height=128))
    disk_free_bytes: int = 200_000_000_000


def world_of(outing: Outing, seed: int) -> World:
    """An ordinary evening for this outing: thin cloud that passes now and then, a person who comes in time."""
    chance = random.Random(f"world:{seed}")
    clouds = tuple(
        (chance.uniform(-10.0, 60.0), chance.uniform(6.0, 15.0), chance.uniform(-0.3, 0.4))
        for _ in range(chance.randrange(3))
    )
    return World(seed, begins_utc(outing) - _LEAD, Weather(clouds, chance.uniform(-5.0, 15.0)))


def build_stage(outing: Outing, world: World) -> Stage:
    """What is before the lens. The base exposure of the outing is right when the outing starts, clouds apart; that of a
    start by the light when a clear sky comes to it.
    """
    start_s = (begins_at_home_utc(outing) - world.begins_utc).total_seconds()
    light: Light = ConstantLight()
    if outing.place is not None:
        curve = SkyCurve(outing.place, world.begins_utc)
        light = SkyLight(curve, curve.level(start_s))
    for after_min, spread_min, stops in world.weather.clouds:
        light = PassingCloud(light, start_s + after_min * 60.0, spread_min * 60.0, stops)
    kit = outing.kit
    stage = Stage(light, 1.0, world.begins_utc, world.weather.temperature_c)
    stage.reference_s = _base_s(outing, start_s) * (8.0 / kit.aperture.true_value) ** 2 * kit.iso.true_value / 100.0
    stage.fit(true_channels(outing, world, kit.filters if outing.want.first_s is not None else ()))
    return stage


def build_body(outing: Outing, world: World) -> SimulatedBody:
    """A body on its tripod before this evening, with a card in memory."""
    profile = world.profile
    if outing.dark is Dark.IN_CAMERA:
        profile = replace(profile, settings={**profile.settings, "dark_frame": "on"})
    return SimulatedBody(profile, build_stage(outing, world), MemoryCard(), world.faults, world.seed)


def true_channels(outing: Outing, world: World, names: tuple[str, ...]) -> Channels:
    """What these filters truly take: the bag's word, and a little more or less that nobody knows of."""
    off = sum(random.Random(f"{world.seed}:{name}").gauss(0.0, world.filter_error_stops) for name in names)
    return _channels(outing.kit.glass(names), off)


def _channels(glass: Filter, off: float) -> Channels:
    red, green, blue = glass.stops_rgb or (glass.stops,) * 3
    return (red + off, green + off, blue + off)


def _base_s(outing: Outing, start_s: float) -> float:
    want, start = outing.want, outing.start
    if isinstance(start, LightStart):
        return start.base_s
    if want.base is not None and outing.place is None:
        return want.base.true_s
    if want.first_s is not None:
        return want.first_s / math.exp2(outing.kit.glass(outing.kit.filters).stops)
    assert want.base is not None, "an outing has one or the other"
    return want.base.true_s
