"""What an earlier run left behind: frames that ran on without their program, recorded and fetched at the next start."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from duskhold.app.exposing import Watch, bring, outcome_of
from duskhold.app.folders import Folders
from duskhold.app.station import Station, stamp_now
from duskhold.frames.store import Role
from duskhold.journal.entry import Intent, Outcome, Unfinished
from duskhold.journal.journal import Journal
from duskhold.shutter.report import ShutterReport
from duskhold.shutter.wire import Message

FRESH_S = 30.0  # an intent this young may belong to a program that is just sending its order


def settle_the_past(station: Station, seen: Callable[[Message], None]) -> list[Outcome]:
    """Record every frame that the shutter process still has to tell, and every intent it never heard of."""
    state = station.link.state()
    reports = state["reports"]
    assert isinstance(reports, list)
    settled = []
    for message in reports:
        report = ShutterReport.from_message(message)
        with_home = _home_of(station, report)
        if with_home is None:
            settled.append(_settle(station, report, seen))
            continue
        with with_home.journal:
            settled.append(_settle(with_home, report, seen))
    return settled + _never_heard(station, str(state["frame_id"]))


def _settle(station: Station, report: ShutterReport, seen: Callable[[Message], None]) -> Outcome:
    known = station.journal.frame(report.frame_id)
    if known is None:
        # Its own data folder is gone: it is recorded here, where somebody looks.
        station.journal.intend(_intent(station, report), stamp_now())
    role = Role(known.asked.role) if known is not None else Role.LONG
    if not report.settled:
        return outcome_of(report)
    station.journal.conclude(outcome_of(report), stamp_now())
    return bring(station, report, role, Watch(seen, lambda: False))


def _home_of(station: Station, report: ShutterReport) -> Station | None:
    """The station of the data folder that the frame belongs to, when that is another one and still there."""
    home = Path(report.origin)
    if report.origin == station.origin or not (home / "journal.sqlite").exists():
        return None
    folders = Folders(home, station.folders.state, station.folders.runtime)
    return replace(station, folders=folders, journal=Journal.open(folders.journal))


def _never_heard(station: Station, in_hand: str) -> list[Outcome]:
    """Intents that left no trace in the black box: the order never arrived."""
    outcomes = []
    for one in station.journal.unfinished():
        if one.intent.camera == station.camera and one.intent.frame_id != in_hand and _is_old(one):
            outcome = _without_trace(one)
            station.journal.conclude(outcome, stamp_now())
            outcomes.append(outcome)
    return outcomes


def _is_old(one: Unfinished) -> bool:
    now = stamp_now()
    if one.known is not None:
        return False  # told once already, as unknown: the shutter process will tell the rest
    return one.written.boot_id != now.boot_id or now.mono_s - one.written.mono_s > FRESH_S


def _without_trace(one: Unfinished) -> Outcome:
    reason = "its program ended before the shutter process had the order; nothing was opened"
    return Outcome(one.intent.frame_id, "failed", 0.0, None, None, None, "closed", True, reason)


def _intent(station: Station, report: ShutterReport) -> Intent:
    return Intent(
        frame_id=report.frame_id,
        camera=station.camera,
        role=Role.LONG.value,
        timing=report.kind.value,
        planned_s=report.planned_s,
        cap_s=report.planned_s,
        decision={"origin": report.origin},
    )
