"""A plan as programs read it, and the sentences about it that people read."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.plan.course import PlannedFrame, PlannedPrompt
from duskhold.plan.outing import Dark, LightStart
from duskhold.plan.stamp import utc_text
from duskhold.plan.stops import StopReason

if TYPE_CHECKING:
    from duskhold.plan.decision import Drift
    from duskhold.plan.outing import Outing
    from duskhold.plan.timeline import Timeline

_SUN_IS_UP_DEG = -0.8333


@dataclass(frozen=True, slots=True)
class Planned:
    """An outing and its timeline; `light_source` says from what the light was taken."""

    outing: "Outing"
    timeline: "Timeline"
    drift: "Drift"
    light_source: str
    is_past: bool


def plan_body(planned: Planned, picture: str | None) -> dict[str, object]:
    """The plan as `--json` prints it."""
    outing, timeline = planned.outing, planned.timeline
    ends, leave = timeline.standing.ends, outing.bounds.leave_by
    return {
        "outing": outing.name,
        "kind": outing.want.kind.value,
        "place": None
        if outing.place is None
        else {"latitude_deg": outing.place.latitude_deg, "longitude_deg": outing.place.longitude_deg},
        "light": planned.light_source,
        "begins_utc": utc_text(timeline.standing.opens_utc),
        "ends": {
            "sun_utc": None if ends.sun_utc is None else utc_text(ends.sun_utc),
            "pack_utc": None if ends.pack_utc is None else utc_text(ends.pack_utc),
            "leave_utc": None if leave is None else utc_text(leave.leave_utc(timeline.standing.opens_utc)),
            "frames": ends.frames,
        },
        **timeline_body(timeline),
        "battery": {
            "percent_at_end": timeline.battery_percent,
            "reserve_percent": outing.bounds.battery_reserve_percent,
            "reason": None if timeline.battery_percent is not None else "the battery was not told: --battery PERCENT",
        },
        "disk": {
            "free_bytes_at_end": timeline.disk_free_bytes,
            "reserve_bytes": outing.bounds.disk_reserve_bytes,
        },
        "cautions": list(cautions(planned)),
        "picture": picture,
    }


def timeline_body(timeline: "Timeline") -> dict[str, object]:
    """What is to come."""
    left = timeline.frames_left
    return {
        "frames": [frame_body(frame) for frame in timeline.frames],
        "other_frames": [frame_body(frame) for frame in timeline.others],
        "prompts": [_prompt_body(prompt) for prompt in timeline.prompts],
        "darks": [frame_body(frame) for frame in timeline.darks],
        "darks_short": None if timeline.darks_short is None else timeline.darks_short.value,
        "stop": {
            "reason": None if timeline.stop.reason is None else timeline.stop.reason.value,
            "at_utc": utc_text(timeline.stop.at_utc),
        },
        "done_utc": utc_text(timeline.done_utc),
        "frames_left": {"in_camera_dark": left.in_camera_dark, "without": left.without},
    }


def frame_body(frame: PlannedFrame) -> dict[str, object]:
    """One frame."""
    return {
        "n": frame.n,
        "role": frame.role.value,
        "opens_utc": utc_text(frame.opens_utc),
        "open_s": frame.open_s,
        "closes_utc": utc_text(frame.closes_utc),
        "ready_utc": utc_text(frame.ready_utc),
        "filters": list(frame.filters),
        "aperture": frame.aperture,
        "iso": frame.iso,
        "sun_altitude_deg": frame.sun_altitude_deg,
        "light_stops": frame.light_stops,
        "correction_stops": frame.correction_stops,
        "step_stops": frame.step_stops,
        "battery_percent": frame.battery_percent,
        "disk_free_bytes": frame.disk_free_bytes,
    }


def prompt_line(prompt: PlannedPrompt) -> str:
    """`take off six, fit three`."""
    said = [f"take off {' and '.join(prompt.remove)}"] if prompt.remove else []
    said += [f"fit {' and '.join(prompt.fit)}"] if prompt.fit else []
    return ", ".join(said)


def stop_line(planned: Planned) -> str:
    """Why it ends, in a few words."""
    bounds, stop = planned.outing.bounds, planned.timeline.stop
    if stop.reason is None:
        return "nothing ends it as far as a plan looks"
    said = {
        StopReason.FRAMES_DONE: "all frames are taken",
        StopReason.LEAVE_BY: "next would run into the time to pack",
        StopReason.SUN_ALTITUDE: f"next would end past {wording.degrees(bounds.sun_altitude_deg or 0.0)} of sun",
        StopReason.LONGEST_FRAME: f"next would be longer than {wording.duration(bounds.longest_s)}",
        StopReason.SHORTEST_FRAME: f"next would be shorter than {wording.duration(bounds.shortest_s)}",
        StopReason.LIGHT_NEVER_SUFFICES: "next could never be finished",
        StopReason.BATTERY_RESERVE: f"the battery's reserve of {bounds.battery_reserve_percent:g} % begins",
        StopReason.DISK_RESERVE: "the disk's reserve begins",
    }
    return said[stop.reason]


def cautions(planned: Planned) -> Iterator[str]:
    """What a person has to know before relying on it; the place and who knows it come last, and first."""
    yield from _of_the_plan(planned)
    yield from _of_the_light(planned)
    leave = planned.outing.bounds.leave_by
    if leave is None:
        yield "No leave-by time is set: give bounds.leave_by where sea, light or road could cut you off."
    elif leave.in_min is not None:
        yield "Leave-by counts in minutes from the start of the program, here from the start of the outing."
    frames = planned.timeline.frames
    if any(frame.sun_altitude_deg is not None and frame.sun_altitude_deg > _SUN_IS_UP_DEG for frame in frames):
        yield "The sun is up: never look at it through an optical finder, whatever filter is on."
    yield (
        "Know the tide's turn and the way out; never your back to the sea, no new spot near an edge after dark. Local "
        "rules and people who know the place come before this plan."
    )


def _of_the_plan(planned: Planned) -> Iterator[str]:
    outing, timeline = planned.outing, planned.timeline
    if planned.is_past:
        yield "This outing lies in the past."
    if not timeline.frames:
        yield f"Not one frame of the series fits: {stop_line(planned)}."
    most = outing.limits.correction_max_stops
    over = [frame.n for frame in timeline.frames if abs(frame.correction_stops) > most]
    if over:
        yield (
            f"From frame {over[0]} on the light changes by more than {most:g} stops of time while the shutter is open; "
            "such a frame is refused. A weaker filter or a wider aperture is the better answer."
        )
    wanted = outing.darks_after if outing.dark is Dark.AFTER else 0
    if timeline.darks_short is not None:
        why = "the time to pack" if timeline.darks_short is StopReason.LEAVE_BY else _reserve(timeline.darks_short)
        yield f"Only {len(timeline.darks)} of {wanted} darks: {why} comes first."
    if StopReason.BATTERY_RESERVE in (timeline.darks_short, timeline.stop.reason):
        yield "A fresh battery in time costs one frame."


def _of_the_light(planned: Planned) -> Iterator[str]:
    if planned.light_source == "taken_for_steady":
        yield "Without a place the light is taken for steady: at dusk and dawn nothing here will hold."
    if planned.light_source == "clear_sky":
        yield "Clear sky on flat ground: cloud, direction and lamps change it. The evening goes by what it measures."
    if isinstance(planned.outing.start, LightStart) and planned.outing.place is not None:
        yield "When the light comes to the start's base time is known to two stops at home, some minutes either way."


def _reserve(reason: StopReason) -> str:
    return "the battery's reserve" if reason is StopReason.BATTERY_RESERVE else "the disk's reserve"


def _prompt_body(prompt: PlannedPrompt) -> dict[str, Any]:
    return {
        "at_utc": utc_text(prompt.at_utc),
        "announce_utc": utc_text(prompt.announce_utc),
        "remove": list(prompt.remove),
        "fit": list(prompt.fit),
    }
