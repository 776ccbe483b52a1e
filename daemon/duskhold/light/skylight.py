"""Light of the clear sky on level ground from the sun's and the moon's altitude, with its analytic slope.

log10 E[lux] = l0 + l1 x + l2 x^2 + l3 x^3 with x = h/90, h the airless altitude in degrees: Explanatory Supplement
to the Astronomical Almanac, 3rd edition 2013, table 12.8 (data: RCA 1974), printed maximum error 0.01 to 0.02
dex. Below -18 degrees the sun's row holds its last value and its slope is zero; the moon counts above -0.8.
Rows meet in steps of up to 0.014 stop, so a slope is the derivative of its row, never a difference.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass
from typing import Final

from duskhold.light.skybodies import MoonFace

DARKEST_SUN_DEG: Final = -18.0
"""Under this altitude the sun's share does not change."""
MOON_COUNTS_DEG: Final = -0.8
"""Under this altitude the moon gives nothing."""

_STOPS_PER_DEX = math.log2(10.0)
_MEAN_PARALLAX_DEG = 0.951


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the table: valid from this altitude in degrees up to the row before it."""

    from_deg: float
    l0: float
    l1: float
    l2: float
    l3: float

    def dex(self, altitude_deg: float) -> float:
        """log10 of the illuminance in lux."""
        x = altitude_deg / 90.0
        return self.l0 + x * (self.l1 + x * (self.l2 + x * self.l3))

    def stops_per_deg(self, altitude_deg: float) -> float:
        """Derivative of the row in stops per degree of altitude."""
        x = altitude_deg / 90.0
        return (self.l1 + x * (2.0 * self.l2 + x * 3.0 * self.l3)) / 90.0 * _STOPS_PER_DEX


SUN_ROWS: Final = (
    Row(20.0, 3.74, 3.97, -4.07, 1.47),
    Row(5.0, 3.05, 13.28, -45.98, 64.33),
    Row(-0.8, 2.88, 22.26, -207.64, 1034.30),
    Row(-5.0, 2.88, 21.81, -258.11, -858.36),
    Row(-12.0, 2.70, 12.17, -431.69, -1899.83),
    Row(DARKEST_SUN_DEG, 13.84, 262.72, 1447.42, 2797.93),
)
MOON_ROWS: Final = (
    Row(20.0, -1.95, 4.06, -4.24, 1.56),
    Row(5.0, -2.58, 12.58, -42.58, 59.06),
    Row(MOON_COUNTS_DEG, -2.79, 24.27, -252.95, 1321.29),
)
_SUN_JOINTS = [row.from_deg for row in reversed(SUN_ROWS)]
_MOON_JOINTS = [row.from_deg for row in reversed(MOON_ROWS)]


def sun_illuminance_lx(altitude_deg: float) -> float:
    """Illuminance from the sun and the sky it lights, in lux."""
    altitude_deg = max(altitude_deg, DARKEST_SUN_DEG)
    return float(10.0 ** SUN_ROWS[sun_row(altitude_deg)].dex(altitude_deg))


def sun_slope_stops_per_deg(altitude_deg: float) -> float:
    """How fast the sun's share changes with its altitude; positive, since higher is brighter."""
    if altitude_deg < DARKEST_SUN_DEG:
        return 0.0
    return SUN_ROWS[sun_row(altitude_deg)].stops_per_deg(altitude_deg)


def moon_illuminance_lx(altitude_deg: float, face: MoonFace) -> float:
    """Illuminance from the moon in lux, for its altitude, phase angle and distance; 0 under -0.8 degree."""
    row = moon_row(altitude_deg)
    if row is None:
        return 0.0
    return float(10.0 ** (MOON_ROWS[row].dex(altitude_deg) + face_dex(face)))


def moon_slope_stops_per_deg(altitude_deg: float) -> float:
    """How fast the moon's share changes with its altitude; 0 where it gives nothing."""
    row = moon_row(altitude_deg)
    return 0.0 if row is None else MOON_ROWS[row].stops_per_deg(altitude_deg)


def face_dex(face: MoonFace) -> float:
    """log10 of what the moon's phase and distance do to its light."""
    f = face.phase_angle_deg
    phase = -8.68e-3 * f - 2.2e-9 * f**4
    return phase + 2.0 * math.log10(face.parallax_deg / _MEAN_PARALLAX_DEG)


def sun_row(altitude_deg: float) -> int:
    """Index of the row of SUN_ROWS that holds for this altitude (the last one below -18 degrees)."""
    return min(len(SUN_ROWS) - 1, len(SUN_ROWS) - bisect_right(_SUN_JOINTS, altitude_deg))


def moon_row(altitude_deg: float) -> int | None:
    """Index of the row of MOON_ROWS that holds for this altitude, None where the moon gives nothing."""
    rows_reached = bisect_right(_MOON_JOINTS, altitude_deg)
    return len(MOON_ROWS) - rows_reached if rows_reached else None
