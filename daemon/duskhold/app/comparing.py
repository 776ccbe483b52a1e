"""What each frame of an evening is compared with, and what follows from where it stands.

The newest base frame; where an evening takes none, its first good long frame, whose tone is the one that is kept. A
fault that this one has itself, such as a drop, can be seen in none of the others, and is never said of them.

1. A frame that lies elsewhere (moved, another view, another zoom) is a fault once. Where the next one lies where that
   one did, whoever was asked left it so, or the ground does not give further: that view stays. The frame is kept, said
   to lie elsewhere, and what follows is compared with it, unless something else is wrong with it, too.
2. Between two long frames clouds have gone their way for half an hour. Added light and spots count only where the last
   good long frame before this one has them not either.
3. Behind other filters another cast is no fault, nor are lighter corners behind fewer of them.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from duskhold.app.judging import Judge, Verdict, act_of, line_of
from duskhold.app.picture_choice import picture_among
from duskhold.frames.gauge import Gauged
from duskhold.frames.verdict import BASE_FRAME, FIRST_LONG
from duskhold.frames.worker import MeasuringFailed
from duskhold.journal.entry import Frame, Outcome
from duskhold.journal.journal import Journal
from duskhold.plan.evening_pixels import BURNT_STOPS
from duskhold.plan.evening_words import Act, Measured
from duskhold.plan.role import Role

FIRST_OF_VIEW = f"{FIRST_LONG} of this view"
_PLACE = frozenset({"moved", "zoom", "framing"})
_UNSTEADY = _PLACE | {"moved_during"}
_PASSING = frozenset({"leak", "lamp", "spots", "step"})
_DARK_SHARE = 0.01
"""With less of a mid-tone a frame shows too little for others to be compared with it. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A frame whose picture is at hand. `wanted_stops` is the level that was wanted of it, against the tone that is
    kept; `opens_series`: a person chose its time, and its tone is that one. `filters` is None where nobody knows.
    """

    frame_id: str
    role: Role
    path: Path
    wanted_stops: float = 0.0
    opens_series: bool = False
    filters: frozenset[str] | None = None


def shown_of(outcome: Outcome, role: Role, decision: Mapping[str, Any], planned_s: float | None) -> Shown | None:
    """A frame by its record; None without a picture."""
    path = picture_among(outcome.files)
    if path is None:
        return None
    opens_series = decision.get("chosen_by") == "person" and role is Role.LONG
    wanted_stops = float(decision.get("wanted_stops") or 0.0)
    if opens_series and planned_s and outcome.open_s:
        wanted_stops = math.log2(outcome.open_s / planned_s)  # closed early, it is darker than the tone that was meant
    named = decision.get("filters")
    return Shown(outcome.frame_id, role, path, wanted_stops, opens_series, None if named is None else frozenset(named))


def frame_shown(frame: Frame) -> Shown | None:
    """The same of a frame of the journal."""
    if frame.outcome is None or frame.asked.role not in (Role.BASE, Role.SCOUT, Role.LONG):
        return None
    return shown_of(frame.outcome, Role(frame.asked.role), frame.asked.decision, frame.asked.planned_s)


def is_plain(gauged: Gauged) -> bool:
    """Whether others can be compared with a frame: neither burnt nor black."""
    is_burnt = gauged.at_least and gauged.share >= 2.0**BURNT_STOPS
    return gauged.share >= _DARK_SHARE and not is_burnt


class Comparer:
    """One evening's frames in order. `again_within_s` is how much one verdict may have taken for another look."""

    def __init__(self, judge: Judge, again_within_s: float, now_s: Callable[[], float] = time.monotonic) -> None:
        self._judge, self._again_within_s, self._now_s = judge, again_within_s, now_s
        self.reference: Shown | None = None
        self.against = BASE_FRAME
        self._zero_stops = 0.0
        self._elsewhere: Shown | None = None
        self._good: Shown | None = None

    def begins(self, shown: Shown, gauged: Gauged | None = None) -> bool:
        """Whether the others are compared with this frame from now on: a base frame, or a long one where there is no
        other or a person chose its time, if it `is_plain`. Without `gauged` its picture is asked for that.
        """
        may = shown.role is Role.LONG and (shown.opens_series or self.reference is None)
        found = shown.role is Role.BASE or (may and self._shows_plainly(shown, gauged))
        if found:
            self.begin(shown)
        return found

    def _shows_plainly(self, shown: Shown, gauged: Gauged | None) -> bool:
        try:
            return is_plain(self._judge.gauge(shown.path, None) if gauged is None else gauged)
        except MeasuringFailed:
            return False  # and the next one is asked

    def begin(self, shown: Shown, against: str = FIRST_LONG) -> None:
        """From now on frames are compared with this one; a long frame may be the first `against` another view."""
        self.reference, self._elsewhere, self._good = shown, None, None
        is_base = shown.role is Role.BASE
        self.against = BASE_FRAME if is_base else against
        self._zero_stops = 0.0 if is_base else shown.wanted_stops

    def forget(self) -> None:
        """Another series: nothing of this one is compared with it."""
        self.reference = self._elsewhere = self._good = None

    def compare(self, shown: Shown) -> Verdict | None:
        """Its verdict; None where there is nothing to compare it with."""
        if self.reference is None or shown.role not in (Role.LONG, Role.SCOUT) or shown.opens_series:
            return None
        began_s = self._now_s()
        verdict = self._ask(self.reference, shown, self.against)
        if verdict.trouble is not None:
            return verdict
        if self._now_s() - began_s <= self._again_within_s:
            verdict = self._where(self._lasting(verdict, shown), shown)
        self._note(shown, verdict.codes, verdict.stands, verdict.level_error_stops)
        return verdict

    def follow(self, shown: Shown, body: Mapping[str, Any]) -> None:
        """A frame whose verdict is in the record already."""
        if body.get("reason") is not None:
            return
        codes = frozenset(str(one["code"]) for one in (body.get("measured") or {}).get("verdict", ()))
        self._note(shown, codes, bool(body.get("stands")), body.get("level_error_stops"))

    def _note(self, shown: Shown, codes: frozenset[str], stands: bool, level_error_stops: float | None) -> None:
        is_long = shown.role is Role.LONG
        if stands and is_long and codes <= _PLACE:
            self.begin(shown, FIRST_OF_VIEW)
            self._zero_stops = shown.wanted_stops + (0.0 if "framing" in codes else level_error_stops or 0.0)
            return
        self._elsewhere = shown if codes & _PLACE else None
        if is_long and not codes:
            self._good = shown

    def _ask(self, reference: Shown, shown: Shown, against: str) -> Verdict:
        ignored = _ignored(reference, shown)
        if shown.role is Role.SCOUT:
            # Its level is the evening's own business: it proves the filters by it.
            return self._judge.judge_scout(reference.path, shown.path, None, against, ignored)
        expected_stops = shown.wanted_stops - self._zero_stops
        return self._judge.judge(reference.path, shown.path, None, expected_stops, against, ignored)

    def _lasting(self, verdict: Verdict, shown: Shown) -> Verdict:
        """Without what the last good frame has as well: a cloud, not the glass."""
        passing = verdict.codes & _PASSING
        if not passing or self._good is None or self.against == BASE_FRAME:
            return verdict
        again = self._ask(self._good, shown, self.against)
        return verdict if again.trouble is not None else verdict.without(passing - again.codes)

    def _where(self, verdict: Verdict, shown: Shown) -> Verdict:
        """A view that stays after it was told is the view from now on."""
        if not verdict.codes & _PLACE or self._elsewhere is None:
            return verdict
        again = self._ask(self._elsewhere, shown, self.against)
        if again.trouble is not None or again.codes & _UNSTEADY:
            return verdict
        if "framing" in verdict.codes:
            verdict = verdict.without(verdict.codes - _PLACE - again.codes)  # two views tell nothing else of each other
        others = [finding for finding in verdict.findings if finding.code not in _PLACE]
        said = verdict.line.split(":")[0]
        line = f"{said}, as the frame before: so it stands now, and what follows is compared with this frame"
        if others:
            line = f"{said}, as the frame before; {line_of(others, self.against)}"
        return replace(verdict, act=act_of(others), line=line, stands=True)


def told_with(told: Measured, verdict: Verdict) -> Measured:
    """What a frame tells, with its verdict."""
    # A frame whose level is known is measured; that nobody could compare it with another one is no finding.
    act = Act.KEEP if verdict.trouble is not None else verdict.act
    return replace(told, act=act, codes=tuple(finding.code for finding in verdict.findings), text=verdict.line)


def go_over(comparer: Comparer, journal: Journal, earlier: Sequence[Frame]) -> None:
    """What an evening's earlier frames leave to compare the next one with. Raises `JournalError`."""
    for frame in earlier:
        shown = frame_shown(frame)
        if shown is None or frame.outcome is None or not shown.path.exists():
            continue
        body = frame.outcome.report.get("verdict")
        if isinstance(body, Mapping):
            if comparer.reference is None:
                _begin_as(comparer, journal, body)
            comparer.follow(shown, body)
        else:
            comparer.begins(shown)


def _begin_as(comparer: Comparer, journal: Journal, body: Mapping[str, Any]) -> None:
    """By the frame that another one was compared with, older than those that are gone over."""
    frame = journal.frame(str(body.get("base_frame_id")))
    shown = None if frame is None else frame_shown(frame)
    if shown is not None and shown.path.exists():
        comparer.begin(shown, str(body.get("compared_with", FIRST_LONG)))


def _ignored(reference: Shown, shown: Shown) -> tuple[str, ...]:
    """What other filters do is no fault."""
    if reference.role is Role.BASE or reference.filters is None or shown.filters is None:
        return ()
    if shown.filters == reference.filters:
        return ()
    return ("cast", "corners") if shown.filters < reference.filters else ("cast",)
