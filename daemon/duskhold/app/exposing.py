"""One frame from the order to the files: intent, exposure, outcome, pictures, in that order and never another.

The journal has the intent before the shutter process hears of it, and the outcome before any picture is fetched.
Whatever ends this program in between, the shutter closes by itself and the next start finds the rest.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from duskhold.app.concluding import conclude_own
from duskhold.app.readiness import look_before
from duskhold.app.station import Station, stamp_now
from duskhold.journal.entry import Intent, Outcome, Refusal
from duskhold.plan.command import Refused
from duskhold.plan.role import Role
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder_link import HolderRefused, HolderSilent
from duskhold.shutter.launch import NotStarted
from duskhold.shutter.report import Exposure, Kind, ShutterReport
from duskhold.shutter.report import Outcome as Fate
from duskhold.shutter.wire import Message

LOOK_EVERY_S = 0.1
SILENCE_MAX_S = 60.0  # a holder that is replaced may first try a body that does not answer
LEAVING_S = 3.0  # after a request to stop: a link that is lost this long is left to the shutter process
LOST_ORDER_S = 3.0  # a holder that knows nothing of a frame for this long never got the order


INTERRUPTED = "interrupted before the opening; nothing was exposed"


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be exposed, authorized already. `decision` is the reasoning that led to it."""

    frame_id: str
    kind: Kind
    role: Role
    open_s: float
    cap_s: float
    latency_s: float
    latency_sigma_s: float
    decision: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Watch:
    """How the caller follows the frame: `seen` gets every state, `stop` says whether to close now and keep, `leave`
    whether the person wants to go without the pictures, which the next start then fetches. `given_up` says that a
    frame which is not told by now is left to the shutter process."""

    seen: Callable[[Message], None]
    stop: Callable[[], bool]
    leave: Callable[[], bool] = lambda: False
    given_up: Callable[[], bool] = lambda: False


def expose(station: Station, order: Order, watch: Watch) -> Outcome:
    """Expose, fetch and record one frame; returns the outcome that the journal has.

    Raises `JournalError` only before anything was opened, or when the record itself cannot be written.
    """
    refused = _refused_as_busy(station, order)
    if refused is not None:
        return refused
    before = look_before(station)
    order = replace(order, decision={**order.decision, **before.told()})
    if before.trouble is not None:
        return refuse(station, order, before.trouble.code, before.trouble.reason)
    if watch.stop():
        return refuse(station, order, "interrupted", INTERRUPTED)
    station.journal.intend(_intent(station, order), stamp_now())
    report = _carry_out(station, order, watch)
    return conclude_own(station, report, order.role, watch.seen, watch.leave)


def refuse(station: Station, order: Order, code: str, reason: str) -> Outcome:
    """Write down that nothing was exposed, and why."""
    return _record(station, Refusal(
        frame_id=order.frame_id,
        camera=station.camera,
        role=order.role.value,
        timing=order.kind.value,
        planned_s=order.open_s,
        code=code,
        reason=reason,
        decision=order.decision,
    ))  # fmt: skip


def refuse_command(
    station: Station, refused: Refused, planned_s: float | None, decision: Mapping[str, object]
) -> Outcome:
    """Write down that a long frame was not allowed; `planned_s` is None where no time would do."""
    return _record(station, Refusal(
        frame_id=refused.frame_id,
        camera=station.camera,
        role=Role.LONG.value,
        timing=Kind.HELD.value,
        planned_s=planned_s,
        code=str(refused.code),
        reason=f"{refused.reason} {refused.hint}",
        decision=decision,
    ))  # fmt: skip


def _record(station: Station, refusal: Refusal) -> Outcome:
    station.journal.refuse(refusal, stamp_now())
    report = {"code": refusal.code}
    return Outcome(
        refusal.frame_id, "refused", 0.0, None, None, None, "closed", True, refusal.reason, report=report
    )  # fmt: skip


def _refused_as_busy(station: Station, order: Order) -> Outcome | None:
    state = station.link.awaited_state()
    refusal = state["refusal"]
    if not isinstance(refusal, dict):
        return None
    closes_in_s = state["closes_in_s"]
    rest = f"; it closes in {_clock(closes_in_s)}" if isinstance(closes_in_s, float) else ""
    return refuse(station, order, str(refusal["code"]), f"{refusal['reason']}{rest}")


def _carry_out(station: Station, order: Order, watch: Watch) -> ShutterReport:
    exposure = Exposure(
        order.frame_id, order.kind, order.open_s, order.cap_s, order.latency_s, order.latency_sigma_s, station.origin
    )
    try:
        if watch.stop():
            return _never_opened(exposure, Fate.REFUSED, INTERRUPTED)
        station.link.expose(exposure)
    except HolderRefused as refused:
        return _never_opened(exposure, Fate.REFUSED, str(refused))
    except HolderSilent:
        watch.seen({"phase": "silent"})  # it may have arrived: the answer is in the next state
    return _follow(station, exposure, watch)


def _follow(station: Station, exposure: Exposure, watch: Watch) -> ShutterReport:
    """Look until the frame is told. Silence past all patience is told as such."""
    known_s = heard_s = mono_now_s()
    asked_s: float | None = None
    not_kept = ""
    while True:
        try:
            if watch.stop() and asked_s is None:
                station.link.close_shutter(exposure.frame_id)
                asked_s = mono_now_s()
            state = station.link.state()
        except HolderSilent as silent:
            if mono_now_s() - heard_s > SILENCE_MAX_S or watch.given_up():
                return _silent(exposure, f"{silent}{not_kept}")
            watch.seen({"phase": "silent"})
            not_kept = _keep(station)
            continue
        heard_s = mono_now_s()
        watch.seen(state)
        report = _report_in(state, exposure.frame_id)
        if report is not None:
            return report
        if asked_s is not None and heard_s - asked_s > LEAVING_S and state["phase"] == "lost":
            return _left(exposure, str(state["trouble"]))
        if watch.given_up():
            return _given_up(exposure)
        if state["frame_id"] == exposure.frame_id:
            known_s = heard_s
        elif heard_s - known_s > LOST_ORDER_S:
            reason = "the order never reached the shutter process; nothing was opened"
            return _never_opened(exposure, Fate.FAILED, reason)
        time.sleep(LOOK_EVERY_S)


def _keep(station: Station) -> str:
    """See to it that a shutter process follows; why none can be started just now, or nothing. It is tried again."""
    try:
        station.ensure_kept()
    except (NotStarted, OSError) as error:
        return f"; {error}"
    return ""


def _report_in(state: Message, frame_id: str) -> ShutterReport | None:
    reports = state["reports"]
    assert isinstance(reports, list)
    return next((ShutterReport.from_message(one) for one in reports if one["frame_id"] == frame_id), None)


def _never_opened(exposure: Exposure, fate: Fate, reason: str) -> ShutterReport:
    return ShutterReport.from_message(
        _blank(exposure) | {"outcome": fate.value, "open_s": 0.0, "shutter": "closed", "reason": reason}
    )


def _silent(exposure: Exposure, reason: str) -> ShutterReport:
    why = f"{reason}; look at the camera: nobody here knows whether the shutter is closed"
    return ShutterReport.from_message(_blank(exposure) | {"settled": False, "reason": why})


def _left(exposure: Exposure, trouble: str) -> ShutterReport:
    why = f"{trouble}; left on request: the shutter process goes on looking for the camera, and closes it first"
    return ShutterReport.from_message(
        _blank(exposure) | {"outcome": Fate.LINK_LOST.value, "settled": False, "reason": why}
    )


def _given_up(exposure: Exposure) -> ShutterReport:
    why = "left before it was told: the shutter process goes on with it, and the next start records it"
    return ShutterReport.from_message(_blank(exposure) | {"settled": False, "reason": why})


def _blank(exposure: Exposure) -> dict[str, object]:
    return {
        "frame_id": exposure.frame_id,
        "kind": exposure.kind.value,
        "outcome": "unknown",
        "planned_s": exposure.open_s,
        "open_s": None,
        "open_s_sigma_s": None,
        "open_s_range": None,
        "opened_utc": None,
        "closed_utc": None,
        "shutter": "unknown",
        "reason": "",
        "origin": exposure.origin,
        "settled": True,
    }


def _intent(station: Station, order: Order) -> Intent:
    return Intent(
        frame_id=order.frame_id,
        camera=station.camera,
        role=order.role.value,
        timing=order.kind.value,
        planned_s=order.open_s,
        cap_s=order.cap_s,
        decision=order.decision,
    )


def _clock(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"
