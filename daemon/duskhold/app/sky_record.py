"""Where sun and moon stood while a frame was open, for its record."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from duskhold.light.place import Place
from duskhold.plan.stamp import utc_from

_THOUSANDTHS = 3


def sky_of(record: Mapping[str, object], place: Place | None) -> dict[str, dict[str, float]] | None:
    """At `open`, `middle` and `close`: altitude (airless) and azimuth of sun and moon in degrees.

    `open` alone where the closing is not known; None without a place, or when nothing was opened.
    """
    opened = record.get("opened_utc")
    if place is None or not isinstance(opened, str):
        return None
    opened_utc = utc_from(opened)
    closed_utc = _closed(record, opened_utc)
    moments = {"open": opened_utc}
    if closed_utc is not None:
        moments |= {"middle": opened_utc + (closed_utc - opened_utc) / 2, "close": closed_utc}
    return {name: _at(place, moment) for name, moment in moments.items()}


def _closed(record: Mapping[str, object], opened_utc: datetime) -> datetime | None:
    closed, open_s = record.get("closed_utc"), record.get("open_s")
    if isinstance(closed, str):
        return utc_from(closed)
    return opened_utc + timedelta(seconds=open_s) if isinstance(open_s, (int, float)) else None


def _at(place: Place, moment: datetime) -> dict[str, float]:
    from duskhold.light.skybodies import moon_position, sun_position

    sun, moon = sun_position(place, moment), moon_position(place, moment)
    return {
        "sun_altitude_deg": round(sun.altitude_deg, _THOUSANDTHS),
        "sun_azimuth_deg": round(sun.azimuth_deg, _THOUSANDTHS),
        "moon_altitude_deg": round(moon.altitude_deg, _THOUSANDTHS),
        "moon_azimuth_deg": round(moon.azimuth_deg, _THOUSANDTHS),
    }
