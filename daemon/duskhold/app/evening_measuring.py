"""What a frame of an evening tells: its light, and whether it is good. All measured in other processes."""

from __future__ import annotations

import math
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from duskhold.app.settling import recorded_of
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
    from duskhold.app.comparing import Comparer, Shown
    from duskhold.app.judging import Judge, Verdict

DARK_EV = -40.0
"""Said of a frame without light above black: darker than any scene."""


VERDICT_MAX_S = 30.0
"""With the level's own patience less than the minute after which the evening gives a measurement up."""


AGAIN_WITHIN_S = 8.0
"""A verdict that took longer is not looked at a second time, for the same reason."""
_FIRST_LINE = (
    "the first long frame: those that follow are compared with it, so that a fault which it has itself, "
    "such as a drop, is not seen"
)


class Measuring:
    """For one evening, in one thread; a context, since it keeps the measuring process."""

    def __init__(self, outing: Outing, evening_id: str) -> None:
        self._outing, self._evening_id = outing, evening_id
        self._kept: tuple[Judge, Comparer] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._kept is not None:
            self._kept[0].__exit__(kind, error, trace)
            self._kept = None

    def measure(self, station: Station, take: Take, outcome: Outcome) -> Measured | NotMeasured:
        """The light of this frame by the filters as the bag says them, and its verdict. Raises `JournalError`."""
        from duskhold.app.comparing import is_plain, shown_of

        shown = shown_of(outcome, take.role, {**take.reasoning, "filters": take.filters}, take.open_s)
        if shown is None:
            return _untold(outcome, "no picture came home")
        judge, comparer = self._bench(station, outcome.frame_id)
        try:
            gauged = judge.gauge(shown.path, None if comparer.reference is None else comparer.reference.path)
        except MeasuringFailed as error:
            return _untold(outcome, str(error))
        level_ev = self._level_ev(take, outcome, gauged)
        verdict = self._judged(comparer, station, outcome, shown)
        begins = take.role is Role.BASE or (comparer.may_begin(shown) and is_plain(gauged))
        if begins:
            comparer.begin(shown)
        if begins or (verdict is not None and verdict.stands):
            self._look_ahead(judge, station, shown.path)
        if not math.isfinite(level_ev):
            return _untold(outcome, "its level is no number")
        if verdict is None:
            line = _FIRST_LINE if begins and take.role is Role.LONG else ""
            return Measured(outcome.frame_id, level_ev, gauged.sigma_stops, gauged.at_least, text=line)
        codes = tuple(finding.code for finding in verdict.findings)
        # A frame whose level is known is measured; that nobody could compare it with another one is no finding.
        act = Act.KEEP if verdict.trouble is not None else verdict.act
        return Measured(outcome.frame_id, level_ev, gauged.sigma_stops, gauged.at_least, act, codes, verdict.line)

    def _bench(self, station: Station, frame_id: str) -> tuple[Judge, Comparer]:
        """The measuring process, and what frames are compared with: after a restart that is found in the journal."""
        if self._kept is None:
            # Heavy, and not needed while an evening waits for its start.
            from duskhold.app.comparing import Comparer, go_over
            from duskhold.app.judging import Judge

            judge = Judge(patience_s=VERDICT_MAX_S)
            self._kept = judge, Comparer(judge, AGAIN_WITHIN_S)
            earlier = [one for one in recorded_of(station.journal, self._evening_id) if one.asked.frame_id != frame_id]
            go_over(self._kept[1], judge, station.journal, earlier)
            if self._kept[1].reference is not None:
                self._look_ahead(judge, station, self._kept[1].reference.path)
        return self._kept

    def _level_ev(self, take: Take, outcome: Outcome, gauged: Gauged) -> float:
        if gauged.share <= 0.0:
            return DARK_EV
        # A dial's frame by the dial's own true time, a held one by the time that it was really open.
        open_s = SHUTTER.true_value(take.dial) if take.dial is not None else outcome.open_s
        assert open_s, "only a frame that was open is measured"
        f_number, iso = APERTURE.true_value(take.aperture), ISO.true_value(take.iso)
        return scene_level_stops(gauged.share, f_number, open_s, iso, self._outing.kit.glass(take.filters).stops)

    def _judged(self, comparer: Comparer, station: Station, outcome: Outcome, shown: Shown) -> Verdict | None:
        from duskhold.app.verdict_record import keep_verdict

        reference = comparer.reference
        verdict = comparer.compare(shown)
        if verdict is not None:
            assert reference is not None, "it was compared with one"
            keep_verdict(station, outcome, reference.frame_id, verdict)
        return verdict

    def _look_ahead(self, judge: Judge, station: Station, path: Path) -> None:
        from duskhold.app.judging import standards_of

        judge.hold_to(standards_of(station.settings, path))
        judge.look_ahead(path)


def _untold(outcome: Outcome, reason: str) -> NotMeasured:
    return NotMeasured(outcome.frame_id, reason + (f" ({outcome.reason})" if outcome.reason else ""))
