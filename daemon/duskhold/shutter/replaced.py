"""Another camera at the lead: whose frames and pictures are outstanding, and what becomes of them for good. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from duskhold.shutter.report import ShutterReport
from duskhold.shutter.story import Frame, tell_unknown

OTHER_BODY = "other_body"  # why a body that answers is turned away


def awaited_serial(frame: Frame | None, reports: Iterable[ShutterReport]) -> str | None:
    """The body that alone can tell of the frame that is not settled, or give the pictures of one that is.

    None where nobody's is outstanding, or where that body has no serial number to know it by.
    """
    if frame is not None:
        return frame.serial or None
    owners = (report.serial for report in reports if report.serial and not report.has_nothing_to_fetch)
    return next(owners, None)


def all_given_up(frame: Frame | None, reports: Iterable[ShutterReport], now_s: float) -> list[ShutterReport]:
    """What is told of everything that is outstanding."""
    told = [give_up(report) for report in reports if report.settled]
    return told if frame is None else [*told, tell_given_up(frame, now_s)]


def tell_given_up(frame: Frame, now_s: float) -> ShutterReport:
    """The report of a frame whose body does not come back: settled, and when it closed is not known."""
    unknown = tell_unknown(frame, now_s)
    reason = f"{frame.reason or 'its camera was lost'}; another camera took its place, as a person said: nobody here"
    return replace(unknown, reason=f"{reason} knows when its shutter closed", settled=True, given_up=True)


def give_up(report: ShutterReport) -> ShutterReport:
    """A frame that was told, and whose body does not come back: nothing more is fetched."""
    said = "another camera took its place, as a person said: its pictures stay on that camera's card"
    return replace(report, reason="; ".join(part for part in (report.reason, said) if part), given_up=True)
