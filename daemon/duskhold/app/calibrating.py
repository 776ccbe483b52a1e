"""Measuring a filter: three frames, bare - filtered - bare, from files or from whoever takes them; and checking one.

Raw files only, over the middle of the picture, with the true times behind the dial.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum
from pathlib import Path

from duskhold.app.bag import Calibration, keep_measurement
from duskhold.app.folders import Folders
from duskhold.frames.measure import Area, measure_level
from duskhold.frames.shooting import Shooting, shooting_of
from duskhold.frames.store import StoredFile
from duskhold.light.density import COUNT_SIGMA_STOPS, Exposed, NotMeasurable, differs_stops, measure_density, seen_stops

MIDDLE = Area(0.276, 0.276, 0.724, 0.724)
"""The central fifth of the picture."""
CLIPPED_SHARE_MAX = 0.001
LONGEST_ON_DIAL_S = 32.0
_EXIF_STEP_SIGMA_S = 0.29
_LN2 = 0.6931471805599453


class Step(Enum):
    """The three frames in their order."""

    BARE_BEFORE = "bare, before"
    FILTERED = "through the filter"
    BARE_AFTER = "bare, after"


Taking = Callable[[Step], Path]
"""Gives the raw file of a step: a list of files that are there, or a person and a camera."""


@dataclass(frozen=True, slots=True)
class Seen:
    """Stops of a filter as a pair shows them, and as stored; `off_stops` when that is worth asking about."""

    seen_stops: float
    stored_stops: float
    off_stops: float | None


def from_files(files: tuple[Path, Path, Path]) -> Taking:
    """Files that were taken already."""
    by_step = dict(zip(Step, files, strict=True))
    return by_step.__getitem__


def calibrate(
    folders: Folders, name: str, take: Taking, area: Area = MIDDLE, times_s: tuple[float, float, float] | None = None
) -> tuple[Calibration, tuple[StoredFile, ...]]:
    """Measure a filter and keep the measurement with its evidence; `times_s` are true times known better than Exif's.

    Raises `NotMeasurable`, `MeasureError`, `ExposureUnknown`, `StoreError`, `OSError`.
    """
    paths = [take(step) for step in Step]
    told = [shooting_of(path, timedelta(0)) for path in paths]
    known = times_s or tuple(one.open_s for one in told)
    begun = [_begun(path, one) for path, one in zip(paths, told, strict=True)]
    frames = [
        _exposed(path, one, open_s, (began - begun[0]).total_seconds(), area, times_s is None)
        for path, one, open_s, began in zip(paths, told, known, begun, strict=True)
    ]
    before, filtered, after = frames
    found = measure_density(before, filtered, after)
    return keep_measurement(folders, name, found, paths, begun[1])


def check_pair(base: Path, scout: Path, stored_stops: float, area: Area = MIDDLE, drift_stops: float = 0.0) -> Seen:
    """Compare what a base frame and one through the filter show with the stored value. Raises as `calibrate`."""
    told = [shooting_of(path, timedelta(0)) for path in (base, scout)]
    frames = [_exposed(path, one, one.open_s, 0.0, area, True) for path, one in zip((base, scout), told, strict=True)]
    stops = seen_stops(frames[0], frames[1], drift_stops)
    return Seen(stops, stored_stops, differs_stops(stored_stops, stops))


def _begun(path: Path, told: Shooting) -> datetime:
    if told.taken_utc is None:
        raise NotMeasurable(f"{path.name} does not say when it was taken")
    return told.taken_utc.astimezone(UTC)


def _exposed(path: Path, told: Shooting, open_s: float, began_s: float, area: Area, from_exif: bool) -> Exposed:
    level = measure_level(path, area)
    if level.clipped_share > CLIPPED_SHARE_MAX:
        raise NotMeasurable(f"{path.name} is clipped on {100.0 * level.clipped_share:.1f} % of the area: expose less")
    rounded = _EXIF_STEP_SIGMA_S / open_s / _LN2 if from_exif and open_s > LONGEST_ON_DIAL_S else 0.0
    return Exposed(
        (level.red, level.green, level.blue),
        open_s,
        began_s + open_s / 2.0,
        gain=told.iso / 100.0 / told.f_number**2,
        sigma_stops=(COUNT_SIGMA_STOPS**2 + rounded**2) ** 0.5,
    )
