"""The light of a clear sky at a place as a curve over time: its level, its rate and its integral."""

import math
from datetime import datetime, timedelta

from duskhold.light.place import Place
from duskhold.light.skybodies import moon_face, moon_position, sun_position
from duskhold.light.skylight import (
    MOON_ROWS,
    face_dex,
    moon_row,
    moon_slope_stops_per_deg,
    sun_illuminance_lx,
    sun_row,
    sun_slope_stops_per_deg,
)
from duskhold.light.track import AltitudeTrack

_PANEL_S = 120.0
_JOINT_S = 0.05
_FACE_STEP_S = 3600.0
_STOPS_PER_DEX = math.log2(10.0)
_NODE = math.sqrt(0.6)  # three-point Gauss-Legendre rule


class SkyCurve:
    """Illuminance of sun and moon in lux over seconds from `zero_utc`, by the almanac's table."""

    def __init__(self, place: Place, zero_utc: datetime) -> None:
        self._zero_utc = zero_utc
        self._sun = AltitudeTrack(sun_position, place, zero_utc)
        self._moon = AltitudeTrack(moon_position, place, zero_utc)
        self._faces: dict[int, float] = {}
        self._panels: dict[int, float] = {}

    def sun_altitude_deg(self, at_s: float) -> float:
        """Airless altitude of the sun's centre."""
        return self._sun.altitude_deg(at_s)

    def level(self, at_s: float) -> float:
        """Illuminance in lux."""
        return sun_illuminance_lx(self._sun.altitude_deg(at_s)) + self._moon_lx(at_s)

    def rate_stops_per_min(self, at_s: float) -> float:
        """How fast the light changes: the slope of the table's rows times the bodies' motion; positive brightens."""
        sun_lx = sun_illuminance_lx(self._sun.altitude_deg(at_s))
        moon_lx = self._moon_lx(at_s)
        sun_rate = sun_slope_stops_per_deg(self._sun.altitude_deg(at_s)) * self._sun.slope_deg_per_min(at_s)
        return (sun_lx * sun_rate + moon_lx * self._moon_rate(at_s)) / (sun_lx + moon_lx)

    def dose(self, from_s: float, to_s: float) -> float:
        """Integral of the level between two instants, in lux seconds."""
        first, last = math.ceil(from_s / _PANEL_S), math.floor(to_s / _PANEL_S)
        if first > last:
            return self._integral(from_s, to_s)
        whole = math.fsum(self._panel(index) for index in range(first, last))
        return self._integral(from_s, first * _PANEL_S) + whole + self._integral(last * _PANEL_S, to_s)

    def _moon_lx(self, at_s: float) -> float:
        altitude_deg = self._moon.altitude_deg(at_s)
        row = moon_row(altitude_deg)
        if row is None:
            return 0.0
        step, rest = divmod(at_s, _FACE_STEP_S)
        here, after = self._face(int(step)), self._face(int(step) + 1)
        face = here + (after - here) * rest / _FACE_STEP_S
        return float(10.0 ** (MOON_ROWS[row].dex(altitude_deg) + face))

    def _moon_rate(self, at_s: float) -> float:
        step = int(at_s // _FACE_STEP_S)
        waxing = (self._face(step + 1) - self._face(step)) * _STOPS_PER_DEX * 60.0 / _FACE_STEP_S
        slope = moon_slope_stops_per_deg(self._moon.altitude_deg(at_s))
        return slope * self._moon.slope_deg_per_min(at_s) + waxing

    def _face(self, step: int) -> float:
        if step not in self._faces:
            at_utc = self._zero_utc + timedelta(seconds=step * _FACE_STEP_S)
            self._faces[step] = face_dex(moon_face(at_utc))
        return self._faces[step]

    def _panel(self, index: int) -> float:
        if index not in self._panels:
            self._panels[index] = self._integral(index * _PANEL_S, (index + 1) * _PANEL_S)
        return self._panels[index]

    def _integral(self, from_s: float, to_s: float) -> float:
        if to_s - from_s > _JOINT_S and self._rows(from_s) != self._rows(to_s):
            middle = (from_s + to_s) / 2.0
            return self._integral(from_s, middle) + self._integral(middle, to_s)
        centre, half = (from_s + to_s) / 2.0, (to_s - from_s) / 2.0
        sides = self.level(centre - _NODE * half) + self.level(centre + _NODE * half)
        return half * (5.0 * sides + 8.0 * self.level(centre)) / 9.0

    def _rows(self, at_s: float) -> tuple[int, int | None]:
        # The table steps where its rows meet, so a quadrature panel must not span a joint. The sun's floor counts.
        sun_deg = self._sun.altitude_deg(at_s)
        return sun_row(sun_deg) + (sun_deg < -18.0), moon_row(self._moon.altitude_deg(at_s))
