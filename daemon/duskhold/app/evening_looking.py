"""What the pixels of a simulated evening's frames tell: the light, and for a rehearsal whether they are good."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from types import TracebackType
from typing import Self

from duskhold.app.comparing import Comparer, shown_of, told_with
from duskhold.app.evening_world import LAND
from duskhold.app.folders import Folders
from duskhold.app.judging import Judge
from duskhold.app.verdict_record import with_verdict
from duskhold.frames.measure import MeasureError
from duskhold.frames.picture_file import PictureUnread, read_picture
from duskhold.frames.reading import area_weights, measure_area
from duskhold.frames.store import StoredFile
from duskhold.journal.entry import Outcome
from duskhold.light.dials import APERTURE, ISO
from duskhold.light.reading import scene_level_stops
from duskhold.plan.evening_words import Effect, Event, Measured, NotMeasured, Take
from duskhold.plan.outing import Outing
from duskhold.shutter.report import ShutterReport

Judging = Callable[[Take, Outcome, Measured], tuple[Measured, Outcome]]
"""What a frame tells and its outcome, as they were, or with its verdict."""


@dataclass(slots=True)
class Log:
    """What an outside eye sees of an evening: every event and effect with its time, for tests and for people."""

    events: list[tuple[datetime, Event]] = field(default_factory=list)
    effects: list[tuple[datetime, Effect]] = field(default_factory=list)
    levels: dict[str, float] = field(default_factory=dict)
    restarts: list[datetime] = field(default_factory=list)


def unjudged(_take: Take, outcome: Outcome, told: Measured) -> tuple[Measured, Outcome]:
    """By its light alone."""
    return told, outcome


class RehearsedJudging:
    """The verdicts that a real evening would give, in its measuring process; a context."""

    def __init__(self, folders: Folders) -> None:
        self._folders = folders
        self._judge = Judge()
        self._comparer = Comparer(self._judge, math.inf)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._judge.__exit__(kind, error, trace)

    def __call__(self, take: Take, outcome: Outcome, told: Measured) -> tuple[Measured, Outcome]:
        shown = shown_of(outcome, take.role, {**take.reasoning, "filters": take.filters}, take.open_s)
        if shown is None:
            return told, outcome
        reference, verdict = self._comparer.reference, self._comparer.compare(shown)
        self._comparer.begins(shown)
        if verdict is None or reference is None:
            return told, outcome
        return told_with(told, verdict), with_verdict(self._folders, outcome, reference.frame_id, verdict)


def look_at(
    outing: Outing, take: Take, report: ShutterReport, files: tuple[StoredFile, ...]
) -> tuple[Measured | NotMeasured, float | None]:
    """The level of the land as a meter would say it, the filters taken off as they were set.

    With it, how many stops above a mid-tone the land came out; None where nothing could be measured.
    """
    raw = next((one.path for one in files if one.path.suffix.lower() == ".dng"), None)
    if raw is None or report.open_s is None:
        return NotMeasured(report.frame_id, "no raw file came home"), None
    try:
        picture = read_picture(raw)
        level = measure_area(picture, area_weights(picture, LAND))
    except (PictureUnread, MeasureError, OSError) as error:
        return NotMeasured(report.frame_id, str(error)), None
    glass = outing.kit.glass(take.filters)
    share = level.rgb[1] / picture.mid_tone
    level_ev = scene_level_stops(
        share,
        APERTURE.true_value(take.aperture),
        report.open_s,
        ISO.true_value(take.iso),
        glass.stops_rgb[1] if glass.stops_rgb else glass.stops,
    )
    return Measured(report.frame_id, level_ev, level.sigma_stops, level.at_least), math.log2(share)
