"""Two or three picture files compared, as plain data: what `duskhold compare --json` prints."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.frames.comparison import Measures, NotComparable, measure
from duskhold.frames.measure import Area
from duskhold.frames.picture_file import PictureUnread, read_picture
from duskhold.frames.tiles import cut_tiles
from duskhold.frames.verdict import Finding, FrameLimits, Rig, judge

if TYPE_CHECKING:
    from duskhold.frames.worker import Question


class PairUnsuited(PictureUnread):
    """Two pictures that are not to be compared with each other."""

    code = NotComparable.code


def compare_files(question: Question) -> dict[str, Any]:
    """Measure the long frame, and the scout if there is one, against the base. Raises `PictureUnread`, `OSError`."""
    paths = [Path(each) for each in (question.base, question.long, question.scout) if each is not None]
    with ThreadPoolExecutor(2) as readers:  # decoding lets other threads run
        base, *others = readers.map(read_picture, paths)
    area, limits = Area(*question.area), FrameLimits(**question.limits)
    rig = Rig(**question.rig) if question.rig else None
    tiles = cut_tiles(base)
    try:
        measured = [measure(base, other, area, tiles) for other in others]
    except NotComparable as error:
        raise PairUnsuited(str(error)) from error
    verdict = judge(measured[0], limits, question.expected_stops, rig)
    body = as_data(measured[0], verdict) | {
        "width_px": base.width,
        "height_px": base.height,
        "kind": base.kind.value,
        "expected_stops": question.expected_stops,
        "limits": asdict(limits),
    }
    if question.scout is not None:
        body["scout"] = as_data(measured[1], judge(measured[1], limits, None, rig))
    return body


def as_data(measures: Measures, verdict: list[Finding]) -> dict[str, Any]:
    """Measures and verdict in the words of the interface; `reason` says why something is null."""
    motion = measures.motion
    return {
        "good": not verdict,
        "verdict": [asdict(finding) for finding in verdict],
        "level_error_stops": measures.level_error_stops,
        "clipped_share": dict(zip("rgb", measures.clipped_share, strict=True)),
        "clipped_counted_share": measures.clipped_counted,
        "sharpness_ratio": measures.sharpness_ratio,
        "contrast_ratio": measures.contrast_ratio,
        "shift_px": [motion.shift_x_px, motion.shift_y_px] if motion else None,
        "rotation_deg": motion.rotation_deg if motion else None,
        "scale": motion.scale if motion else None,
        "corner_px": measures.corner_px,
        "moved_during": measures.moved_during,
        "second_edge_px": list(measures.second_edge_px) if measures.second_edge_px else None,
        "leak_worst_share": measures.leak.worst_share if measures.leak else None,
        "leak_edge": measures.leak.edge if measures.leak and measures.leak.worst_share > 0 else None,
        "leak_place": list(measures.leak.place) if measures.leak and measures.leak.worst_share > 0 else None,
        "lamp_stops": measures.lamp_stops,
        "lamp_place": list(measures.lamp_place) if measures.lamp_place else None,
        "spots": len(measures.spots),
        "spot_places": [list(spot.place) for spot in measures.spots],
        "corner_stops": measures.corner_stops,
        "cast_stops": {"r": measures.cast_stops[0], "b": measures.cast_stops[1]} if measures.cast_stops else None,
        "step_height": measures.step_height,
        "step_stops": measures.step_stops,
        "hot_pixels_per_megapixel": measures.hot_per_megapixel,
        "static_share": measures.static_tiles / measures.tiles if measures.tiles else 0.0,
        "reason": _reason(measures),
    }


def _reason(measures: Measures) -> str | None:
    if measures.motion is None:
        return "too little holds still in both frames, or shows any detail, to lay one on the other"
    missing = [
        name
        for name, value in (
            ("level", measures.level_error_stops),
            ("sharpness", measures.sharpness_ratio),
            ("leak", measures.leak),
            ("corners", measures.corner_stops),
        )
        if value is None
    ]
    return f"too little to measure: {', '.join(missing)}" if missing else None
