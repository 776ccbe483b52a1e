"""A verdict in the record of its frame: the numbers in the journal, what is to be seen beside the day's record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from duskhold.app.folders import Folders
from duskhold.app.judging import Verdict
from duskhold.app.station import Station, stamp_now
from duskhold.app.writing_down import record_folder
from duskhold.frames.once import write_once
from duskhold.journal.entry import Outcome
from duskhold.plan.stamp import utc_from
from duskhold.shutter.clock import utc_now


def keep_verdict(
    station: Station,
    outcome: Outcome,
    base_frame_id: str,
    verdict: Verdict,
    more: Mapping[str, object] | None = None,
) -> None:
    """Add it to the frame's outcome, with `more`. Crops that cannot be written are said, and no error.

    Raises `JournalError`.
    """
    told = with_verdict(station.folders, outcome, base_frame_id, verdict)
    station.journal.conclude(replace(told, report={**told.report, **(more or {})}), stamp_now())


def with_verdict(folders: Folders, outcome: Outcome, base_frame_id: str, verdict: Verdict) -> Outcome:
    """The outcome with it; its crops are written beside the day's record."""
    body = verdict.body() | {"base_frame_id": base_frame_id} | _kept_crops(folders, outcome, verdict)
    return replace(outcome, report={**outcome.report, "verdict": body})


def _kept_crops(folders: Folders, outcome: Outcome, verdict: Verdict) -> dict[str, object]:
    if verdict.crops_jpeg is None:
        return {"crops": None}
    day = utc_from(outcome.opened_utc) if outcome.opened_utc else utc_now()
    place = record_folder(folders, day.date()) / f"{outcome.frame_id}-crops.jpg"
    try:
        return {"crops": str(write_once(place, verdict.crops_jpeg))}
    except OSError as error:
        return {"crops": None, "crops_trouble": f"{place}: {error.strerror}"}
