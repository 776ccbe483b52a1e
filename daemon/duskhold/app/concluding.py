"""A told frame written down, its pictures fetched, and the shutter process let off: once, whoever else looks.

The command that exposed, and every later one that finds the frame still waiting, do the same. The first one does it;
the others wait for it, and then only read what it wrote.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

from duskhold.app.belonging import least_s
from duskhold.app.bringing import Brought, bring_home
from duskhold.app.station import Station, stamp_now
from duskhold.journal.entry import Outcome
from duskhold.plan.role import Role
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder_link import HolderSilent
from duskhold.shutter.places import Lock
from duskhold.shutter.report import Outcome as Cut
from duskhold.shutter.report import ShutterReport
from duskhold.shutter.wire import Message

TURN_MAX_S = 600.0  # a frame of many large files over a slow lead
LOOK_EVERY_S = 0.1


def conclude_own(
    station: Station, report: ShutterReport, role: Role, seen: Callable[[Message], None], leave: Callable[[], bool]
) -> Outcome:
    """Conclude the frame that this command exposed, unless another one has just done so; what the journal has.

    The bare report when `leave` came before its turn: whoever has the turn writes it down.
    """
    with taking_turns(station, leave) as is_ours:
        known = known_outcome(station, report.frame_id)
        if is_ours and (known is None or is_waiting(station, report.frame_id)):
            return conclude(station, report, role, seen, leave)
        return known or outcome_of(report)


def conclude(
    station: Station, report: ShutterReport, role: Role, seen: Callable[[Message], None], leave: Callable[[], bool]
) -> Outcome:
    """Record a told frame, whose intent is in the journal, and bring its pictures home. For who has the turn only."""
    known, outcome = known_outcome(station, report.frame_id), outcome_of(report)
    if known is None or not _says(known, outcome):
        station.journal.conclude(outcome, stamp_now())
    if not report.settled:
        return outcome
    if report.has_nothing_to_fetch:
        station.link.collected(report.frame_id)
        return outcome
    brought = bring_home(station, report, role, seen, leave)
    outcome = _with_files(outcome, brought)
    station.journal.conclude(outcome, stamp_now())
    if brought.complete:
        station.link.collected(report.frame_id)
    return outcome


def is_waiting(station: Station, frame_id: str) -> bool:
    """Whether the shutter process still has it to tell; while it is silent nobody else can have collected it."""
    try:
        reports = station.link.state()["reports"]
    except HolderSilent:
        return True
    assert isinstance(reports, list)
    return any(one["frame_id"] == frame_id for one in reports)


def known_outcome(station: Station, frame_id: str) -> Outcome | None:
    """What the journal has of a frame."""
    frame = station.journal.frame(frame_id)
    return None if frame is None else frame.outcome


def outcome_of(report: ShutterReport) -> Outcome:
    """The shutter's report as the journal keeps it."""
    return Outcome(
        frame_id=report.frame_id,
        outcome=report.outcome.value,
        open_s=report.open_s,
        open_s_range=report.open_s_range,
        opened_utc=report.opened_utc,
        closed_utc=report.closed_utc,
        shutter=report.shutter.value,
        settled=report.settled,
        reason=report.reason,
        report=report.as_message(),
    )


@contextmanager
def taking_turns(station: Station, leave: Callable[[], bool]) -> Iterator[bool]:
    """Wait for every other command that concludes a frame of this camera; False when that took too long.

    On a disk that is full the frame is concluded all the same, if need be without waiting.
    """
    places = station.folders.places(station.camera)
    try:
        places.ensure_there()
        lock = Lock(places.state / "concluding.lock")
    except OSError:
        yield True
        return
    give_up_s = mono_now_s() + TURN_MAX_S
    try:
        while not (is_ours := lock.take()) and not leave() and mono_now_s() < give_up_s:
            time.sleep(LOOK_EVERY_S)
        yield is_ours
    finally:
        lock.close()


def _says(known: Outcome, outcome: Outcome) -> bool:
    """Whether the journal has this already, perhaps with files."""
    same = (known.outcome, known.open_s, known.settled) == (outcome.outcome, outcome.open_s, outcome.settled)
    return same and known.reason.startswith(outcome.reason)


def _with_files(outcome: Outcome, brought: Brought) -> Outcome:
    reason = "; ".join(part for part in (outcome.reason, brought.trouble) if part)
    files = tuple(file.record() for file in brought.files)
    whole = replace(outcome, files=files, reason=reason, report={**outcome.report, "fetch_s": brought.fetch_s})
    if brought.ended_s is None or outcome.open_s is None:
        return whole
    # The body denied that anything was open, and its picture says why: the time of our call is no open time.
    bounds = (least_s(brought.ended_s), outcome.open_s)
    lost = outcome.outcome == Cut.LINK_LOST.value
    became = Cut.LINK_LOST if lost else Cut.CUT_SHORT
    told = {**whole.report, "open_s_sigma_s": None}
    return replace(whole, outcome=became.value, open_s=None, open_s_range=bounds, closed_utc=None, report=told)
