"""What kind of body it is, and what one opening of its shutter was: all that a picture is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from duskhold.camera.stage import Channels
from duskhold.light.dials import APERTURE, ISO, SHUTTER, Dial

BULB = "bulb"


def _between(dial: Dial, lowest: float, highest: float) -> tuple[str, ...]:
    return tuple(mark.name for mark in dial.thirds if lowest - 1e-9 <= mark.true_value <= highest + 1e-9)


CHOICES: dict[str, tuple[str, ...]] = {
    "mode": ("manual", "aperture", "program"),
    "shutter": (*_between(SHUTTER, 1 / 4096, 32), BULB),
    "aperture": _between(APERTURE, 2.0**1.5, 2.0**4.5),
    "iso": _between(ISO, 100, 6400),
    "quality": ("raw", "jpeg", "raw+jpeg"),
    "focus": ("manual", "single"),
    "target": ("card", "memory"),
    "dark_frame": ("off", "on"),
    "white_balance": ("daylight", "auto"),
    "drive": ("single", "continuous", "self_timer"),
    "bracketing": ("off", "on"),
    "exposure_delay": ("off", "on"),
    "mirror_lock": ("off", "on"),
    "auto_iso": ("off", "on"),
    "stabiliser": ("off", "on"),
    "electronic_shutter": ("off", "on"),
    "live_view": ("off", "on"),
}
"""What each setting takes. The dials go from 30 (32 s) to 1/4000, f/2.8 to f/22, ISO 100 to 6400."""


@dataclass(frozen=True, slots=True)
class BodyProfile:
    """What kind of body this is. `render=False` stores empty files, for nights of decisions only.

    Without `dial_has_bulb` the shutter dial ends at 30, and a held exposure asks nothing of it.
    """

    model: str = "Simulated body"
    serial: str = "SIM-000001"
    width: int = 1536
    height: int = 1024
    render: bool = True
    open_latency_s: float = 0.060
    close_latency_s: float = 0.035
    latency_sigma_s: float = 0.002
    storing_s: float = 0.8
    exif_step_s: float = 1.0
    battery_percent: float = 96.0
    battery_percent_per_min: float = 0.4
    clock_offset_s: float = 0.0
    zone_offset_min: int = 0
    dial_has_bulb: bool = True
    settings: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Shot:
    """One opening of the shutter as it really was: everything that a picture is made from.

    `exposure_rgb` is what came through filters and aperture, 1.0 puts a mid-tone at its place at ISO 100.
    `taken` is the start as the body's own clock has it, without a zone; `number` goes on over the lives of
    a body whose card stays, so that no two pictures have the same noise.
    """

    number: int
    opened_s: float
    closed_s: float
    taken: datetime
    exposure_rgb: Channels
    f_number: float
    iso: float
    aperture_mark: str
    dial_s: float | None
    dark_frame: bool
    temperature_c: float
    seed: int
    spoiled: bool

    @property
    def open_s(self) -> float:
        return self.closed_s - self.opened_s
