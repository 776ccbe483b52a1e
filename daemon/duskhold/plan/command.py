"""The one place where an order to the shutter is made, or refused.

A `ShutterCommand` says how long, and never without an end: "expose this long, cap this long".
"""

import math
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import NewType

from duskhold.light.sign import signed
from duskhold.plan.decision import ExposureDecision
from duskhold.plan.limits import Limits

FrameId = NewType("FrameId", str)


class RefusalCode(StrEnum):
    """Why the shutter may not be opened."""

    LIGHT_NEVER_SUFFICES = "light_never_suffices"
    LONGER_THAN_ALLOWED = "longer_than_allowed"
    SHORTER_THAN_ALLOWED = "shorter_than_allowed"
    CORRECTION_TOO_LARGE = "correction_too_large"
    READING_TOO_OLD = "reading_too_old"
    OPENING_MISSED = "opening_missed"
    INTERRUPTED = "interrupted"
    NOT_READY = "not_ready"
    BASE_CLIPPED = "base_clipped"
    SCOUT_OBJECTS = "scout_objects"


@dataclass(frozen=True, slots=True)
class ShutterCommand:
    """Hold the shutter for `open_s`; close whatever happens after `cap_s`. Made by `authorize...` only."""

    frame_id: FrameId
    open_s: float
    cap_s: float
    decision: ExposureDecision | None


@dataclass(frozen=True, slots=True)
class Refused:
    """The shutter is not opened: why, in a sentence, and what would make it possible."""

    frame_id: FrameId
    code: RefusalCode
    reason: str
    hint: str


def authorize(
    frame_id: FrameId, decision: ExposureDecision, limits: Limits, now_utc: datetime
) -> ShutterCommand | Refused:
    """Order the exposure that was decided, if it may be opened now, at `now_utc`."""
    if decision.open_s is None:
        reason = decision.reason or "the light does not suffice"
        return Refused(frame_id, RefusalCode.LIGHT_NEVER_SUFFICES, _sentence(reason), _more_light(decision))
    refused = _stale(frame_id, decision, limits, now_utc) or _over_corrected(frame_id, decision, limits)
    return refused or _bounded(frame_id, decision.open_s, limits, decision)


def authorize_short(
    frame_id: FrameId, decision: ExposureDecision, limits: Limits, now_utc: datetime
) -> ShutterCommand | Refused:
    """The same where a person takes a frame that cannot be finished all the same: at the longest time allowed."""
    if decision.open_s is not None and decision.open_s <= limits.longest_s:
        return authorize(frame_id, decision, limits, now_utc)
    return _stale(frame_id, decision, limits, now_utc) or _bounded(frame_id, limits.longest_s, limits, decision)


def authorize_hold(frame_id: FrameId, seconds: float, limits: Limits) -> ShutterCommand | Refused:
    """Order a hold of so many seconds that a person asked for; `seconds` is a positive finite number."""
    assert math.isfinite(seconds) and seconds > 0.0, "a hold is a positive number of seconds"
    return _bounded(frame_id, seconds, limits, None)


def _bounded(
    frame_id: FrameId, open_s: float, limits: Limits, decision: ExposureDecision | None
) -> ShutterCommand | Refused:
    if open_s > limits.longest_s:
        return Refused(
            frame_id,
            RefusalCode.LONGER_THAN_ALLOWED,
            f"{open_s:.1f} s is longer than longest_s allows, {limits.longest_s:g} s.",
            "Open the aperture, raise the ISO, take a weaker filter, or raise longest_s in the settings.",
        )
    if open_s < limits.shortest_s:
        return Refused(
            frame_id,
            RefusalCode.SHORTER_THAN_ALLOWED,
            f"{open_s:.3g} s is shorter than shortest_s allows, {limits.shortest_s:g} s.",
            "Use the camera's own dial for so short a time, take a stronger filter, or lower shortest_s.",
        )
    return ShutterCommand(frame_id, open_s, open_s + limits.cap_margin_s, decision)


def _stale(frame_id: FrameId, decision: ExposureDecision, limits: Limits, now_utc: datetime) -> Refused | None:
    age_s = (now_utc - decision.reading.metered_utc).total_seconds()
    slip_s = (now_utc - decision.opens_utc).total_seconds()
    if age_s > limits.reading_age_max_s:
        return Refused(
            frame_id,
            RefusalCode.READING_TOO_OLD,
            f"The light was metered {age_s:.0f} s ago; reading_age_max_s allows {limits.reading_age_max_s:g} s.",
            "Meter again without the filter, or raise reading_age_max_s in the settings.",
        )
    if abs(slip_s) > limits.opening_slip_max_s:
        when = "late" if slip_s > 0.0 else "early"
        return Refused(
            frame_id,
            RefusalCode.OPENING_MISSED,
            f"The opening would be {abs(slip_s):.1f} s too {when}; "
            f"opening_slip_max_s allows {limits.opening_slip_max_s:g} s.",
            "Solve again for the opening as it really is.",
        )
    return None


def _over_corrected(frame_id: FrameId, decision: ExposureDecision, limits: Limits) -> Refused | None:
    stops = decision.correction_stops or 0.0
    if abs(stops) <= limits.correction_max_stops:
        return None
    return Refused(
        frame_id,
        RefusalCode.CORRECTION_TOO_LARGE,
        f"The drift asks for {signed(stops, 2)} stop; correction_max_stops allows {limits.correction_max_stops:g}.",
        "Take a weaker filter or a wider aperture, or meter closer to the opening.",
    )


def _more_light(decision: ExposureDecision) -> str:
    return (
        f"Gain more than {decision.shortfall_stops:.2f} stop: a wider aperture, a higher ISO or a weaker filter; "
        "or meter again and open sooner."
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "."
