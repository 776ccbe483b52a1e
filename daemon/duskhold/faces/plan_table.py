"""A plan as people read it: one table in order of time, and what it comes to."""

import sys
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import TYPE_CHECKING

from duskhold.faces import wording
from duskhold.faces.plan_answer import Planned, cautions, prompt_line, stop_line
from duskhold.faces.telling import USUAL_COLUMNS, columns_of
from duskhold.plan.outing import Dark, Outing
from duskhold.plan.role import Role

if TYPE_CHECKING:
    from duskhold.plan.course import PlannedFrame, PlannedPrompt

_GAP = "  "


@dataclass(frozen=True, slots=True)
class _Column:
    """One of the table's; those that are not `always` shown are left out where there is no room for them."""

    name: str
    width: int
    always: bool
    is_left: bool = False

    def cell(self, text: str) -> str:
        return text.ljust(self.width) if self.is_left else text.rjust(self.width)


@dataclass(frozen=True, slots=True)
class _Row:
    """`numbers` are those of a frame, or nothing but the time of what is told by `line`."""

    what: str
    numbers: tuple[str, ...]
    line: str


_COLUMNS = (
    _Column("UTC", 7, always=True, is_left=True), _Column("opens", 8, always=True), _Column("open", 6, always=True),
    _Column("closes", 8, always=False), _Column("ready", 8, always=False), _Column("sun", 5, always=False),
    _Column("light", 5, always=False),
)  # fmt: skip
_WIDE = 76
_NARROWEST = 30  # with less no letter is left beside the columns that are always shown
_DARKS = {Dark.IN_CAMERA: "in the camera", Dark.AFTER: "after the series", Dark.NONE: "none"}


def show_plan(planned: Planned, zone: tzinfo | None, picture: str | None) -> None:
    """Print it, as wide as the terminal is."""
    outing, timeline = planned.outing, planned.timeline
    width = max(min(columns_of(sys.stdout), USUAL_COLUMNS), _NARROWEST) - 2
    begins_utc = timeline.standing.opens_utc
    where = "" if outing.place is None else f", {wording.where(outing.place)}"
    print(textwrap.fill(f"{outing.name}{where}", width))
    begins = f"{wording.day_utc(begins_utc)}, begins {_clock(begins_utc, zone)}"
    print(textwrap.fill(f"{begins}, with {outing.kit.aperture.name} and ISO {outing.kit.iso.name}", width))
    for line in _table(planned, width):
        print(line)
    for line in _sums(planned, zone):
        print(textwrap.fill(line, width, subsequent_indent="  "))
    for caution in cautions(planned):
        print(textwrap.fill(caution, width, initial_indent="! ", subsequent_indent="  "))
    if picture is not None:
        print(f"Drawn in {picture}.")


def _table(planned: Planned, width: int) -> Iterator[str]:
    """Frames in columns, the last of them wrapped; what is no frame is a sentence after its time."""
    shown = [column for column in _COLUMNS if width >= _WIDE or column.always]
    head = _GAP.join(column.cell(column.name) for column in shown)
    room = width - len(head) - len(_GAP)
    yield ""
    yield f"{head}{_GAP}filters"
    yield "─" * width
    for _, row in _rows(planned):
        cells = [row.what, *row.numbers]
        if row.numbers[1:]:
            said = [column.cell(cell) for column, cell in zip(_COLUMNS, cells, strict=True) if column in shown]
            yield from _hung(_GAP.join(said), row.line, room)
        else:
            said = [column.cell(cell) for column, cell in zip(_COLUMNS, cells, strict=False)]
            start = _GAP.join(said)
            yield from _hung(start, row.line, width - len(start) - len(_GAP))
    yield ""


def _hung(start: str, line: str, room: int) -> Iterator[str]:
    """`line` behind `start`, its further rows below its first."""
    first, *further = textwrap.wrap(line, room) or [""]
    yield f"{start}{_GAP}{first}".rstrip()
    for each in further:
        yield f"{' ' * len(start)}{_GAP}{each}"


def _rows(planned: Planned) -> list[tuple[datetime, _Row]]:
    outing, timeline = planned.outing, planned.timeline
    darks = [(frame.opens_utc, _frame_row(outing, frame)) for frame in timeline.darks]
    frames = [(frame.opens_utc, _frame_row(outing, frame)) for frame in (*timeline.others, *timeline.frames)]
    prompts = [row for prompt in timeline.prompts for row in _prompt_rows(prompt)]
    end = (timeline.stop.at_utc, _said(timeline.stop.at_utc, "end", stop_line(planned)))
    return [*sorted([*frames, *prompts], key=lambda row: row[0]), end, *darks]


def _said(at_utc: datetime, what: str, line: str) -> _Row:
    return _Row(what, (wording.clock_utc(at_utc),), line)


def _frame_row(outing: Outing, frame: "PlannedFrame") -> _Row:
    is_dark = frame.role is Role.DARK
    base = outing.want.base
    is_dialled = frame.role is Role.BASE and base is not None and frame.open_s == base.true_s
    numbers = (
        wording.clock_utc(frame.opens_utc),
        f"{base.dial} s" if is_dialled and base is not None else wording.duration(frame.open_s),
        wording.clock_utc(frame.closes_utc),
        wording.clock_utc(frame.ready_utc),
        "" if frame.sun_altitude_deg is None or is_dark else wording.degrees(frame.sun_altitude_deg),
        "" if is_dark else wording.signed(frame.light_stops, 1),
    )
    what = str(frame.n) if frame.role is Role.LONG else f"{frame.role.value} {frame.n}"
    return _Row(what, numbers, "cap on" if is_dark else _set_up(outing, frame))


def _set_up(outing: Outing, frame: "PlannedFrame") -> str:
    """What is on the camera; aperture and ISO only where they are others than at the start."""
    said = [" and ".join(frame.filters) or "bare"]
    said += [frame.aperture] if frame.aperture != outing.kit.aperture.name else []
    said += [f"ISO {frame.iso}"] if frame.iso != outing.kit.iso.name else []
    said += [wording.stops(frame.step_stops)] if frame.role is Role.LONG and outing.want.steps else []
    return ", ".join(said)


def _prompt_rows(prompt: "PlannedPrompt") -> Iterator[tuple[datetime, _Row]]:
    line = prompt_line(prompt)
    if prompt.at_utc - prompt.announce_utc >= timedelta(seconds=1):
        yield prompt.announce_utc, _said(prompt.announce_utc, "", f"told: {line}")
    yield prompt.at_utc, _said(prompt.at_utc, "change", line)


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
