"""What an earlier run left behind: frames that ran on without their program, recorded and fetched at the next start."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from duskhold.app.exposing import Watch, bring, outcome_of
from duskhold.app.folders import Folders
from duskhold.app.station import Station, stamp_now
from duskhold.frames.store import Role
from duskhold.journal.entry import Frame, Intent, Outcome, Unfinished
from duskhold.journal.journal import Journal
from duskhold.shutter.report import ShutterReport

FRESH_S = 90.0  # an intent this young may belong to a program that is just sending its order


def settle_the_past(station: Station, watch: Watch) -> list[Frame]:
    """Record every frame that the shutter process still has to tell, and every intent it never heard of.

    Returns them as the journal has them now: that of their own data folder, where that is another one.
    """
    state = station.link.state()
    reports = state["reports"]
    assert isinstance(reports, list)
    settled = [_settle_at_home(station, ShutterReport.from_message(message), watch) for message in reports]
    return settled + _never_heard(station, str(state["frame_id"]))


def _settle_at_home(station: Station, report: ShutterReport, watch: Watch) -> Frame:
    home = _home_of(station, report)
    if home is None:
        return _settle(station, report, watch)
    with home.journal:
        return _settle(home, report, watch)


def _settle(station: Station, report: ShutterReport, watch: Watch) -> Frame:
    known = station.journal.frame(report.frame_id)
    if known is None:
        # Its own data folder is gone: it is recorded here, where somebody looks.
        station.journal.intend(_intent(station, report), stamp_now())
    role = Role(known.asked.role) if known is not None else Role.LONG
    station.journal.conclude(outcome_of(report), stamp_now())
    if report.settled and report.open_s == 0.0:
        station.link.collected(report.frame_id)
    elif report.settled:
        bring(station, report, role, watch)
    return _frame(station, report.frame_id)


def _frame(station: Station, frame_id: str) -> Frame:
    frame = station.journal.frame(frame_id)
    assert frame is not None, frame_id
    return frame


def _home_of(station: Station, report: ShutterReport) -> Station | None:
    """The station of the data folder that the frame belongs to, when that is another one and still there."""
    home = Path(report.origin)
    if report.origin == station.origin or not (home / "journal.sqlite").exists():
        return None
    folders = Folders(home, station.folders.state, station.folders.runtime)
    return replace(station, folders=folders, journal=Journal.open(folders.journal))


def _never_heard(station: Station, in_hand: str) -> list[Frame]:
    """Intents that left no trace in the black box: the order never arrived."""
    settled = []
    for one in station.journal.unfinished():
        if one.intent.camera == station.camera and one.intent.frame_id != in_hand and _is_old(one):
            station.journal.conclude(_without_trace(one), stamp_now())
            settled.append(_frame(station, one.intent.frame_id))
    return settled


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
