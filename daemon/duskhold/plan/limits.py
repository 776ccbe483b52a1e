"""The limits of every exposure, checked against each other before any of them is used."""

import math
from dataclasses import dataclass, fields


class BadLimits(ValueError):
    """Two limits contradict each other, or one is no positive number; `field` names the one to change."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field}: {message}")
        self.field = field


@dataclass(frozen=True, slots=True)
class Limits:
    """What an exposure may ask of the camera. The values here are common practice, no source.

    `longest_s` and `shortest_s` bound a held exposure: above, noise and battery; below, the latencies of the lead
    are too large a part of it. `correction_max_stops` bounds what drift may change: past that, another filter or
    aperture is the better answer. `reading_age_max_s` is the age of the metering when the shutter opens.
    `opening_slip_max_s` is how far the opening may be from the one that was computed. `cap_margin_s` is what the
    shutter process may add to an exposure at the very most before it closes whatever happens.
    """

    longest_s: float = 1800.0
    shortest_s: float = 0.2
    correction_max_stops: float = 1.5
    reading_age_max_s: float = 900.0
    opening_slip_max_s: float = 2.0
    cap_margin_s: float = 5.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not (math.isfinite(value) and value > 0.0):
                raise BadLimits(field.name, f"{value:g} is not a positive number")
        if self.shortest_s >= self.longest_s:
            raise BadLimits("shortest_s", f"{self.shortest_s:g} s is not below longest_s, {self.longest_s:g} s")
        if self.opening_slip_max_s >= self.reading_age_max_s:
            raise BadLimits(
                "opening_slip_max_s",
                f"{self.opening_slip_max_s:g} s is not below reading_age_max_s, {self.reading_age_max_s:g} s",
            )
        if self.cap_margin_s >= self.longest_s:
            raise BadLimits("cap_margin_s", f"{self.cap_margin_s:g} s is not below longest_s, {self.longest_s:g} s")
