"""An evening in plain text, as a table, and as checksums: what can still be read in twenty years."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from duskhold.frames.evening import Evening, EveningFrame, sentences_of
from duskhold.frames.remarks import judged, last_said, words_of

MOMENTS = ("open", "middle", "close")
SKY = ("sun_altitude", "sun_azimuth", "moon_altitude", "moon_azimuth")
SETTINGS = ("aperture", "iso", "white_balance")
REASONING = ("filter_stops", "plain_s", "delay_s", "rate_stops_per_min", "correction_stops")
CONDITIONS = ("clock_offset_s", "battery_percent", "free_bytes")
WEATHER = ("air_c", "humidity_percent", "dew_margin_c", "wind_m_s", "tide")
COLUMNS = (
    "frame_id",
    "role",
    "outcome",
    "opened_utc",
    "closed_utc",
    "planned_s",
    "open_s",
    *SETTINGS,
    *REASONING,
    "base_id",
    "good",
    "level_error_stops",
    "clipped_share",
    "sharpness_ratio",
    "contrast_ratio",
    "shift_x_px",
    "shift_y_px",
    "rotation_deg",
    "scale",
    "corner_px",
    "moved_during",
    "leak_worst_share",
    "spots",
    "corner_stops",
    "hot_pixels_per_megapixel",
    "verdict",
    "reason",
    "files",
    *(f"{each}_{moment}_deg" for moment in MOMENTS for each in SKY),
    *CONDITIONS,
    *WEATHER,
    "keep",
    "stars",
    "remarks",
)
"""Of the table, one row a frame; where sun and moon stood to a tenth of a degree."""
_AS_PLANNED_S = 0.05


def log_head(day: str) -> str:
    """What the log of a day begins with."""
    title = f"Frames of {day}"
    return f"{title}\n{'=' * len(title)}\nTimes are UTC. A frame of which more became known has a further line.\n\n"


def log_line(frame: EveningFrame) -> str:
    """A frame in words, on one line."""
    record = frame.record
    opened = str(record.get("opened_utc") or "not opened")
    open_s = record.get("open_s")
    planned_s = record.get("planned_s")
    length = "open time not known" if open_s is None else f"open {_seconds(open_s)}"
    planned = "" if planned_s is None else f" of {_seconds(planned_s)} planned"
    if planned_s is not None and open_s is not None and abs(open_s - planned_s) < _AS_PLANNED_S:
        planned = ""
    sentences = sentences_of(frame)
    said = ". ".join(sentences) if sentences else ("good" if frame.measured else "complete, not measured")
    names = ", ".join(Path(str(file["path"])).name for file in record.get("files", [])) or "no file"
    reason = record.get("reason")
    if reason and record["outcome"] != "complete":
        said = f"{said}: {' '.join(str(reason).split()).rstrip('.')}"
    remarks = "".join(f"; said of it: {each}" for each in (judged(record), *words_of(record)) if each)
    return f"{opened}  {record['frame_id']}  {record['role']}: {length}{planned}; {said}; {names}{remarks}\n"


def table_head() -> str:
    """The names of the columns (RFC 4180)."""
    return _csv(COLUMNS)


def table_line(frame: EveningFrame) -> str:
    """A frame's row (RFC 4180); empty where nothing is known."""
    row = row_of(frame)
    return _csv([_cell(row[name]) for name in COLUMNS])


def row_of(frame: EveningFrame) -> dict[str, Any]:
    """A frame's values under the names of `COLUMNS`."""
    record, found = frame.record, frame.measured or {}
    shift = found.get("shift_px") or (None, None)
    clipped: Mapping[str, float] = found.get("clipped_share") or {}
    return {
        **{name: record.get(name) for name in ("frame_id", "role", "outcome", "opened_utc", "closed_utc")},
        **{name: record.get(name) for name in ("planned_s", "open_s", "reason")},
        "base_id": frame.base_id,
        **{name: found.get(name) for name in ("good", "level_error_stops", "sharpness_ratio", "contrast_ratio")},
        **{name: found.get(name) for name in ("rotation_deg", "scale", "corner_px", "moved_during")},
        **{name: found.get(name) for name in ("leak_worst_share", "spots", "corner_stops", "hot_pixels_per_megapixel")},
        **{name: (record.get("settings") or {}).get(name) for name in SETTINGS},
        **{name: (record.get("decision") or {}).get(name) for name in REASONING},
        "clipped_share": max(clipped.values()) if clipped else None,
        "shift_x_px": shift[0],
        "shift_y_px": shift[1],
        "verdict": "; ".join(finding["text"] for finding in found.get("verdict", [])),
        "files": " ".join(Path(str(file["path"])).name for file in record.get("files", [])),
        **{f"{each}_{moment}_deg": _tenth(record, moment, f"{each}_deg") for moment in MOMENTS for each in SKY},
        **{name: (record.get("conditions") or {}).get(name) for name in (*CONDITIONS, *WEATHER)},
        **{name: last_said(record, name) for name in ("keep", "stars")},
        "remarks": "; ".join(words_of(record)),
    }


def _tenth(record: Mapping[str, Any], moment: str, name: str) -> float | None:
    """Finer than that, sun and moon would tell the place, which copies do not have unless asked for."""
    found = ((record.get("sky") or {}).get(moment) or {}).get(name)
    return None if found is None else round(float(found), 1)


def checksums(evening: Evening, folder: Path) -> str:
    """The pictures' SHA-256, as `sha256sum --check` reads them in `folder`."""
    files = [file for frame in evening.frames for file in frame.record.get("files", [])]
    return "".join(f"{file['sha256']}  {os.path.relpath(str(file['path']), folder)}\n" for file in files)


def _seconds(value: float) -> str:
    return f"{value:.3g} s" if value < 10 else f"{value:.1f} s"


def _csv(cells: Sequence[object]) -> str:
    out = io.StringIO(newline="")
    csv.writer(out).writerow(cells)
    return out.getvalue()


def _cell(value: object) -> object:
    if value is None:
        return ""
    return f"{value:.6g}" if isinstance(value, float) else value
