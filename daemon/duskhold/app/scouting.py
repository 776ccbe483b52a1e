"""The scout frame on a body: taken at a high ISO at the dial, with everything put back as it stood, and judged."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from duskhold.app.base_frames import (
    BaseFailed,
    Seen,
    Taken,
    dial_of,
    opened_utc_of,
    put_dial_back,
    set_dial,
    take_at_dial,
)
from duskhold.app.exposing import Watch
from duskhold.app.fitted import Fitted, Through, look_at_filter
from duskhold.app.judging import Judge, Verdict
from duskhold.app.station import Station
from duskhold.camera.port import Setting
from duskhold.light.filters import Filter
from duskhold.plan.decision import Drift
from duskhold.plan.role import Role
from duskhold.plan.scout import isos_for, plan_scout
from duskhold.shutter.holder_link import HolderRefused, HolderSilent


@dataclass(frozen=True, slots=True)
class Scouted:
    """A scout frame, the level against the base frame that was expected of it, and what it says."""

    taken: Taken
    expected_stops: float
    verdict: Verdict
    filter_check: Fitted | None

    def body(self) -> dict[str, object]:
        """As the long frame's record has it."""
        verdict = self.verdict
        return {
            "frame_id": self.taken.outcome.frame_id,
            "open_s": self.taken.shooting.open_s,
            "iso": self.taken.shooting.iso,
            "expected_stops": self.expected_stops,
            "good": verdict.good,
            "act": verdict.act.value,
            "line": verdict.line,
            "codes": [finding.code for finding in verdict.findings],
            "filter_check": None if self.filter_check is None else self.filter_check.body(),
        }


def scout(station: Station, base: Seen, glass: Filter, drift: Drift, judging: Judge, watch: Watch) -> Scouted:
    """Take a scout frame through the filter and judge it against the base frame; `drift` is how the light goes on.

    Raises `BaseFailed`, `JournalError`, `HolderRefused` or `HolderSilent`; `BaseFailed` too when the ISO could not be
    put back, since a long frame would be ruined by it.
    """
    shooting = base.taken.shooting
    with _lifted_iso(station, isos_for(shooting.open_s, shooting.iso, glass.stops)) as iso:
        plan = plan_scout(shooting.open_s, shooting.iso, glass.stops, iso or shooting.iso)
        dial = dial_of(station)
        try:
            set_dial(station, plan.mark.name)
            taken = take_at_dial(station, Role.SCOUT, watch)
        finally:
            put_dial_back(station, dial)
    gain_stops = math.log2(plan.iso / shooting.iso)

    def seen(level_stops: float) -> Fitted:
        through = Through(opened_utc_of(taken.outcome), plan.mark.true_value, level_stops, gain_stops)
        return look_at_filter(glass, shooting.open_s, base.reading.taken_utc, through, drift)

    expected_stops = seen(0.0).off_stops
    verdict = judging.judge_scout(base.taken.path, taken.path, expected_stops)
    level_stops = verdict.measured.get("level_error_stops")
    return Scouted(taken, expected_stops, verdict, None if level_stops is None else seen(level_stops))


@contextmanager
def _lifted_iso(station: Station, isos: tuple[float, ...]) -> Iterator[float | None]:
    """The first of these ISO that the body takes, and afterwards the one that was; None where it takes none."""
    before = station.link.settings().get(Setting.ISO)
    chosen = None if before is None else _first_taken(station, isos)
    try:
        yield chosen
    except BaseException:
        if chosen is not None and before is not None:
            with suppress(HolderRefused, HolderSilent):
                station.link.change(Setting.ISO, before)
        raise
    if chosen is not None and before is not None:
        _put_back(station, before)


def _first_taken(station: Station, isos: tuple[float, ...]) -> float | None:
    for iso in isos:
        with suppress(HolderRefused):
            station.link.change(Setting.ISO, f"{iso:.0f}")
            return iso
    return None


def _put_back(station: Station, before: str) -> None:
    try:
        station.link.change(Setting.ISO, before)
    except HolderRefused as refused:
        raise BaseFailed(f"the ISO could not be put back to {before} after the scout frame: {refused}") from refused
