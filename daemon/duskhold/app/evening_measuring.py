"""What a frame of an evening tells: its light, and whether it is good. All measured in other processes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from duskhold.app.picture_choice import picture_among
from duskhold.app.station import Station
from duskhold.frames.gauge import Gauged
from duskhold.frames.worker import MeasuringFailed
from duskhold.journal.entry import Outcome
from duskhold.light.dials import APERTURE, ISO, SHUTTER
from duskhold.light.reading import scene_level_stops
from duskhold.plan.evening_words import Act, Measured, NotMeasured, Take
from duskhold.plan.outing import Outing
from duskhold.plan.role import Role

if TYPE_CHECKING:
    from duskhold.app.judging import Judge, Verdict

DARK_EV = -40.0
"""Said of a frame without light above black: darker than any scene."""


VERDICT_MAX_S = 30.0
"""With the level's own patience less than the minute after which the evening gives a measurement up."""


@dataclass(frozen=True, slots=True)
class _Base:
    frame_id: str
    path: Path


class Measuring:
    """For one evening, in one thread; a context, since it keeps the measuring process."""

    def __init__(self, outing: Outing) -> None:
        self._outing = outing
        self._base: _Base | None = None
        self._kept: Judge | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._kept is not None:
            self._kept.__exit__(kind, error, trace)
            self._kept = None

    def measure(self, station: Station, take: Take, outcome: Outcome) -> Measured | NotMeasured:
        """The light of this frame by the filters as the bag says them, and its verdict. Raises `JournalError`."""
        path = picture_among(outcome.files)
        if path is None:
            return _untold(outcome, "no picture came home")
        judge = self._judge()
        try:
            gauged = judge.gauge(path, None if self._base is None else self._base.path)
        except MeasuringFailed as error:
            return _untold(outcome, str(error))
        level_ev = self._level_ev(take, outcome, gauged)
        verdict = self._judged(judge, station, take, outcome, path)
        if take.role is Role.BASE:
            self._remember(judge, station, outcome, path)
        if not math.isfinite(level_ev):
            return _untold(outcome, "its level is no number")
        if verdict is None:
            return Measured(outcome.frame_id, level_ev, gauged.sigma_stops, gauged.at_least)
        codes = tuple(finding.code for finding in verdict.findings)
        # A frame whose level is known is measured; that nobody could compare it with the base frame is no finding.
        act = Act.KEEP if verdict.trouble is not None else verdict.act
        return Measured(outcome.frame_id, level_ev, gauged.sigma_stops, gauged.at_least, act, codes, verdict.line)

    def _judge(self) -> Judge:
        if self._kept is None:
            from duskhold.app.judging import Judge  # heavy, and not needed while an evening waits for its start

            self._kept = Judge(patience_s=VERDICT_MAX_S)
        return self._kept

    def _level_ev(self, take: Take, outcome: Outcome, gauged: Gauged) -> float:
        if gauged.share <= 0.0:
            return DARK_EV
        # A dial's frame by the dial's own true time, a held one by the time that it was really open.
        open_s = SHUTTER.true_value(take.dial) if take.dial is not None else outcome.open_s
        assert open_s, "only a frame that was open is measured"
        f_number, iso = APERTURE.true_value(take.aperture), ISO.true_value(take.iso)
        return scene_level_stops(gauged.share, f_number, open_s, iso, self._outing.kit.glass(take.filters).stops)

    def _judged(self, judge: Judge, station: Station, take: Take, outcome: Outcome, path: Path) -> Verdict | None:
        if self._base is None or take.role not in (Role.LONG, Role.SCOUT):
            return None
        from duskhold.app.verdict_record import keep_verdict

        if take.role is Role.SCOUT:
            # Its level is the evening's own business: it proves the filters by it.
            verdict = judge.judge_scout(self._base.path, path, None)
        else:
            verdict = judge.judge(self._base.path, path, None, self._expected_stops(take))
        keep_verdict(station, outcome, self._base.frame_id, verdict)
        return verdict

    def _expected_stops(self, take: Take) -> float:
        """The level wanted against the base frame: a bracket's step, what of the fade is let through, and the fade
        since the frame whose tone is kept.
        """
        wanted = take.reasoning.get("wanted_stops", 0.0)
        assert isinstance(wanted, (int, float)), wanted
        return float(wanted)

    def _remember(self, judge: Judge, station: Station, outcome: Outcome, path: Path) -> None:
        from duskhold.app.judging import standards_of

        self._base = _Base(outcome.frame_id, path)
        judge.hold_to(standards_of(station.settings, path))
        judge.look_ahead(path)


def _untold(outcome: Outcome, reason: str) -> NotMeasured:
    return NotMeasured(outcome.frame_id, reason + (f" ({outcome.reason})" if outcome.reason else ""))
