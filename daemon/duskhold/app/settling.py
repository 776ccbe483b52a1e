"""What an earlier run left behind: frames that ran on without their program, recorded and fetched at the next start."""

from __future__ import annotations

import time
from collections.abc import Callable, Set
from dataclasses import replace
from pathlib import Path

from duskhold.app.concluding import conclude, is_waiting, taking_turns
from duskhold.app.exposing import Watch
from duskhold.app.folders import Folders
from duskhold.app.station import Station, stamp_now
from duskhold.journal.entry import Frame, Intent, Outcome, Unfinished
from duskhold.journal.journal import Journal
from duskhold.plan.role import Role
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.report import ShutterReport

SAFE_MAX_S = 10.0  # for the first closing call on a camera that answers
LOOK_EVERY_S = 0.1
_ON_ITS_WAY = ("lost", "starting", "closing")
RECORDED_MAX = 100
FRESH_S = 90.0  # an intent this young may belong to a program that is just sending its order


def settle_the_past(
    station: Station, watch: Watch, is_dead: Callable[[Intent], bool] = lambda _intent: False
) -> list[Frame]:
    """Record every frame that the shutter process still has to tell, and every intent it never heard of.

    `is_dead` says of a young intent whether its program is known to have ended, so that its order cannot still come.
    Returns them as the journal has them now: that of their own data folder, where that is another one.
    """
    state = station.link.awaited_state()
    reports = state["reports"]
    assert isinstance(reports, list)
    heard_of = {state["frame_id"], *(message["frame_id"] for message in reports)}
    told = [_settle_at_home(station, ShutterReport.from_message(message), watch) for message in reports]
    settled = [frame for frame in told if frame is not None]
    if state.get("past_unread") is not None:
        return settled  # nobody knows of which it never heard
    return settled + _never_heard(station, heard_of, is_dead)


def recorded_of(journal: Journal, evening_id: str) -> list[Frame]:
    """The newest frames of an evening that are settled in the record, oldest first, whoever wrote them down."""
    found = (one for one in journal.frames(RECORDED_MAX) if one.asked.decision.get("evening_id") == evening_id)
    return [one for one in found if one.outcome is not None and one.outcome.settled][::-1]


def give_up_replaced(station: Station, watch: Watch) -> list[Frame]:
    """A person says that the camera that answers took the place of one that does not come back.

    What that one owed is recorded, and the new one is waited for. Raises `HolderRefused` where none answers.
    """
    station.link.give_up_body()
    given_up = settle_the_past(station, watch)
    give_up_s = mono_now_s() + SAFE_MAX_S
    while station.link.state()["phase"] in _ON_ITS_WAY and mono_now_s() < give_up_s and not watch.stop():
        time.sleep(LOOK_EVERY_S)
    return given_up


def _settle_at_home(station: Station, report: ShutterReport, watch: Watch) -> Frame | None:
    home = _home_of(station, report)
    if home is None:
        return _settle(station, report, watch)
    with home.journal:
        return _settle(home, report, watch)


def _settle(station: Station, report: ShutterReport, watch: Watch) -> Frame | None:
    """The frame as the journal then has it; None for one that another command wrote into another journal."""
    with taking_turns(station, watch.leave) as is_ours:
        known = station.journal.frame(report.frame_id)
        if not is_ours or not is_waiting(station, report.frame_id):
            return known
        if known is None:
            # Its own data folder is gone: it is recorded here, where somebody looks.
            station.journal.intend(_intent(station, report), stamp_now())
        role = Role(known.asked.role) if known is not None else Role.LONG
        conclude(station, report, role, watch.seen, watch.leave)
        return station.journal.frame(report.frame_id)


def _home_of(station: Station, report: ShutterReport) -> Station | None:
    """The station of the data folder that the frame belongs to, when that is another one and still there."""
    home = Path(report.origin)
    if report.origin == station.origin or not (home / "journal.sqlite").exists():
        return None
    folders = Folders(home, station.folders.state, station.folders.runtime)
    return replace(station, folders=folders, journal=Journal.open(folders.journal))


def _never_heard(station: Station, heard_of: Set[object], is_dead: Callable[[Intent], bool]) -> list[Frame]:
    """Intents that left no trace in the black box: the order never arrived."""
    settled = []
    for one in station.journal.unfinished():
        if one.intent.camera == station.camera and one.intent.frame_id not in heard_of and _is_old(one, is_dead):
            station.journal.conclude(_without_trace(one), stamp_now())
            settled.append(Frame(one.intent, one.written, _without_trace(one)))
    return settled


def _is_old(one: Unfinished, is_dead: Callable[[Intent], bool]) -> bool:
    now = stamp_now()
    if one.known is not None:
        return False  # told once already, as unknown: the shutter process will tell the rest
    return is_dead(one.intent) or one.written.boot_id != now.boot_id or now.mono_s - one.written.mono_s > FRESH_S


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
