"""What a frame of an evening tells: its light, and whether it is good. All measured in other processes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from duskhold.app.base_frames import BaseFailed, picture_of
from duskhold.app.judging import Judge, Verdict, standards_of
from duskhold.app.station import Station
from duskhold.app.verdict_record import keep_verdict
from duskhold.frames.gauge import GaugeFailed, gauge_apart
from duskhold.journal.entry import Outcome
from duskhold.light.dials import APERTURE, ISO, SHUTTER
from duskhold.light.reading import scene_level_stops
from duskhold.plan.evening_words import Act, Measured, NotMeasured, Role, Take
from duskhold.plan.outing import Kind, Outing

DARK_EV = -40.0
"""Said of a frame without light above black: darker than any scene."""


@dataclass(frozen=True, slots=True)
class _Base:
    frame_id: str
    path: Path


class Measuring:
    """For one evening, in one thread; a context, since it keeps the judging process."""

    def __init__(self, outing: Outing) -> None:
        self._outing = outing
        self._base: _Base | None = None
        self._judge: Judge | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._judge is not None:
            self._judge.__exit__(kind, error, trace)
            self._judge = None

    def measure(self, station: Station, take: Take, outcome: Outcome) -> Measured | NotMeasured:
        """The light of this frame by the filters as the bag says them, and its verdict. Raises `JournalError`."""
        try:
            path = picture_of(outcome)
            gauged = gauge_apart(path, None if self._base is None else self._base.path)
        except (BaseFailed, GaugeFailed) as error:
            reason = str(error) + (f" ({outcome.reason})" if outcome.reason else "")
            return NotMeasured(outcome.frame_id, reason)
        verdict = self._judged(station, take, outcome, path)
        if take.role is Role.BASE:
            self._remember(station, outcome, path)
        level_ev = DARK_EV
        if gauged.share > 0.0:
            # A dial's frame by the dial's own true time, a held one by the time that it was really open.
            open_s = SHUTTER.true_value(take.dial) if take.dial is not None else outcome.open_s
            assert open_s, "only a frame that was open is measured"
            f_number, iso = APERTURE.true_value(take.aperture), ISO.true_value(take.iso)
            glass_stops = self._outing.kit.glass(take.filters).stops
            level_ev = scene_level_stops(gauged.share, f_number, open_s, iso, glass_stops)
        if not math.isfinite(level_ev):
            return NotMeasured(outcome.frame_id, "its level is no number")
        told = Measured(outcome.frame_id, level_ev, gauged.sigma_stops, gauged.at_least)
        if verdict is None:
            return told
        codes = tuple(finding.code for finding in verdict.findings)
        # A frame whose level is known is measured; that nobody could compare it with the base frame is no finding.
        act = Act.KEEP if verdict.trouble is not None else Act(verdict.act.value)
        return Measured(outcome.frame_id, level_ev, gauged.sigma_stops, gauged.at_least, act, codes, verdict.line)

    def _judged(self, station: Station, take: Take, outcome: Outcome, path: Path) -> Verdict | None:
        if self._base is None or self._judge is None or take.role not in (Role.LONG, Role.SCOUT):
            return None
        if take.role is Role.SCOUT:
            # Its level is the evening's own business: it proves the filters by it.
            verdict = self._judge.judge_scout(self._base.path, path, None)
        else:
            verdict = self._judge.judge(self._base.path, path, None, self._expected_stops(take))
        keep_verdict(station, outcome, self._base.frame_id, verdict)
        return verdict

    def _expected_stops(self, take: Take) -> float:
        """The level wanted against the base frame: a bracket's step; a share of the fade is not told here."""
        step = take.reasoning.get("step_stops", 0.0)
        is_known = self._outing.want.kind is not Kind.EYE and isinstance(step, (int, float))
        return float(step) if is_known and isinstance(step, (int, float)) else 0.0

    def _remember(self, station: Station, outcome: Outcome, path: Path) -> None:
        self._base = _Base(outcome.frame_id, path)
        if self._judge is None:
            self._judge = Judge(standards_of(station.settings, path))
        self._judge.look_ahead(path)
