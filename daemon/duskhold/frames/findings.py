"""Two or three picture files compared, as plain data: what `duskhold compare --json` prints."""

from __future__ import annotations

import base64
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.frames.comparison import Measures, NotComparable, measure
from duskhold.frames.crops import crops_jpeg
from duskhold.frames.measure import Area
from duskhold.frames.picture import Picture
from duskhold.frames.picture_file import PictureUnread, ensure_unchanged, read_picture, read_picture_soon
from duskhold.frames.reading import Weights, map_weights
from duskhold.frames.standards import FrameLimits, Rig
from duskhold.frames.tiles import Tiles, cut_tiles
from duskhold.frames.verdict import Finding, judge, judge_scout

if TYPE_CHECKING:
    from duskhold.frames.worker import Question

    Judged = Callable[[Question, Measures], list[Finding]]

Reader = Callable[[Path], Picture]

_DEVELOPED = (".jpg", ".jpeg")


class PairUnsuited(PictureUnread):
    """Two pictures that are not to be compared with each other."""

    code = NotComparable.code


class BaseMemory:
    """The last base frame read, with its pieces: long and scout frames of one base come one after the other.

    A scout is compared with the base frame as it was read soon, a long frame with all of it.
    """

    def __init__(self) -> None:
        self._mark: object = None
        self._known: dict[Reader, tuple[Picture, Tiles]] = {}

    def base(self, path: Path, reader: Reader = read_picture) -> tuple[Picture, Tiles]:
        """Read it, unless it is the one that is known. Raises `PictureUnread`, `OSError`."""
        seen = path.stat()
        mark = (path, seen.st_ino, seen.st_size, seen.st_mtime_ns)
        if self._mark != mark:
            self._known.clear()  # two large pictures at once are one too many
            self._mark = mark
        if reader not in self._known:
            picture = reader(path)
            self._known[reader] = (picture, cut_tiles(picture))
        return self._known[reader]


def compare_files(question: Question, memory: BaseMemory | None = None) -> dict[str, Any]:
    """Measure the long frame, the scout, or both against the base. Raises `PictureUnread`, `AreaTooSmall`, `OSError`.

    The answer is that of the long frame, with `scout` in it, or that of the scout where there is no long frame.
    """
    others = [Path(each) for each in (question.long, question.scout) if each is not None]
    # Decoding a JPEG lets other threads run; unpacking raw files at once only adds up their memory.
    reader = read_picture if question.long is not None else read_picture_soon
    at_once = 2 if all(path.suffix.lower() in _DEVELOPED for path in others) else 1
    with ThreadPoolExecutor(at_once) as readers:
        first = readers.submit((memory or BaseMemory()).base, Path(question.base), reader)
        read = list(readers.map(reader, others))
        base, tiles = first.result()
    for path, sha256 in question.sha256.items():
        ensure_unchanged(Path(path), sha256)
    judges = [_of_long] * (question.long is not None) + [_of_scout] * (question.scout is not None)
    told = [_told(question, base, tiles, picture, judge_it) for picture, judge_it in zip(read, judges, strict=True)]
    body: dict[str, Any] = told[0] if told else {"good": None}
    if len(told) == 2:
        body["scout"] = told[1]
    return body | {
        "width_px": base.width,
        "height_px": base.height,
        "kind": base.kind.value,
        "expected_stops": question.expected_stops,
        "limits": asdict(FrameLimits(**question.limits)),
    }


def _told(question: Question, base: Picture, tiles: Tiles, other: Picture, judged: Judged) -> dict[str, Any]:
    try:
        measures = measure(base, other, _area(question, base), tiles)
    except NotComparable as error:
        raise PairUnsuited(str(error)) from error
    verdict = [finding for finding in judged(question, measures) if finding.code not in question.ignored]
    body = as_data(measures, verdict)
    if verdict and question.crops:
        crops = crops_jpeg(base, other, _fault_places(measures, verdict), question.crops)
        body["crops_jpeg"] = base64.b64encode(crops).decode()
    return body


def _area(question: Question, base: Picture) -> Area | Weights:
    area = question.area
    return map_weights(base, Path(area)) if isinstance(area, str) else Area(*area)


def _of_long(question: Question, measures: Measures) -> list[Finding]:
    limits = FrameLimits(**question.limits)
    return judge(measures, limits, question.expected_stops, _rig(question), question.against)


def _of_scout(question: Question, measures: Measures) -> list[Finding]:
    limits = FrameLimits(**question.limits)
    return judge_scout(measures, limits, question.scout_expected_stops, _rig(question), question.against)


def _rig(question: Question) -> Rig | None:
    return Rig(**question.rig) if question.rig else None


def _fault_places(measures: Measures, verdict: list[Finding]) -> list[tuple[float, float]]:
    """Where the faults that have a place are to be seen."""
    codes = {finding.code for finding in verdict}
    found = [spot.place for spot in measures.spots] if "spots" in codes else []
    if "leak" in codes and measures.leak is not None:
        found.append(measures.leak.place)
    if "lamp" in codes and measures.lamp_place is not None:
        found.append(measures.lamp_place)
    return found


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
        return "too little holds still in both frames, shows any detail or is under full scale, to lay one on the other"
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
