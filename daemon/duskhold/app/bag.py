"""The bag as it is known today: the settings' filters with the newest measurement of each, and its evidence.

A measurement is a folder of its own, `filters/NAME/20260502-143000/`, with `measurement.json` beside copies of the
three frames byte for byte. Nothing there is ever replaced; the newest date counts, in the folder or in the settings.
"""

import json
import os
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from duskhold.app.folders import Folders
from duskhold.app.settings import FilterSettings, Settings
from duskhold.frames.store import Arrival, StoredFile
from duskhold.light.density import Measured
from duskhold.light.filters import BadFilter, Filter, parse_filter
from duskhold.plan.bag import MOST_FILTERS, BagFilter
from duskhold.plan.budget import MEASURED_FILTER_SIGMA_STOPS, filter_sigma_stops
from duskhold.plan.role import Role
from duskhold.plan.stamp import utc_from, utc_text

MEASUREMENT = "measurement.json"
POLARISER_SIGMA_STOPS = 0.2
"""Of a polariser that nobody measured: 1.3 to 2 stops are quoted, common practice, no source."""
FORMAT = 1


class MeasurementUnread(Exception):
    """A stored measurement that cannot be understood; the message names the file."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """A filter as measured on a day, with where its evidence lies."""

    name: str
    measured_utc: datetime
    stops_rgb: tuple[float, float, float]
    sigma_stops: float
    cast_red: float
    cast_blue: float
    drift_stops: float
    folder: Path


def bag_of(settings: Settings, folders: Folders) -> tuple[BagFilter, ...]:
    """Every filter of the settings, as measured last. Raises `MeasurementUnread`."""
    return tuple(_in_bag(one, newest_of(folders, one.name)) for one in settings.filters)


def bag_as_stated(filters: Sequence[FilterSettings]) -> tuple[BagFilter, ...]:
    """Filters as their owner states them, whatever was measured here."""
    return tuple(_in_bag(one, None) for one in filters)


def filters_from(bag: Sequence[BagFilter], labels: str) -> tuple[Filter, ...]:
    """What is fitted after the base frame: a list such as `strong,d0.9`, names in the bag or labels.

    Raises `BadFilter`, also for more than two, for one that is named twice, and for a polariser.
    """
    if labels.strip().lower() in ("", "none"):
        return ()
    words = [word.strip() for word in labels.split(",")]
    found = tuple(_named_or_labelled(bag, word) for word in words)
    if len(found) > MOST_FILTERS:
        raise BadFilter(f"{labels!r} is {len(found)} filters: at most {MOST_FILTERS} are stacked")
    twice = next((one.name for one in bag if words.count(one.name) > 1), None)
    if twice is not None:
        raise BadFilter(f"{twice!r} is in the bag once, and named twice")
    return found


def _named_or_labelled(bag: Sequence[BagFilter], word: str) -> Filter:
    named = next((one for one in bag if one.name == word), None)
    if named is None:
        try:
            return parse_filter(word)
        except BadFilter as error:
            known = ", ".join(one.name for one in bag)
            raise BadFilter(f"{error}; in the bag: {known}" if known else str(error)) from None
    if named.polariser is not None:
        raise BadFilter(
            f"{word!r} is a polariser: it goes on before the base frame, which meters what it takes; where it went on "
            f"afterwards all the same, write its stops, {named.glass.stops:g}"
        )
    return named.glass


def newest_of(folders: Folders, name: str) -> Calibration | None:
    """The newest stored measurement of a filter. Raises `MeasurementUnread`."""
    found = [_read(path) for path in sorted(_home(folders, name).glob(f"*/{MEASUREMENT}"))]
    return max(found, key=lambda one: one.measured_utc, default=None)


def keep_measurement(
    folders: Folders, name: str, found: Measured, frames: Sequence[Path], measured_utc: datetime
) -> tuple[Calibration, tuple[StoredFile, ...]]:
    """Store a measurement and copies of its three frames (bare, filtered, bare).

    Raises `StoreError` and `OSError`; the frames themselves are only read.
    """
    folder = _home(folders, name) / f"{measured_utc.astimezone(UTC):%Y%m%d-%H%M%S}"
    roles = (("bare-1", Role.BASE), ("filtered", Role.SCOUT), ("bare-2", Role.BASE))
    files = tuple(_copied(path, folder, word, role) for path, (word, role) in zip(frames, roles, strict=True))
    kept = Calibration(
        name, measured_utc, found.stops_rgb, found.sigma_stops, found.cast_red, found.cast_blue, found.drift_stops,
        folder,
    )  # fmt: skip
    _write(folder / MEASUREMENT, calibration_body(kept) | {"evidence": [file.record() for file in files]})
    return kept, files


def calibration_body(one: Calibration) -> dict[str, Any]:
    """As it is stored and printed."""
    red, green, blue = one.stops_rgb
    return {
        "format": FORMAT,
        "name": one.name,
        "measured_utc": utc_text(one.measured_utc),
        "stops": {"red": red, "green": green, "blue": blue},
        "sigma_stops": one.sigma_stops,
        "cast": {"red": one.cast_red, "blue": one.cast_blue},
        "drift_stops": one.drift_stops,
        "folder": str(one.folder),
    }


def _in_bag(one: FilterSettings, measured: Calibration | None) -> BagFilter:
    polariser = "its loss is a constant; fit it before the base frame" if one.polariser else None
    glass = one.filter()
    label_sigma = POLARISER_SIGMA_STOPS if one.polariser else filter_sigma_stops(parse_filter(one.label))
    sigma = MEASURED_FILTER_SIGMA_STOPS if one.measured_stops else label_sigma
    known = BagFilter(one.name, glass, sigma, one.measured_on, one.infrared, polariser)
    if measured is None or (one.measured_stops and _day(one.measured_on) > measured.measured_utc.date()):
        return known
    red, green, blue = measured.stops_rgb
    newer = Filter(one.name, green, (red, green, blue))
    return replace(known, glass=newer, sigma_stops=measured.sigma_stops, measured_on=measured.measured_utc.date())


def _day(on: date | None) -> date:
    return on or date.min


def _home(folders: Folders, name: str) -> Path:
    safe = "".join(letter if letter.isalnum() or letter in "-_." else "_" for letter in name).lstrip(".") or "filter"
    return folders.data / "filters" / safe


def _copied(path: Path, folder: Path, word: str, role: Role) -> StoredFile:
    with path.open("rb") as source, Arrival(folder, f"{word}-{path.name}", role, path.stat().st_size) as arrival:
        with os.fdopen(os.dup(arrival.descriptor), "wb") as target:
            shutil.copyfileobj(source, target)
        return arrival.keep()


def _write(path: Path, body: dict[str, Any]) -> None:
    with path.open("x", encoding="utf-8") as file:
        json.dump(body, file, indent=2, allow_nan=False)
        file.write("\n")
        file.flush()
        os.fsync(file.fileno())


def _read(path: Path) -> Calibration:
    try:
        body = json.loads(path.read_text(encoding="utf-8"))
        stops, cast = body["stops"], body["cast"]
        return Calibration(
            name=str(body["name"]),
            measured_utc=utc_from(body["measured_utc"]),
            stops_rgb=(float(stops["red"]), float(stops["green"]), float(stops["blue"])),
            sigma_stops=float(body["sigma_stops"]),
            cast_red=float(cast["red"]),
            cast_blue=float(cast["blue"]),
            drift_stops=float(body["drift_stops"]),
            folder=path.parent,
        )
    except (ValueError, KeyError, TypeError) as error:
        raise MeasurementUnread(f"{path} is no measurement of a filter: {error}") from error
