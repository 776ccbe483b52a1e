"""One frame of an evening on the body: set, read back, exposed with its intent in the journal, and told."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from duskhold.app.bodies import NOT_LEARNT, Latency, latency_of
from duskhold.app.exposing import Order, Watch, expose, refuse
from duskhold.app.station import Station
from duskhold.camera.port import Setting
from duskhold.camera.words import same_meaning
from duskhold.journal.entry import Outcome
from duskhold.light.dials import SHUTTER
from duskhold.plan.evening_words import Fault, FrameTold, Take
from duskhold.plan.role import Role
from duskhold.plan.stamp import mint_frame_id, utc_from
from duskhold.shutter.clock import mono_now_s, utc_now
from duskhold.shutter.holder_link import HolderRefused
from duskhold.shutter.report import Kind

LATE_MAX_S = 15.0
"""From the order to the opening: waking the camera and setting it included. Common practice, no source."""
_FAULT_OF_CODE = {
    "disk_short": Fault.STORAGE,
    "card_full": Fault.STORAGE,
    "battery_low": Fault.POWER,
    "latched": Fault.SHUTTER,
}


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of the frame; `fault` says more than its outcome does, where something does."""

    outcome: Outcome
    fault: Fault | None = None


def take_frame(station: Station, take: Take, watch: Watch, asked_s: float) -> Taken:
    """`asked_s` is when the evening asked, of CLOCK_BOOTTIME: its time was computed for then.

    Raises `JournalError`, `HolderSilent` or `ProfileDamaged`; nothing is open then that nobody closes.
    """
    order = _order(station, take)
    trouble = _set(station, take)
    if trouble is not None:
        return Taken(refuse(station, order, "not_set", trouble), Fault.CAMERA)
    late_s = mono_now_s() - asked_s
    if late_s > LATE_MAX_S:
        reason = f"the camera was ready {late_s:.0f} s after the opening that this frame was computed for"
        return Taken(refuse(station, order, "opening_missed", reason), Fault.CAMERA)
    outcome = expose(station, order, watch)
    code = str(outcome.report.get("code", ""))
    return Taken(outcome, _FAULT_OF_CODE.get(code) if outcome.outcome == "refused" else None)


def told_of(outcome: Outcome, role: Role) -> FrameTold:
    """A frame's outcome as the evening hears it."""
    return FrameTold(
        frame_id=outcome.frame_id,
        role=role,
        outcome=outcome.outcome,
        open_s=outcome.open_s,
        opened_utc=None if outcome.opened_utc is None else utc_from(outcome.opened_utc),
        closed_utc=None if outcome.closed_utc is None else utc_from(outcome.closed_utc),
        settled=outcome.settled,
        reason=outcome.reason,
        files=len(outcome.files),
    )


def still_open(frame_id: str) -> FrameTold:
    """A frame of the time before that is held on to its own end."""
    reason = "left open by the time before: it closes at its own time"
    return FrameTold(frame_id, Role.LONG, "unknown", None, None, None, False, reason)


def _order(station: Station, take: Take) -> Order:
    latency = _latency(station)
    open_s = take.open_s if take.dial is None else SHUTTER.true_value(take.dial)
    reasoning = {**take.reasoning, "filters": list(take.filters), "aperture": take.aperture, "iso": take.iso}
    return Order(
        frame_id=mint_frame_id(utc_now(), secrets.token_hex(2)),
        kind=Kind.HELD if take.dial is None else Kind.DIAL,
        role=take.role,
        open_s=open_s,
        cap_s=max(take.cap_s, open_s),
        latency_s=0.0 if take.dial is not None else latency.seconds,
        latency_sigma_s=0.0 if take.dial is not None else latency.sigma_s,
        decision=reasoning if take.dial is None else {**reasoning, "asked": {"dial": take.dial}},
    )


def _latency(station: Station) -> Latency:
    identity = station.identity()
    return NOT_LEARNT if identity is None else latency_of(station.folders, identity)


def _set(station: Station, take: Take) -> str | None:
    """Put aperture, ISO and dial as ordered, each read back; why not, or None.

    What the body cannot be asked is set by hand, such as the aperture of an old lens.
    """
    said = station.link.settings() if _is_free(station) else {}
    for setting, word in ((Setting.APERTURE, take.aperture), (Setting.ISO, take.iso), (Setting.SHUTTER, take.dial)):
        now = said.get(setting)
        if word is None or now is None or same_meaning(setting, now, word):
            continue
        try:
            then = station.link.change(setting, word)
        except HolderRefused as refused:
            return f"{setting.value} cannot be set to {word}: {refused}"
        if not same_meaning(setting, then, word):
            return f"{setting.value} was set to {word}, and the camera says {then}"
    return None


def _is_free(station: Station) -> bool:
    """A body that may not be exposed with is not to be set either: the refusal of the frame says why."""
    return not isinstance(station.link.state()["refusal"], dict)
