"""Depth of field and diffraction: what is sharp, and the apertures that keep near and far sharp in a print.

H = f^2 / (N c) + f; near = s (H - f) / (H + s - 2 f); far = s (H - f) / (H - s), infinite from s = H (Ray, Applied
Photographic Optics, from memory). Airy disc diameter 2.44 lambda N. Lengths in mm, distances in m.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

WAVELENGTH_NM: Final = 550.0
PRINT_BLUR_MM: Final = 0.2
"""Largest blur in a print that reads as sharp at 25 cm: common practice, no source."""
READING_DISTANCE_M: Final = 0.25


@dataclass(frozen=True, slots=True)
class Sharpness:
    """What is sharp when focused at `focus_m`; `far_m` is None for infinity."""

    hyperfocal_m: float
    focus_m: float
    near_m: float
    far_m: float | None


@dataclass(frozen=True, slots=True)
class ApertureRange:
    """F-numbers from `widest` (near and far just sharp) to `narrowest` (diffraction just allowed).

    None when the two exclude each other: then no aperture does it, and focus is to be stacked.
    """

    widest: float | None
    narrowest: float | None
    depth_asks_f_number: float
    diffraction_allows_f_number: float
    blur_mm: float


def hyperfocal_m(focal_mm: float, f_number: float, blur_mm: float) -> float:
    """The nearest focus at which infinity is still sharp; `blur_mm` is the circle allowed on the sensor."""
    return (focal_mm**2 / (f_number * blur_mm) + focal_mm) / 1000.0


def sharp_between(focal_mm: float, f_number: float, blur_mm: float, focus_m: float) -> Sharpness:
    """Near and far limits; the focus lies beyond the focal length."""
    f_m = focal_mm / 1000.0
    assert focus_m > f_m, "the focus lies beyond the focal length"
    hyperfocal = hyperfocal_m(focal_mm, f_number, blur_mm)
    near_m = focus_m * (hyperfocal - f_m) / (hyperfocal + focus_m - 2.0 * f_m)
    far_m = focus_m * (hyperfocal - f_m) / (hyperfocal - focus_m) if focus_m < hyperfocal else None
    return Sharpness(hyperfocal, focus_m, near_m, far_m)


def airy_diameter_um(f_number: float, wavelength_nm: float = WAVELENGTH_NM) -> float:
    """Diameter of the first dark ring on the sensor, in micrometres."""
    return 2.44 * wavelength_nm / 1000.0 * f_number


def print_blur_mm(sensor_width_mm: float, print_width_mm: float, viewed_m: float = READING_DISTANCE_M) -> float:
    """Circle allowed on the sensor for a print of this width seen from `viewed_m`."""
    return PRINT_BLUR_MM * (viewed_m / READING_DISTANCE_M) * sensor_width_mm / print_width_mm


def apertures_for(focal_mm: float, near_m: float, blur_mm: float) -> ApertureRange:
    """F-numbers that keep everything from `near_m` to infinity sharp, focused at the hyperfocal distance.

    There the near limit is half the hyperfocal distance, so f^2 / (N c) + f <= 2 near; and the Airy disc may not
    be larger than the circle.
    """
    room_mm = 2000.0 * near_m - focal_mm
    asks = focal_mm**2 / (blur_mm * room_mm) if room_mm > 0.0 else math.inf
    allows = blur_mm * 1000.0 / airy_diameter_um(1.0)
    fits = asks <= allows
    return ApertureRange(asks if fits else None, allows if fits else None, asks, allows, blur_mm)


def marked_within(marks: Iterable[float], found: ApertureRange) -> tuple[float, ...]:
    """Which true f-numbers of a dial lie in the range."""
    if found.widest is None or found.narrowest is None:
        return ()
    return tuple(mark for mark in marks if found.widest <= mark <= found.narrowest)
