"""The evening of the rehearsal: a place that does not exist, the light of its sky, and the filter in the bag."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from duskhold.camera.simulated import SimulatedCamera
from duskhold.camera.simulation import SimulationOptions, build_simulated
from duskhold.camera.stage import Channels, Light, PassingCloud, SkyLight
from duskhold.frames.measure import Area
from duskhold.light.dials import SHUTTER
from duskhold.light.filters import Filter, parse_filter
from duskhold.light.place import Place
from duskhold.light.skycurve import SkyCurve

NAME = "Ardvane Narrows"
PLACE = Place(56.04, -5.93)
BEGINS_UTC = datetime(2027, 3, 9, 17, 20, tzinfo=UTC)

FIRST_BASE_S = 4560.0
SECOND_BASE_S = 4920.0
OPENING_S = 4995.0
"""When the frames begin, in seconds of the evening: six minutes of drift, then 75 s of cold fingers and a filter."""

BASE_DIAL = "1/8"
FILTER = parse_filter("10.05/10.20/10.32")
"""A filter of ten stops by its label, as measured of this one."""
SKY = Area(0.2, 0.05, 0.8, 0.25)
"""Where levels are read in every frame: open sky, no lamps, no water that an open shutter smooths.

Of the painted clouds as many drift into it as out of it while the frames are taken.
"""

# Neither before nor after: around the inflection of a passing cloud its own drift is nearly constant.
_CLOUD_HALFWAY_S = 4880.0
_CLOUD_SPREAD_S = 900.0
_CLOUD_STOPS = (0.6, 1.2)
_UNDER_MID_TONE_STOPS = 0.7  # so that the brighter first base frame does not clip in the glow
_WIDTH, _HEIGHT = 1152, 768


@dataclass(frozen=True, slots=True)
class Scene:
    """One evening from one seed. Times in seconds from `BEGINS_UTC`."""

    seed: int
    clear: SkyLight
    light: Light

    def utc(self, at_s: float) -> datetime:
        return BEGINS_UTC + timedelta(seconds=at_s)

    def build_camera(self, serial: str, now: Callable[[], float], sleep: Callable[[float], None]) -> SimulatedCamera:
        """A camera before this evening, which begins now. Two of them see the same light."""
        options = SimulationOptions(
            seed=self.seed,
            start_utc=BEGINS_UTC.isoformat(),
            filters="none",
            base_s=SHUTTER.true_value(BASE_DIAL) * 2.0**_UNDER_MID_TONE_STOPS,
            profile={"serial": serial, "width": _WIDTH, "height": _HEIGHT},
        )
        camera = build_simulated(options, now, sleep)
        camera.body.stage.light = self.light
        return camera


def make_scene(seed: int) -> Scene:
    """The evening of this seed: the clear sky is always the same, the thin cloud that comes or goes is not."""
    chance = random.Random(f"rehearsal:{seed}")
    curve = SkyCurve(PLACE, BEGINS_UTC)
    depth_stops = chance.choice((-1.0, 1.0)) * chance.uniform(*_CLOUD_STOPS)
    middle_s = _CLOUD_HALFWAY_S + _CLOUD_SPREAD_S
    veiled = PassingCloud(SkyLight(curve, 1.0), middle_s, _CLOUD_SPREAD_S, depth_stops)
    reference_lx = veiled.level(SECOND_BASE_S)
    light = PassingCloud(SkyLight(curve, reference_lx), middle_s, _CLOUD_SPREAD_S, depth_stops)
    return Scene(seed, SkyLight(curve, curve.level(SECOND_BASE_S)), light)


def stops_rgb(filter_: Filter) -> Channels:
    """What a filter takes from red, green and blue."""
    return filter_.stops_rgb or (filter_.stops,) * 3
