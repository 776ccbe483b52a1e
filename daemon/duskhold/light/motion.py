"""How far things move in the picture while the shutter is open: cloud, stars, moon, walkers, a lighthouse's flashes.

Rates are pixels per second on the sensor at the middle of a rectilinear picture, from geometry alone. Where there
are two pictures, a measured shift is better than any of these.
"""

import math
from dataclasses import dataclass
from typing import Final

SIDEREAL_RAD_PER_S: Final = 2.0 * math.pi / 86164.0905
"""Turn of the Earth under the stars; one sidereal day is 86164.0905 s (from memory)."""
MOON_RAD_PER_S: Final = math.radians(360.0) / 89428.0
"""Mean apparent turn of the moon: one lunar day of 24 h 50 min 28 s (from memory)."""
MOON_WIDTH_RAD: Final = math.radians(0.5182)
"""Mean apparent width of the moon, 31.1 minutes of arc (from memory)."""
SLOWEST_CLOUD_PX_PER_S: Final = 1e-4
"""What is slower draws no streak in any night: a hundredth of the width of a picture takes a week."""


@dataclass(frozen=True, slots=True)
class Lens:
    """Focal length and distance between pixels."""

    focal_mm: float
    pixel_um: float

    @property
    def pixels_per_radian(self) -> float:
        """At the middle of the picture."""
        return self.focal_mm * 1000.0 / self.pixel_um


def cloud_distance_m(height_m: float, altitude_deg: float) -> float:
    """How far away a cloud is that stands `height_m` up at this altitude over the horizon."""
    return height_m / math.sin(math.radians(altitude_deg))


def cloud_px_per_s(lens: Lens, wind_m_per_s: float, height_m: float, altitude_deg: float) -> float:
    """Shift of a cloud that crosses the view: f v / D. One that comes towards the camera shifts about half as much."""
    return lens.pixels_per_radian * wind_m_per_s / cloud_distance_m(height_m, altitude_deg)


def shift_px_per_s(shift_px: float, between_s: float) -> float:
    """Rate from two pictures: the length of the shift over the time between them."""
    assert between_s > 0.0, "two pictures are taken at two times"
    return abs(shift_px) / between_s


def time_for_streak_s(px_per_s: float, frame_width_px: int, share: float) -> float:
    """Seconds until something has drawn a streak of this share of the picture's width."""
    return share * frame_width_px / px_per_s


def streak_share(px_per_s: float, frame_width_px: int, open_s: float) -> float:
    """Length of the streak as a share of the picture's width."""
    return px_per_s * open_s / frame_width_px


def star_px_per_s(lens: Lens, declination_deg: float = 0.0) -> float:
    """Trail of a star at the middle of the picture; fastest at the celestial equator."""
    return lens.pixels_per_radian * SIDEREAL_RAD_PER_S * math.cos(math.radians(declination_deg))


def star_time_s(lens: Lens, trail_px: float, declination_deg: float = 0.0) -> float:
    """Longest time for stars to trail no more than `trail_px`."""
    return trail_px / star_px_per_s(lens, declination_deg)


def star_loose_s(focal_mm: float) -> float:
    """Longest time for stars as points by the habit of 500 over the focal length (common practice, no source)."""
    return 500.0 / focal_mm


def moon_px_per_s(lens: Lens, declination_deg: float = 0.0) -> float:
    """Trail of the moon at the middle of the picture."""
    return lens.pixels_per_radian * MOON_RAD_PER_S * math.cos(math.radians(declination_deg))


def moon_widths(open_s: float) -> float:
    """How many of its own widths the moon moves."""
    return open_s * MOON_RAD_PER_S / MOON_WIDTH_RAD


def walker_share(open_s: float, width_m: float = 0.5, pace_m_per_s: float = 1.4) -> float:
    """Share of the exposure for which a walking person covers one point (width and pace: common practice)."""
    return min(1.0, width_m / pace_m_per_s / open_s)


def wave_times_s(period_s: float) -> dict[str, tuple[float, float]]:
    """Times of each look of waves, by name, from what part of a wave passes meanwhile (common practice, no source).

    A tenth of a period keeps the wash's direction, up to half of one draws streaks of receding foam, one or two
    soften the water, four to ten make mist of it.
    """
    parts = {"wash": (0.08, 0.12), "foam-streaks": (0.2, 0.5), "soft-water": (1.0, 2.0), "mist": (4.0, 10.0)}
    return {name: (shortest * period_s, longest * period_s) for name, (shortest, longest) in parts.items()}


def flash_multiples_s(period_s: float, shortest_s: float, longest_s: float) -> tuple[float, ...]:
    """Times of whole flash periods between two bounds, so that frames match."""
    first = max(1, math.ceil(shortest_s / period_s - 1e-9))
    last = math.floor(longest_s / period_s + 1e-9)
    return tuple(count * period_s for count in range(first, last + 1))


def nearest_flash_multiple_s(period_s: float, wanted_s: float) -> float:
    """The time of whole flash periods nearest to the wanted one, at least one period."""
    return max(1, round(wanted_s / period_s)) * period_s
