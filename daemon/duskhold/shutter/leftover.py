"""What the black box says is not finished: read by a new holder before it touches the camera."""

from __future__ import annotations

from collections.abc import Iterable

from duskhold.shutter.blackbox import BoxLine
from duskhold.shutter.events import Started
from duskhold.shutter.report import Exposure, ShutterReport
from duskhold.shutter.story import Cause, Frame


def left_over(lines: Iterable[BoxLine], boot: str) -> Started:
    """The frame that was never told closed, the reports nobody collected, and the latch, from the box's lines."""
    frame: Frame | None = None
    reports: dict[str, ShutterReport] = {}
    latched = False
    for line in lines:
        if line.word == "opening":
            frame = _opening(line, boot)
        elif line.word == "opened" and frame is not None:
            frame.opened(frame.opening_s, _seconds(line, "opened_s"))
        elif line.word == "lost" and frame is not None and frame.lost_s is None:
            frame.lost_s, frame.cause = line.mono_s, Cause.LINK
            frame.reason = str(line.detail.get("reason", ""))
        elif line.word == "died" and frame is not None:
            frame.tried_s = line.mono_s  # a closing call may have been on its way
        elif line.word == "unknown" and frame is not None:
            frame.told = True
        elif line.word == "closed" and line.frame_id is not None:
            reports[line.frame_id] = ShutterReport.from_message(line.detail)
            frame = None
        elif line.word == "collected" and line.frame_id is not None:
            reports.pop(line.frame_id, None)
        elif line.word in ("latched", "cleared"):
            latched = line.word == "latched"
    return Started(frame, tuple(reports.values()), latched)


def _opening(line: BoxLine, boot: str) -> Frame:
    exposure = Exposure.from_message(line.detail)
    return Frame(
        exposure,
        opening_s=line.mono_s,
        planned_end_s=line.mono_s + exposure.open_s,
        utc_offset_s=_seconds(line, "utc_offset_s"),
        same_boot=line.boot == boot,
    )


def _seconds(line: BoxLine, name: str) -> float:
    value = line.detail[name]
    assert isinstance(value, (int, float)), line
    return float(value)
