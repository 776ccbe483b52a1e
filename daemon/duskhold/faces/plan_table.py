"""A plan as people read it: one table in order of time, and what it comes to."""

import textwrap
from collections.abc import Iterator
from datetime import datetime, timedelta, tzinfo
from typing import TYPE_CHECKING

from duskhold.faces import wording
from duskhold.faces.plan_answer import Planned, cautions, prompt_line, stop_line
from duskhold.plan.outing import Dark, Outing
from duskhold.plan.role import Role

if TYPE_CHECKING:
    from duskhold.plan.course import PlannedFrame, PlannedPrompt

Row = tuple[datetime, list[str]]

_COLUMNS = 78
_DARKS = {Dark.IN_CAMERA: "in the camera", Dark.AFTER: "after the series", Dark.NONE: "none"}


def show_plan(planned: Planned, zone: tzinfo | None, picture: str | None) -> None:
    """Print it."""
    outing, timeline = planned.outing, planned.timeline
    begins_utc = timeline.standing.opens_utc
    where = "" if outing.place is None else f", {wording.where(outing.place)}"
    begins = f"{wording.day_utc(begins_utc)}, begins {_clock(begins_utc, zone)}"
    title = f"{outing.name}{where}\n{begins}, with {outing.kit.aperture.name} and ISO {outing.kit.iso.name}"
    wording.print_table(title, ("", "UTC", "open", "sun", "light", ""), [row for _, row in _rows(planned)])
    for line in _sums(planned, zone):
        print(line)
    for caution in cautions(planned):
        print(textwrap.fill(caution, _COLUMNS, initial_indent="! ", subsequent_indent="  "))
    if picture is not None:
        print(f"Drawn in {picture}.")


def _rows(planned: Planned) -> list[Row]:
    outing, timeline = planned.outing, planned.timeline
    darks = [(frame.opens_utc, _frame_row(outing, frame)) for frame in timeline.darks]
    frames = [(frame.opens_utc, _frame_row(outing, frame)) for frame in (*timeline.others, *timeline.frames)]
    prompts = [row for prompt in timeline.prompts for row in _prompt_rows(prompt)]
    # The end is known at the next opening, when a first dark may be open already: the series is over by then.
    over_utc = min([timeline.stop.at_utc, *(opens_utc for opens_utc, _ in darks)])
    end = (over_utc, ["end", wording.clock_utc(over_utc), "", "", "", stop_line(planned)])
    return [*sorted([*frames, *prompts], key=lambda row: row[0]), end, *darks]


def _frame_row(outing: Outing, frame: "PlannedFrame") -> list[str]:
    is_dark = frame.role is Role.DARK
    base = outing.want.base
    is_dialled = frame.role is Role.BASE and base is not None and frame.open_s == base.true_s
    return [
        str(frame.n) if frame.role is Role.LONG else f"{frame.role.value} {frame.n}",
        wording.clock_utc(frame.opens_utc),
        f"{base.dial} s" if is_dialled and base is not None else wording.duration(frame.open_s),
        "" if frame.sun_altitude_deg is None or is_dark else wording.degrees(frame.sun_altitude_deg),
        "" if is_dark else wording.signed(frame.light_stops, 1),
        "cap on" if is_dark else _set_up(outing, frame),
    ]


def _set_up(outing: Outing, frame: "PlannedFrame") -> str:
    """What is on the camera; aperture and ISO only where they are others than at the start."""
    said = [" and ".join(frame.filters) or "bare"]
    said += [frame.aperture] if frame.aperture != outing.kit.aperture.name else []
    said += [f"ISO {frame.iso}"] if frame.iso != outing.kit.iso.name else []
    said += [wording.stops(frame.step_stops)] if frame.role is Role.LONG and outing.want.steps else []
    return ", ".join(said)


def _prompt_rows(prompt: "PlannedPrompt") -> Iterator[Row]:
    line = prompt_line(prompt)
    if prompt.at_utc - prompt.announce_utc >= timedelta(seconds=1):
        yield prompt.announce_utc, ["", wording.clock_utc(prompt.announce_utc), "", "", "", f"told: {line}"]
    yield prompt.at_utc, ["change", wording.clock_utc(prompt.at_utc), "", "", "", line]


def _sums(planned: Planned, zone: tzinfo | None) -> Iterator[str]:
    outing, timeline = planned.outing, planned.timeline
    left, begins_utc = timeline.frames_left, timeline.standing.opens_utc
    counts = f"{left.without} without in-camera darks, {left.in_camera_dark} with"
    yield f"Frames: {counts} (here: {_DARKS[outing.dark]})."
    yield f"All done {_clock(timeline.done_utc, zone)}."
    leave = outing.bounds.leave_by
    if leave is not None:
        pack_utc, leave_utc = leave.pack_utc(begins_utc), leave.leave_utc(begins_utc)
        yield f"Pack from {wording.clock_utc(pack_utc)} UTC, be gone by {_clock(leave_utc, zone)}."
    if timeline.battery_percent is not None:
        reserve = outing.bounds.battery_reserve_percent
        yield f"Battery at the end {timeline.battery_percent:.1f} %, reserve {reserve:g} %."
    if timeline.disk_free_bytes is not None:
        yield f"Disk at the end {timeline.disk_free_bytes / 1e9:.1f} GB free."


def _clock(moment: datetime, zone: tzinfo | None) -> str:
    """In UTC and, where it is another, in local time."""
    utc, local = f"{wording.clock_utc(moment)} UTC", wording.clock_local(moment, zone)
    return utc if utc == local else f"{utc} ({local})"
