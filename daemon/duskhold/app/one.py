"""One guarded frame: how the light goes on after its base frames, and what of that belongs into its record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path

from duskhold.app.base_frames import Seen
from duskhold.app.check import ask_facts
from duskhold.app.checklist import Item, State, Wanted, judge
from duskhold.app.station import Station
from duskhold.camera.hand import write_fitted
from duskhold.camera.port import Setting
from duskhold.light.filters import NO_FILTER, Filter
from duskhold.light.reading import Reading
from duskhold.light.skyshape import Shape
from duskhold.light.trend import Choice, NoTrend, Trend, fuse
from duskhold.plan.decision import Drift, SteadyDrift, TrendDrift

STEADY = "steady"
_BASES_DIAL = "shutter"  # the dial stands at the base frame's time, and the opening sets bulb by itself


@dataclass(frozen=True, slots=True)
class Course:
    """How the light goes on: what is computed with, the rates side by side, whose word is taken, and why."""

    drift: Drift
    measured_stops_per_min: float | None
    measured_sigma_stops_per_min: float | None
    model_stops_per_min: float | None
    choice: str
    reason: str
    disagreement: str | None = None

    def body(self) -> dict[str, object]:
        """As the record has it."""
        return {
            "measured_stops_per_min": self.measured_stops_per_min,
            "measured_sigma_stops_per_min": self.measured_sigma_stops_per_min,
            "model_stops_per_min": self.model_stops_per_min,
            "choice": self.choice,
            "reason": self.reason,
            "disagreement": self.disagreement,
        }


def course_of(
    bases: Sequence[Seen],
    opens_utc: datetime,
    age_max_s: float,
    shape: Shape | None,
    on_record: Sequence[Reading] = (),
) -> Course:
    """How the light goes on from the newest base frame; `shape` is the clear sky of the place, where it is known.

    `on_record` are readings of the same view from frames before these.
    """
    mark_utc = bases[-1].reading.taken_utc
    readings = [*on_record, *(one.reading for one in bases)]
    trend = fuse(readings, mark_utc, opens_utc, age_max_s, shape)
    if isinstance(trend, NoTrend):
        model = None if shape is None else shape.rate_stops_per_min(mark_utc)
        why = f"{trend.reason}; until then the light is taken for steady"
        return Course(SteadyDrift(0.0), None, None, model, STEADY, why)
    measured = trend.measured_rate
    return Course(
        TrendDrift(trend),
        None if measured is None else measured.value,
        None if measured is None else measured.sigma,
        trend.model_rate,
        trend.choice.value,
        _why(trend),
        trend.disagreement,
    )


def bad_items(station: Station, frames: int, zone: tzinfo | None) -> list[Item]:
    """What is wrong as far as the machine can see; the ISO and the dial are as the person set them.

    Raises `NoBody`, `HolderRefused`, `HolderSilent` or `ProfileDamaged`.
    """
    facts, limits = ask_facts(station, zone), station.settings.limits
    wanted = Wanted(
        frames=frames,
        iso=facts.said.get(Setting.ISO, "100"),
        battery_percent=min(100, limits.battery_reserve_percent + 15),
        disk_reserve_bytes=limits.disk_reserve_mb * 1_000_000,
    )
    items = judge(facts, wanted, {})
    return [item for item in items if item.state is State.BAD and item.item != _BASES_DIAL]


@contextmanager
def bare_lens(station: Station) -> Iterator[None]:
    """The simulated camera's lens is bare, and afterwards as before; at a real camera a person sees to it."""
    fit(station, NO_FILTER)
    try:
        yield
    finally:
        fit(station, None)


def fit(station: Station, glass: Filter | None) -> None:
    """Play the person's hand at the simulated camera: nobody else can fit a filter there. Else nothing."""
    path = station.simulation.get("fitted_file")
    if path is not None:
        write_fitted(Path(str(path)), glass)


def _why(trend: Trend) -> str:
    if trend.used[-1].at_least:
        return "clipped base frames tell no rate: the clear sky of the place is followed"
    if trend.choice is Choice.MODEL:
        return "one base frame tells no rate: the clear sky of the place is followed"
    if trend.choice is Choice.FUSED:
        return "measured and clear sky agree within their doubt: both together"
    if trend.model_rate is None:
        return "measured between the base frames; no place is known to compare with"
    return "measured between the base frames: it wins over the clear sky where they differ"
