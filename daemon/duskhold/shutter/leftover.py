"""What the black box says is not finished: read by a new holder before it touches the camera."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import TypeVar

from duskhold.shutter.blackbox import BoxLine
from duskhold.shutter.events import Started
from duskhold.shutter.log import say
from duskhold.shutter.report import Exposure, ShutterReport
from duskhold.shutter.story import Cause, Frame

Read = TypeVar("Read")


def left_over(lines: Iterable[BoxLine], boot: str) -> Started:
    """The frame that was never told closed, the reports nobody collected, and the latch, from the box's lines.

    A line that cannot be understood (of another version, say) is passed over: closing the shutter comes first.
    """
    frame: Frame | None = None
    told: dict[str, BoxLine] = {}
    latched = False
    for line in lines:
        if line.word == "opening":
            frame = _understood(lambda line: _opening(line, boot), line)
        elif line.word == "closed" and line.frame_id is not None:
            told[line.frame_id] = line
            frame = None
        elif line.word == "collected" and line.frame_id is not None:
            told.pop(line.frame_id, None)
        elif line.word in ("latched", "cleared"):
            latched = line.word == "latched"
        elif frame is not None:
            _understood(partial(_go_on, frame), line)
    reports = (_understood(lambda line: ShutterReport.from_message(line.detail), line) for line in told.values())
    return Started(frame, tuple(report for report in reports if report is not None), latched)


def _go_on(frame: Frame, line: BoxLine) -> None:
    """What a later line says of a frame that is open."""
    if line.word == "opened":
        frame.opened(frame.opening_s, _seconds(line, "opened_s"))
    elif line.word == "closing":
        frame.alive_s = frame.tried_s = line.mono_s
    elif line.word == "lost" and frame.lost_s is None:
        frame.lost_s, frame.cause = line.mono_s, Cause.LINK
        frame.reason = str(line.detail.get("reason", ""))
    elif line.word == "died":
        frame.tried_s = line.mono_s  # a closing call may have been on its way
    elif line.word == "unknown":
        frame.told = True


def _understood(read: Callable[[BoxLine], Read], line: BoxLine) -> Read | None:
    try:
        return read(line)
    except (ValueError, KeyError, TypeError) as error:
        say(f"a line {line.word!r} of the black box cannot be understood: {error!r}")
        return None


def _opening(line: BoxLine, boot: str) -> Frame:
    exposure = Exposure.from_message(line.detail)
    return Frame(
        exposure,
        opening_s=line.mono_s,
        planned_end_s=line.mono_s + exposure.open_s,
        utc_offset_s=_seconds(line, "utc_offset_s"),
        same_boot=line.boot == boot,
        serial=str(line.detail.get("serial", "")),
    )


def _seconds(line: BoxLine, name: str) -> float:
    value = line.detail[name]
    if not isinstance(value, (int, float)):
        raise ValueError(f"{name} is no number")
    return float(value)
