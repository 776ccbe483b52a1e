"""Frames judged after they came home: what is wrong, in one plain line, and what to do about it.

For whoever takes frames (`duskhold one`, the evening machine):

    judge(base, long, scout=None, expected_stops=0.0, standards=Standards()) -> Verdict
    judge_scout(base, scout, expected_stops, standards=Standards()) -> Verdict
    with Judge(standards) as judge:      the same two as methods, in one measuring process for a whole evening, and
        judge.look_ahead(base)           the base frame read while the filter is fitted: a scout is judged sooner
    standards_of(settings, base) -> Standards
    act_of(findings) -> Act              STOP, ASK, RETAKE, CORRECT or KEEP, the strongest; ACTS has it by code
    light_in_frame(base_reading, verdict, ...) -> Reading     what a long frame tells of the light, for the trend

All of it is measured in a worker process of the lowest priority, the first to go when memory runs out.
`against` says what a frame is compared with where that is no base frame (`app/comparing.py` chooses it for an evening).
`Verdict.act` is ASK, with `trouble`, when a frame could not be measured: nobody knows whether it is good.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from duskhold.frames.gauge import PATIENCE_S, Gauged, Gauging
from duskhold.frames.glance import Glanced, Glancing
from duskhold.frames.measure import WHOLE, Area
from duskhold.frames.shooting import focal_length_mm
from duskhold.frames.standards import FrameLimits, Rig
from duskhold.frames.verdict import BASE_FRAME, CODES, Finding
from duskhold.frames.worker import MeasuringFailed, Question, Worker
from duskhold.light.reading import Reading
from duskhold.plan.evening_words import Act

if TYPE_CHECKING:
    from duskhold.app.settings import Settings

DEW_ENDS_AT = 0.8
"""With less of the base frame's contrast than this a series ends: dew or spray. Common practice, no source."""
CROPS = 3
_LONG_SIGMA_STOPS = 0.05


ACTS: Mapping[str, Act] = {
    "cap_on": Act.ASK,
    "framing": Act.ASK,
    "filter": Act.ASK,
    "moved": Act.RETAKE,
    "moved_during": Act.RETAKE,
    "zoom": Act.ASK,
    "soft": Act.ASK,
    "clipped": Act.CORRECT,
    "level": Act.CORRECT,
    "dew": Act.ASK,
    "leak": Act.ASK,
    "lamp": Act.RETAKE,
    "spots": Act.ASK,
    "corners": Act.KEEP,
    "step": Act.ASK,
    "cast": Act.KEEP,
    "hot_pixels": Act.KEEP,
}
"""By code of a verdict. Dew past `DEW_ENDS_AT` means STOP."""
assert ACTS.keys() == CODES.keys()


@dataclass(frozen=True, slots=True)
class Standards:
    """What frames are held to: past `limits` they are not good; `rig` lets a shift be said as a leg that sank."""

    limits: FrameLimits = field(default_factory=FrameLimits)
    rig: Rig | None = None
    area: Area | Path = WHOLE


@dataclass(frozen=True, slots=True)
class Verdict:
    """`line` is the worst finding in one plain sentence. `good` is None when the frame could not be measured.

    `level_error_stops` is against the level that was wanted, positive is brighter, None when not told. `measured` are
    all numbers as `duskhold compare --json` has them, `crops_jpeg` what is to be seen of a fault. `against` is what it
    was compared with. `stands`: the view is not that one's, but that of the frame before it, and stays.
    """

    good: bool | None
    act: Act
    line: str
    findings: tuple[Finding, ...]
    level_error_stops: float | None
    measured: Mapping[str, Any]
    wanted_stops: float | None = None
    crops_jpeg: bytes | None = None
    trouble: str | None = None
    against: str = BASE_FRAME
    stands: bool = False

    @property
    def codes(self) -> frozenset[str]:
        """What was found."""
        return frozenset(finding.code for finding in self.findings)

    def without(self, codes: frozenset[str]) -> Verdict:
        """The same without these findings."""
        left = tuple(finding for finding in self.findings if finding.code not in codes)
        if len(left) == len(self.findings):
            return self
        measured = {**self.measured, "verdict": [asdict(finding) for finding in left], "good": not left}
        crops = self.crops_jpeg if left else None
        line = line_of(left, self.against)
        return replace(
            self, good=not left, act=act_of(left), line=line, findings=left, measured=measured, crops_jpeg=crops
        )

    def body(self) -> dict[str, object]:
        """As the record has it."""
        return {
            "good": self.good,
            "act": self.act.value,
            "line": self.line,
            "level_error_stops": self.level_error_stops,
            "wanted_stops": self.wanted_stops,
            "measured": dict(self.measured),
            "reason": self.trouble,
            "compared_with": self.against,
            "stands": self.stands,
        }


class Judge:
    """Judges one evening's frames; a context, since it keeps a measuring process."""

    def __init__(self, standards: Standards | None = None, patience_s: float | None = None) -> None:
        """`patience_s` is how long one verdict may take; by itself, the worker's own."""
        self._standards = standards or Standards()
        self._patience_s = patience_s
        self._worker = Worker()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._worker.__exit__(kind, error, trace)

    def glance(self, picture: Path, sha256: str | None) -> Glanced:
        """A small copy of any frame, and its level. Raises `MeasuringFailed`."""
        return Glanced(**self._worker.ask(Glancing(str(picture), sha256)))

    def hold_to(self, standards: Standards) -> None:
        """From the next frame on, such as once a base frame tells the focal length."""
        self._standards = standards

    def gauge(self, picture: Path, base: Path | None) -> Gauged:
        """The level of any frame over the base frame's area. Raises `MeasuringFailed`."""
        question = Gauging(str(picture), None if base is None else str(base))
        return Gauged(**self._worker.ask(question, PATIENCE_S))

    def look_ahead(self, base: Path) -> None:
        """Read the base frame now, without waiting for it."""
        self._worker.prepare(self._question(base))

    def judge(
        self,
        base: Path,
        long: Path,
        scout: Path | None = None,
        expected_stops: float = 0.0,
        against: str = BASE_FRAME,
        ignored: tuple[str, ...] = (),
    ) -> Verdict:
        """The long frame against its base frame; `expected_stops` is the level that was wanted.

        With `scout` that frame is measured too, and stands in `measured` under its name. `ignored` are codes that are
        no fault between these two.
        """
        named = None if scout is None else str(scout)
        more = {"against": against, "ignored": ignored, "expected_stops": expected_stops}
        return self._verdict(self._question(base, long=str(long), scout=named, **more))

    def judge_scout(
        self,
        base: Path,
        scout: Path,
        expected_stops: float | None,
        against: str = BASE_FRAME,
        ignored: tuple[str, ...] = (),
    ) -> Verdict:
        """The scout frame, before the long frame; `expected_stops` by exposures, filters and drift."""
        more = {"against": against, "ignored": ignored, "scout_expected_stops": expected_stops}
        return self._verdict(self._question(base, scout=str(scout), **more))

    def _question(self, base: Path, **more: Any) -> Question:
        standards = self._standards
        return Question(
            base=str(base),
            area=area_words(standards.area),
            limits=asdict(standards.limits),
            rig=None if standards.rig is None else asdict(standards.rig),
            crops=CROPS,
            **more,
        )

    def _verdict(self, question: Question) -> Verdict:
        try:
            found = self._worker.ask(question, self._patience_s)
        except MeasuringFailed as error:
            line = f"not measured: {error}"
            return Verdict(None, Act.ASK, line, (), None, {}, trouble=str(error), against=question.against)
        crops = found.pop("crops_jpeg", None)
        findings = tuple(Finding(**each) for each in found["verdict"])
        wanted_stops = question.expected_stops if question.long is not None else question.scout_expected_stops
        level = found["level_error_stops"]
        return Verdict(
            good=found["good"],
            act=act_of(findings),
            line=line_of(findings, question.against),
            findings=findings,
            level_error_stops=None if level is None or wanted_stops is None else level - wanted_stops,
            measured=found,
            wanted_stops=wanted_stops,
            crops_jpeg=None if crops is None else base64.b64decode(crops),
            against=question.against,
        )


def standards_of(settings: Settings, base: Path, area: Area | Path = WHOLE) -> Standards:
    """By the settings, with the focal length that the base frame tells."""
    rig = None if settings.rig is None else settings.rig.rig(focal_length_mm(base))
    return Standards(settings.verdict.limits(), rig, area)


def judge(
    base: Path,
    long: Path,
    scout: Path | None = None,
    expected_stops: float = 0.0,
    standards: Standards | None = None,
) -> Verdict:
    """One long frame, in a measuring process of its own."""
    with Judge(standards) as one:
        return one.judge(base, long, scout, expected_stops)


def judge_scout(base: Path, scout: Path, expected_stops: float | None, standards: Standards | None = None) -> Verdict:
    """One scout frame, in a measuring process of its own."""
    with Judge(standards) as one:
        return one.judge_scout(base, scout, expected_stops)


def area_words(area: Area | Path) -> tuple[float, float, float, float] | str:
    """A rectangle, or the file of a weight map, as a question to the measuring process has it."""
    return str(area.absolute()) if isinstance(area, Path) else (area.left, area.top, area.right, area.bottom)


def act_of(findings: Sequence[Finding]) -> Act:
    """The strongest of what the findings ask for."""
    order = list(Act)
    return max((_act(finding) for finding in findings), key=order.index, default=Act.KEEP)


def line_of(findings: Sequence[Finding], against: str = BASE_FRAME) -> str:
    """One plain line, the worst first. What is not compared with a base frame says with what."""
    said = findings[0].text if findings else "good: nothing is past its limit"
    more = f" (and {len(findings) - 1} more)" if len(findings) > 1 else ""
    return said + more + ("" if against == BASE_FRAME or against in said else f"; compared with the {against}")


def light_in_frame(
    base: Reading, verdict: Verdict, exposure_stops: float, opened_utc: datetime, open_s: float
) -> Reading | None:
    """What a long frame tells of the light, for the trend; None when its level was not told.

    `exposure_stops` is how much more it gathers than the base frame at equal light: open time, aperture and ISO,
    less the filters' stops. It is the mean over the open time, and at least that where it is clipped.
    """
    level = verdict.measured.get("level_error_stops")
    if level is None:
        return None
    clipped = any(finding.code == "clipped" for finding in verdict.findings)
    return Reading(
        taken_utc=opened_utc + timedelta(seconds=open_s / 2.0),
        level_stops=base.level_stops + level - exposure_stops,
        sigma_stops=math.hypot(base.sigma_stops, _LONG_SIGMA_STOPS),
        source="long",
        span_s=open_s,
        at_least=clipped or base.at_least,
    )


def _act(finding: Finding) -> Act:
    if finding.code == "dew" and finding.value < DEW_ENDS_AT:
        return Act.STOP
    return ACTS[finding.code]
