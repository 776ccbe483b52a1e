"""A frame's record, as commands print it: what the journal knows, in the words of the interface."""

from duskhold.app.sky_record import sky_of
from duskhold.journal.entry import Frame, Refusal
from duskhold.light.place import Place

NOT_CONCLUDED = "no outcome is written: it is being held now, or its program ended before it could write one"


def frame_record(frame: Frame, place: Place | None = None) -> dict[str, object]:
    """The record of one frame. Times in UTC; `open_s` is the true open time, None when it is not known.

    `settings` is all that the body said of itself before the frame, `conditions` what else was known then, the weather
    that a person told among it; `sky` is where sun and moon stood over `place`; `remarks` what people said of it since.
    """
    asked, outcome = frame.asked, frame.outcome
    decision = dict(asked.decision)
    settings, conditions = decision.pop("settings", None), decision.pop("conditions", None)
    record: dict[str, object] = {
        "frame_id": asked.frame_id,
        "outcome": "unknown",
        "planned_s": asked.planned_s,
        "open_s": None,
        "open_s_sigma_s": None,
        "open_s_range": None,
        "opened_utc": None,
        "closed_utc": None,
        "timing": asked.timing,
        "role": asked.role,
        "camera": asked.camera,
        "shutter": "unknown",
        "files": [],
        "reason": NOT_CONCLUDED,
        "decision": decision,
        "settings": settings,
        "conditions": conditions,
        "sky": None,
        "verdict": None,
        "remarks": [dict(remark.detail) for remark in frame.remarks],
    }
    if isinstance(asked, Refusal):
        record |= {"outcome": "refused", "open_s": 0.0, "shutter": "closed", "reason": asked.reason}
    elif outcome is not None:
        record |= {
            "outcome": outcome.outcome,
            "open_s": outcome.open_s,
            "open_s_sigma_s": outcome.report.get("open_s_sigma_s"),
            "open_s_range": None if outcome.open_s_range is None else list(outcome.open_s_range),
            "opened_utc": outcome.opened_utc,
            "closed_utc": outcome.closed_utc,
            "shutter": outcome.shutter,
            "files": [dict(file) for file in outcome.files],
            "reason": outcome.reason or None,
            "verdict": outcome.report.get("verdict"),
        }
    record["sky"] = sky_of(record, place)
    return record
