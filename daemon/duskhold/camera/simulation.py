"""What the simulated camera stands before, as options, and the camera made from them."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from duskhold.camera.body import SimulatedBody
from duskhold.camera.card import FolderCard, MemoryCard
from duskhold.camera.faults import read_faults
from duskhold.camera.hand import Hand, channels_of
from duskhold.camera.record import BodyRecord
from duskhold.camera.shot import BodyProfile
from duskhold.camera.simulated import SimulatedCamera
from duskhold.camera.stage import Channels, ConstantLight, FadingLight, Light, SkyLight, Stage
from duskhold.light.filters import parse_filters, stack
from duskhold.light.place import parse_place


@dataclass(frozen=True, slots=True)
class SimulationOptions:
    """Everything about a simulated evening, in words that survive JSON.

    By itself: a dusk at which f/8 and ISO 100 ask for 1/16 s without a filter, and a 6 stop filter is fitted, so
    that 4 s are the metered time and held frames of 2 to 8 s come out well. `place` (LAT,LON) takes the light
    from the sky's own curve from `start_utc` on, where `base_s` holds; otherwise it changes by a constant rate.
    `fitted_file` names a file that says what a person fits later on (`camera.hand`).
    Without `card` the pictures stay in memory. `log` takes the body's own log. `profile` is of `BodyProfile`.
    """

    card: str | None = None
    log: str | None = None
    seed: int = 1
    start_utc: str | None = None
    place: str | None = None
    rate_stops_per_min: float = 0.0
    base_s: float = 0.0625
    filters: str = "6"
    fitted_file: str | None = None
    temperature_c: float = 10.0
    dark_frame: str = "off"
    faults: tuple[str, ...] = ()
    profile: Mapping[str, Any] = field(default_factory=dict)


def read_simulation(options: Mapping[str, object]) -> SimulationOptions:
    """Options from a mapping as JSON gives it. Raises `ValueError` for a name that is none."""
    known = {each.name for each in fields(SimulationOptions)}
    if unknown := sorted(set(options) - known):
        raise ValueError(
            f"{', '.join(unknown)}: no option of the simulated camera, which has {', '.join(sorted(known))}"
        )
    read: dict[str, Any] = dict(options)
    read["faults"] = tuple(read.get("faults", ()))
    return SimulationOptions(**read)


def build_simulated(
    options: SimulationOptions, now: Callable[[], float] | None = None, sleep: Callable[[float], None] = time.sleep
) -> SimulatedCamera:
    """A camera before that evening, which begins now. Real time (CLOCK_BOOTTIME) unless a clock is given.

    Raises `ValueError` for options that cannot be.
    """
    now = now or _boot_time_s
    body = build_body(options)
    zero_s = now()
    record = BodyRecord(Path(options.log), zero_s) if options.log else None
    hand = Hand(Path(options.fitted_file), read_channels(options.filters)) if options.fitted_file else None
    return SimulatedCamera(body, now, sleep, zero_s, record, hand)


def build_body(options: SimulationOptions) -> SimulatedBody:
    """The body before that evening; its time 0 is whenever it is first asked. Raises `ValueError`."""
    profile = _profile(options)
    card = MemoryCard() if options.card is None else FolderCard(Path(options.card))
    if profile.render and options.card is not None:
        # A card on disk is written while the caller waits for the picture: what can be done before is done now.
        from duskhold.camera.negative import warm

        warm(profile)
    return SimulatedBody(profile, _stage(options), card, read_faults(options.faults, options.seed), options.seed)


def _profile(options: SimulationOptions) -> BodyProfile:
    given = dict(options.profile)
    settings = {"dark_frame": options.dark_frame, **given.pop("settings", {})}
    known = {each.name for each in fields(BodyProfile)}
    if unknown := sorted(set(given) - known):
        raise ValueError(f"{', '.join(unknown)}: not in a body's profile, which has {', '.join(sorted(known))}")
    return BodyProfile(settings=settings, **given)


def _stage(options: SimulationOptions) -> Stage:
    start_utc = datetime.fromisoformat(options.start_utc) if options.start_utc else datetime.now(UTC)
    if start_utc.tzinfo is None:
        raise ValueError(f"{options.start_utc!r} has no offset from UTC; write it with a Z")
    stage = Stage(_light(options, start_utc), options.base_s, start_utc, options.temperature_c)
    stage.fit(read_channels(options.filters))
    return stage


def _light(options: SimulationOptions, start_utc: datetime) -> Light:
    if options.place is None:
        return FadingLight(options.rate_stops_per_min) if options.rate_stops_per_min else ConstantLight()
    from duskhold.light.skycurve import SkyCurve  # loads the sun and the moon, which few simulations need

    curve = SkyCurve(parse_place(options.place), start_utc)
    return SkyLight(curve, curve.level(0.0))


def read_channels(labels: str) -> Channels:
    """Stops per channel of filters as on their labels, with commas between. Raises `ValueError`."""
    return channels_of(stack(parse_filters(labels)))


def _boot_time_s() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)
