"""Exposure arithmetic: stops, exposure values, APEX, and the light behind them.

Sources: ISO 2720:1974 (reflected K = 12.5, incident C = 250), ISO 12232 (saturation, standard output, focal
plane), Exif (CIPA DC-008) annex C (APEX). One stop is a factor of two.
"""

import math
from typing import Final

REFLECTED_K: Final = 12.5
"""cd s/m2 per ISO; ISO 2720:1974 allows 10.6 to 13.4."""
INCIDENT_C: Final = 250.0
"""lx s per ISO, flat receptor; ISO 2720:1974."""
FOCAL_PLANE_Q: Final = 0.65
"""Share of the light that a typical lens passes to the focal plane; ISO 12232."""
SATURATION_LX_S: Final = 78.0
"""Focal plane exposure that saturates at ISO 1, in lx s; ISO 12232."""
STANDARD_OUTPUT_LX_S: Final = 10.0
"""Focal plane exposure of the standard output level at ISO 1, in lx s; ISO 12232, from memory."""


def stops_from_factor(factor: float) -> float:
    """Stops of a positive factor: 2 is one stop. Errors: ValueError unless factor > 0."""
    return math.log2(factor)


def factor_from_stops(stops: float) -> float:
    """Factor of a number of stops: one stop is 2."""
    return math.exp2(stops)


def exposure_value(f_number: float, time_s: float) -> float:
    """EV = log2(N^2 / t)."""
    return 2.0 * math.log2(f_number) - math.log2(time_s)


def aperture_value(f_number: float) -> float:
    """APEX Av = log2 N^2."""
    return 2.0 * math.log2(f_number)


def time_value(time_s: float) -> float:
    """APEX Tv = -log2 t."""
    return -math.log2(time_s)


def speed_value(iso: float) -> float:
    """APEX Sv = log2(S / 3.125), so that ISO 100 is 5."""
    return math.log2(iso / 3.125)


def brightness_value(f_number: float, time_s: float, iso: float) -> float:
    """APEX Bv = Av + Tv - Sv."""
    return aperture_value(f_number) + time_value(time_s) - speed_value(iso)


def ev100_from_luminance(luminance_cd_m2: float) -> float:
    """EV at ISO 100 of a luminance in cd/m2 (K = 12.5)."""
    return math.log2(luminance_cd_m2 * 100.0 / REFLECTED_K)


def luminance_from_ev100(ev100: float) -> float:
    """Luminance in cd/m2 that is metered as this EV at ISO 100 (K = 12.5)."""
    return math.exp2(ev100) * REFLECTED_K / 100.0


def ev100_from_illuminance(illuminance_lx: float) -> float:
    """EV at ISO 100 of an illuminance in lux (C = 250)."""
    return math.log2(illuminance_lx * 100.0 / INCIDENT_C)


def illuminance_from_ev100(ev100: float) -> float:
    """Illuminance in lux that is metered as this EV at ISO 100 (C = 250)."""
    return math.exp2(ev100) * INCIDENT_C / 100.0


def metered_time_s(f_number: float, iso: float, luminance_cd_m2: float) -> float:
    """Time in seconds that ISO 2720 gives for a luminance: t = K N^2 / (L S)."""
    return REFLECTED_K * f_number**2 / (luminance_cd_m2 * iso)


def saturation_exposure_lx_s(iso: float) -> float:
    """Focal plane exposure in lx s at which the sensor is full: 78 / S."""
    return SATURATION_LX_S / iso


def standard_output_exposure_lx_s(iso: float) -> float:
    """Focal plane exposure in lx s of the standard output level: 10 / S."""
    return STANDARD_OUTPUT_LX_S / iso


def focal_plane_exposure_lx_s(luminance_cd_m2: float, time_s: float, f_number: float) -> float:
    """H = q L t / N^2 in lx s, with q = 0.65."""
    return FOCAL_PLANE_Q * luminance_cd_m2 * time_s / f_number**2


def headroom_stops() -> float:
    """How far a mid-tone metered with K = 12.5 sits under saturation: 3.263 stops."""
    return math.log2(SATURATION_LX_S / (FOCAL_PLANE_Q * REFLECTED_K))


def aperture_change_stops(metered_f_number: float, shot_f_number: float) -> float:
    """Stops of time that going from one aperture to another costs; positive when stopping down."""
    return 2.0 * math.log2(shot_f_number / metered_f_number)


def iso_change_stops(metered_iso: float, shot_iso: float) -> float:
    """Stops of time that going from one ISO to another saves; positive when raising it."""
    return math.log2(shot_iso / metered_iso)
