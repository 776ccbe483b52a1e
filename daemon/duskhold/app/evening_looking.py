"""What the pixels of a simulated evening's frames tell of the light."""

from __future__ import annotations

import math

from duskhold.app.evening_world import LAND
from duskhold.frames.measure import MeasureError
from duskhold.frames.picture_file import PictureUnread, read_picture
from duskhold.frames.reading import area_weights, measure_area
from duskhold.frames.store import StoredFile
from duskhold.light.dials import APERTURE, ISO
from duskhold.light.reading import scene_level_stops
from duskhold.plan import evening_words as words
from duskhold.plan.evening_words import Event, Take
from duskhold.plan.outing import Outing
from duskhold.shutter.report import ShutterReport


def look_at(
    outing: Outing, take: Take, report: ShutterReport, files: tuple[StoredFile, ...]
) -> tuple[Event, float | None]:
    """The level of the land as a meter would say it, the filters taken off as they were set.

    With it, how many stops above a mid-tone the land came out; None where nothing could be measured.
    """
    raw = next((one.path for one in files if one.path.suffix.lower() == ".dng"), None)
    if raw is None or report.open_s is None:
        return words.NotMeasured(report.frame_id, "no raw file came home"), None
    try:
        picture = read_picture(raw)
        level = measure_area(picture, area_weights(picture, LAND))
    except (PictureUnread, MeasureError, OSError) as error:
        return words.NotMeasured(report.frame_id, str(error)), None
    glass = outing.kit.glass(take.filters)
    share = level.rgb[1] / picture.mid_tone
    level_ev = scene_level_stops(
        share,
        APERTURE.true_value(take.aperture),
        report.open_s,
        ISO.true_value(take.iso),
        glass.stops_rgb[1] if glass.stops_rgb else glass.stops,
    )
    return words.Measured(report.frame_id, level_ev, level.sigma_stops, level.at_least), math.log2(share)
