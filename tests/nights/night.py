"""A simulated night of decisions: the light metered, a frame decided, authorized and held, over and over.

Everything is the product's own but the person, the light and the faults, and all of it comes from one seed. No
picture is rendered. What the shutter did is told by the body's own log, never by our records.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from datetime import UTC, datetime

from duskhold.camera.body import LogLine, SimulatedBody
from duskhold.camera.card import MemoryCard
from duskhold.camera.faults import Faults, Outage, Strike
from duskhold.camera.shot import BodyProfile
from duskhold.camera.simulated import SimulatedCamera
from duskhold.camera.stage import PassingCloud, SkyLight, Stage
from duskhold.light.place import Place
from duskhold.light.skycurve import SkyCurve
from duskhold.plan.command import FrameId, Refused, ShutterCommand, authorize
from duskhold.plan.decision import Change, LightReading, SteadyDrift, solve
from duskhold.plan.limits import Limits
from duskhold.plan.stamp import mint_frame_id
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.holder_link import HolderRefused
from duskhold.shutter.phase import Phase
from duskhold.shutter.report import Exposure, Kind, ShutterReport
from duskhold.shutter.stepped import SteppedShutter

HOURS = 12.0
PLACE = Place(51.3, -9.9)
BEGINS_UTC = datetime(2027, 3, 27, 18, 30, tzinfo=UTC)  # the sun is half a degree up; the night has dusk and dawn
LIMITS = Limits()
LATENCY_S = BodyProfile().close_latency_s - BodyProfile().open_latency_s

_BASE_S = 1 / 32
_METER_SIGMA_STOPS = 0.01
_FILTERS = (13.3, 10.2, 6.2, 3.1, 0.0)
_APERTURES = (("f/8", 0.0), ("f/5.6", -1.0), ("f/4", -2.0), ("f/2.8", -3.0))
_ISOS = (("100", 0.0), ("400", 2.0), ("1600", 4.0), ("6400", 6.0))
# No body opens late here: nobody but the picture could tell, so no record could have the true open time.
_CHANCES = {
    "press_busy": 0.03,
    "press_refused": 0.03,
    "open_ignored": 0.02,
    "open_error": 0.02,
    "release_ignored": 0.05,
    "stop_error": 0.03,
    "event_lost": 0.05,
    "event_late": 0.05,
    "link_drop": 0.05,
    "link_hang": 0.04,
}
_OUTAGES = 8
_OUTAGE_S = (2.0, 200.0)
_LOOK_S = 5.0


@dataclass(frozen=True, slots=True)
class Kit:
    """What the person fits and sets for one frame. `cost_stops` is time against f/8, ISO 100 and no filter."""

    filter_stops: float
    aperture: str
    aperture_stops: float
    iso: str
    iso_stops: float

    def change(self) -> Change:
        return Change(self.filter_stops, self.aperture_stops, self.iso_stops)


KITS = tuple(
    Kit(stops, aperture, aperture_stops, iso, iso_stops)
    for stops in _FILTERS
    for aperture, aperture_stops in _APERTURES
    for iso, iso_stops in _ISOS
    if iso_stops == 0.0 or stops == 0.0  # nobody raises the ISO behind a filter
)


@dataclass(slots=True)
class Told:
    """One frame that was intended: its order, when it was given, and everything that was reported of it."""

    command: ShutterCommand
    kit: Kit
    intended_s: float
    reports: list[ShutterReport] = field(default_factory=list)
    refused: str | None = None


class Night:
    """One night from one seed; `run` it once, then read `told`, `refused`, `outages`, the body's log and `log()`."""

    def __init__(self, seed: int) -> None:
        self._chance = random.Random(f"night:{seed}")
        self.clock = SimulatedClock()
        self.stage = Stage(_light(self._chance), _BASE_S, BEGINS_UTC)
        profile = BodyProfile(render=False, battery_percent_per_min=0.0)
        self.body = SimulatedBody(profile, self.stage, MemoryCard(), _faults(seed), seed)
        self.camera = SimulatedCamera(self.body, self.clock.now_s, self._sleep)
        self._planned = _outages(self._chance)
        self.camera.outages += self._planned
        self.shutter = SteppedShutter(self.camera, self.clock.as_clock(), BEGINS_UTC.timestamp())
        self.told: list[Told] = []
        self.refused: list[Refused] = []
        self._reading: LightReading | None = None

    def run(self, hours: float = HOURS) -> None:
        while self.clock.now_s() < hours * 3600:
            self._frame()
        self._wait_until_ready()
        self.shutter.close()

    def log(self) -> tuple[str, ...]:
        """Everything that was decided, ordered, reported and done, line by line."""
        decided = [repr(each) for each in (*self.refused, *self.told)]
        box = [repr(line) for line in self.shutter.lines]
        return (*decided, *box, *(repr(line) for line in self.body.log))

    def outages(self) -> list[Outage]:
        """Everything that the link suffered: at any time of the night, and after single openings."""
        openings = enumerate(self.lines("opened"), 1)
        return self._planned + [
            out for number, line in openings for out in self.body.faults.outages(number, line.now_s)
        ]

    def lines(self, word: str) -> list[LogLine]:
        """What the body itself has noted."""
        return [line for line in self.body.log if line.word == word]

    def error_stops(self, told: Told, opened_s: float, closed_s: float) -> float:
        """How much brighter than metered an opening was, by the light that truly came in."""
        f_number, iso = 8.0 * math.exp2(told.kit.aperture_stops / 2), 100.0 * math.exp2(told.kit.iso_stops)
        return math.log2(self.stage.exposure_rgb(opened_s, closed_s, f_number)[1] * iso / 100.0)

    # One frame

    def _frame(self) -> None:
        self._wait_until_ready()
        before, reading = self._reading, self._meter()
        self._reading = reading
        if before is None:
            self.shutter.idle(60.0)
            return
        drift = SteadyDrift(_rate_stops_per_min(before, reading))
        kit = self._choose(reading)
        self._wait_until_ready()
        self._set_up(kit)
        decision = solve(reading, kit.change(), drift, self._now_utc(), LIMITS)
        frame_id = mint_frame_id(self._now_utc(), f"{self._chance.randrange(0x10000):04x}")
        order = authorize(FrameId(frame_id), decision, LIMITS, self._now_utc())
        if isinstance(order, Refused):
            self.refused.append(order)
            self.shutter.idle(30.0)
            return
        told = Told(order, kit, self.clock.now_s())
        self.told.append(told)
        self._carry_out(told)

    def _carry_out(self, told: Told) -> None:
        order = told.command
        exposure = Exposure(order.frame_id, Kind.HELD, order.open_s, order.cap_s, LATENCY_S, 0.003, "night")
        try:
            report = self.shutter.expose(exposure)
        except HolderRefused as refused:
            told.refused = refused.code
            return
        told.reports.append(report)
        while not report.settled:
            self.shutter.idle(_LOOK_S)
            latest = self.shutter.machine.reports.get(order.frame_id, report)
            if latest != report:
                report = latest
                told.reports.append(report)
        while self.shutter.machine.phase is Phase.STORING:
            self.shutter.idle(_LOOK_S)  # its pictures are fetched when the body has stored them
        self.shutter.collect(order.frame_id)

    def _meter(self) -> LightReading:
        """A base frame without the filter: the time it would take at f/8 and ISO 100, told a little wrong."""
        light = self.stage.light.level(self.clock.now_s())
        base_s = _BASE_S / light * math.exp2(self._chance.gauss(0.0, _METER_SIGMA_STOPS))
        return LightReading(base_s, self._now_utc())

    def _choose(self, reading: LightReading) -> Kit:
        """Whatever of the bag comes closest to the open time that the person has a mind to now."""
        wish_s = math.exp2(self._chance.uniform(3.0, 8.0))
        self.shutter.idle(self._chance.uniform(20.0, 60.0))
        return min(KITS, key=lambda kit: abs(math.log2(reading.base_s / wish_s) + kit.change().cost_stops))

    def _set_up(self, kit: Kit) -> None:
        now_s = self.clock.now_s()
        self.body.set_value("aperture", kit.aperture, now_s)
        self.body.set_value("iso", kit.iso, now_s)
        self.body.fit((kit.filter_stops,) * 3, now_s)

    def _wait_until_ready(self) -> None:
        while not self.shutter.ready() or self.body.is_busy(self.clock.now_s()):
            machine = self.shutter.machine
            if machine.phase is Phase.RELEASED:
                self.shutter.live_again()  # whoever asks next starts a new process
            elif machine.latched and machine.phase is Phase.READY:
                self.shutter.clear_latch()  # the person has looked
            else:
                self.shutter.idle(_LOOK_S)

    def _now_utc(self) -> datetime:
        return self.stage.utc(self.clock.now_s())

    def _sleep(self, seconds: float) -> None:
        self.clock.sleep_until(self.clock.now_s() + seconds)


def _light(chance: random.Random) -> PassingCloud:
    curve = SkyCurve(PLACE, BEGINS_UTC)
    sky = SkyLight(curve, curve.level(0.0))
    return PassingCloud(sky, chance.uniform(0.0, 3600.0), chance.uniform(600.0, 1800.0), chance.uniform(-1.0, 1.0))


def _faults(seed: int) -> Faults:
    strikes = {name: Strike(chance=chance) for name, chance in _CHANCES.items()}
    return Faults(
        seed=seed,
        link_drop_after_s=5.0,
        link_return_after_s=12.0,
        link_hang_after_s=3.0,
        link_resume_after_s=20.0,
        **strikes,  # type: ignore[arg-type]
    )


def _outages(chance: random.Random) -> list[Outage]:
    """Outages that know nothing of frames, short and long, at any time of the night."""
    begins = sorted(chance.uniform(0.0, HOURS * 3600) for _ in range(_OUTAGES))
    kinds = [chance.choice(("dropped", "hung")) for _ in begins]
    return [Outage(kind, at_s, at_s + chance.uniform(*_OUTAGE_S)) for kind, at_s in zip(kinds, begins, strict=True)]


def _rate_stops_per_min(before: LightReading, after: LightReading) -> float:
    minutes = (after.metered_utc - before.metered_utc).total_seconds() / 60
    return math.log2(before.base_s / after.base_s) / minutes
