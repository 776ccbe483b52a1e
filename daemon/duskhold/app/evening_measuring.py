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
from duskhold.plan.evening_pixels import scene_ev
from duskhold.plan.evening_words import Measured, NotMeasured, Take
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
        from duskhold.app.comparing import shown_of, told_with

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
        begins = comparer.begins(shown, gauged)
        if begins or (verdict is not None and verdict.stands):
            self._look_ahead(judge, station, shown.path)
        if not math.isfinite(level_ev):
            return _untold(outcome, "its level is no number")
        line = _FIRST_LINE if begins and take.role is Role.LONG else ""
        told = Measured(outcome.frame_id, level_ev, gauged.sigma_stops, gauged.at_least, text=line)
        return told if verdict is None else told_with(told, verdict)

    def _bench(self, station: Station, frame_id: str) -> tuple[Judge, Comparer]:
        """The measuring process, and what frames are compared with: after a restart that is found in the journal."""
        if self._kept is None:
            # Heavy, and not needed while an evening waits for its start.
            from duskhold.app.comparing import Comparer, go_over
            from duskhold.app.judging import Judge

            judge = Judge(patience_s=VERDICT_MAX_S)
            comparer = Comparer(judge, AGAIN_WITHIN_S)
            self._kept = judge, comparer
            earlier = [one for one in recorded_of(station.journal, self._evening_id) if one.asked.frame_id != frame_id]
            go_over(comparer, station.journal, earlier)
            if comparer.reference is not None:
                self._look_ahead(judge, station, comparer.reference.path)
        return self._kept

    def _level_ev(self, take: Take, outcome: Outcome, gauged: Gauged) -> float:
        if gauged.share <= 0.0:
            return DARK_EV
        assert outcome.open_s, "only a frame that was open is measured"
        return scene_ev(self._outing.kit, take, outcome.open_s, gauged.share)

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
