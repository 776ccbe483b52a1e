"""What the measures mean: one line a fault, the worst first, with the cause to check and what to do."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from duskhold.frames.comparison import Measures
from duskhold.frames.registration import STATIC_TILES_MIN
from duskhold.frames.standards import FrameLimits, Rig

CODES = {
    "cap_on": "no light came through",
    "filter": "the scout frame's level is not that of the filter which should be fitted",
    "framing": "the two frames show different views",
    "moved": "the camera moved between the frames",
    "moved_during": "the camera moved while the shutter was open",
    "zoom": "the focal length changed",
    "soft": "fine detail is lost, without a shift",
    "clipped": "a channel is at full scale over more than points of light",
    "level": "brighter or darker than it should be",
    "dew": "contrast has fallen everywhere",
    "leak": "light came in beside the lens",
    "lamp": "a lamp shone on the foreground",
    "spots": "drops or smears on the glass",
    "corners": "corners darkened or lightened",
    "step": "a graduated filter's edge lies elsewhere",
    "cast": "colours are not what they were",
    "hot_pixels": "many hot pixels",
}
"""Every code of a verdict, worst first, and what it says."""


BASE_FRAME = "base frame"
FIRST_LONG = "first long frame"
"""What a frame is compared with: where no base frame is taken, the first long frame of its view."""

_LAMP_REACH = 0.25
_FAR_STOPS = 3.0
"""So far from the wanted level noise or full scale takes what is fine. Common practice, no source."""
_OF_LEVEL = ("level", "filter")
_FINE = frozenset({"zoom", "moved_during", "soft", "dew", "spots", "corners", "step"})
_SUNK_MOST_MM = 20.0


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing past its limit. `code` is one of `CODES`."""

    code: str
    text: str
    value: float
    limit: float


def judge(
    measures: Measures,
    limits: FrameLimits | None = None,
    expected_stops: float | None = 0.0,
    rig: Rig | None = None,
    against: str = BASE_FRAME,
) -> list[Finding]:
    """What is past its limit, worst first; empty when the frame is good.

    `expected_stops` is the level that was wanted against the base frame; None leaves the level out, as for a scout. Of
    a frame that is three stops off, one that was closed at once, say, nothing fine is told.
    `against` is what the sentences call the frame that it is compared with.
    """
    limits = limits or FrameLimits()
    if expected_stops is not None and measures.dark_share < limits.dark_share * 2**expected_stops:
        text = "almost no light: the cap, or something in front of the lens, is still on; look, and take it again"
        return [Finding("cap_on", text, measures.dark_share, limits.dark_share * 2**expected_stops)]
    found = [
        *_of_place(measures, limits, rig, against),
        *_of_light(measures, limits, expected_stops, against),
        *_of_glass(measures, limits, against),
    ]
    return _told(found)


def judge_scout(
    measures: Measures,
    limits: FrameLimits | None = None,
    expected_stops: float | None = None,
    rig: Rig | None = None,
    against: str = BASE_FRAME,
) -> list[Finding]:
    """The same of a scout frame, through the filter, before the long frame is opened.

    `expected_stops` is its level against the base frame by both exposures and the filters; None when nobody knows.
    """
    limits = limits or FrameLimits()
    found = judge(measures, limits, None, rig, against)
    if expected_stops is None or measures.dark_share <= 0:
        return found
    if measures.dark_share < limits.dark_share * 2**expected_stops:
        return judge(measures, limits, expected_stops, rig, against)
    # Where all is at full scale only the mean is left to tell, and it tells too little.
    level = measures.level_error_stops
    error = (math.log2(measures.dark_share) if level is None else level) - expected_stops
    if abs(error) > limits.level_stops:
        least = "" if level is not None else "at least "
        text = (
            f"{least}{abs(error):.2f} stop {'brighter' if error > 0 else 'darker'} than the filter lets through: "
            "a wrong one, two or none are fitted, or the light changed; look at it"
        )
        found.append(Finding("filter", text, error, limits.level_stops))
    return _told(found)


def _told(found: list[Finding]) -> list[Finding]:
    """The worst first, without what is fine where the level is far off."""
    far = any(each.code in _OF_LEVEL and abs(each.value) > _FAR_STOPS for each in found)
    return sorted((each for each in found if not (far and each.code in _FINE)), key=_rank)


def _rank(finding: Finding) -> int:
    return list(CODES).index(finding.code)


def _of_place(measures: Measures, limits: FrameLimits, rig: Rig | None, against: str) -> Iterator[Finding]:
    motion, corner_px = measures.motion, measures.corner_px
    if motion is None or corner_px is None:
        if not measures.same_view:
            text = f"the two frames show different views: the camera was turned, or this is another {against}"
            yield Finding("framing", f"{text}; look at both", float(measures.static_tiles), float(STATIC_TILES_MIN))
        return
    change = abs(motion.scale - 1)
    by_scale = change > limits.scale_change
    by_shift = corner_px > limits.corner_px and not (by_scale and math.hypot(*_shift(measures)) < limits.corner_px)
    if by_scale:
        text = f"image {change:.2%} {'larger' if motion.scale > 1 else 'smaller'}: the zoom or focus ring was turned"
        then = "set it again, and take a new base frame" if against == BASE_FRAME else "set it again"
        yield Finding("zoom", f"{text}; {then}", change, limits.scale_change)
    if by_shift:
        yield Finding("moved", _moved(measures, rig), corner_px, limits.corner_px)
    if measures.moved_during:
        x, y = measures.second_edge_px or (0.0, 0.0)
        length = math.hypot(x, y)
        text = f"edges are there twice, {length:.1f} px apart: it moved during the frame; steady it, take it again"
        yield Finding("moved_during", text, length, limits.corner_px)
    ratio = measures.sharpness_ratio
    if ratio is not None and ratio < limits.sharpness_ratio:
        has_moved = by_shift or by_scale or bool(measures.moved_during)
        yield Finding("soft", _soft(ratio, has_moved, against), ratio, limits.sharpness_ratio)


def _shift(measures: Measures) -> tuple[float, float]:
    assert measures.motion is not None
    return measures.motion.shift_x_px, measures.motion.shift_y_px


def _moved(measures: Measures, rig: Rig | None) -> str:
    assert measures.motion is not None
    length = math.hypot(*_shift(measures))
    turned = abs(measures.motion.rotation_deg)
    said = f"moved {length:.1f} px" + (f" and turned {turned:.2f} degrees" if turned >= 0.005 else "")
    sunk_mm = _sunk_mm(measures, rig) if rig else None
    if sunk_mm is None or sunk_mm > _SUNK_MOST_MM:  # no foot sinks so far without a knock
        return f"{said}: the tripod was knocked or has sunk; push the feet in, take it again"
    return f"{said}: a leg has sunk about {_millimetres(sunk_mm)}; push the feet in, take it again"


def _sunk_mm(measures: Measures, rig: Rig) -> float:
    """How far one leg went down: by how much the view tipped up or down and to the side together."""
    assert measures.motion is not None
    tipped = math.hypot(*_shift(measures)) * rig.pixel_um / 1000 / rig.focal_length_mm
    return math.hypot(tipped, math.radians(measures.motion.rotation_deg)) * rig.leg_spread_m * 1000


def _millimetres(sunk_mm: float) -> str:
    if 0.45 <= sunk_mm < 0.6:
        return "half a millimetre"
    return f"{sunk_mm:.1f} mm" if sunk_mm < 10 else f"{sunk_mm:.0f} mm"


def _soft(ratio: float, has_moved: object, against: str) -> str:
    said = f"fine detail is {ratio:.0%} of the {against}'s"
    if has_moved:
        return f"{said}, as the movement explains: once that is mended, take it again"
    return f"{said}: focus or zoom changed, or wind shook it, not the tripod; set the ring again, shelter it, retake it"


def _of_light(measures: Measures, limits: FrameLimits, expected_stops: float | None, against: str) -> Iterator[Finding]:
    if measures.clipped_counted > limits.clipped_share:
        text = f"{measures.clipped_counted:.2%} of a channel is at full scale; take it again with less"
        yield Finding("clipped", text, measures.clipped_counted, limits.clipped_share)
    level = measures.level_error_stops
    if level is not None and expected_stops is not None and abs(level - expected_stops) > limits.level_stops:
        error = level - expected_stops
        text = f"{abs(error):.2f} stop {'brighter' if error > 0 else 'darker'} than wanted: filter, drift or settings"
        yield Finding("level", f"{text}; check them, and correct the next frame", error, limits.level_stops)
    cast = measures.cast_stops
    if cast is not None and max(map(abs, cast)) > limits.cast_stops:
        worst = max(cast, key=abs)
        name = "red" if worst == cast[0] else "blue"
        cause = "the filter's cast" if against == BASE_FRAME else f"the light's own colour since the {against}"
        text = f"{name} is {abs(worst):.2f} stop {'stronger' if worst > 0 else 'weaker'} against green: {cause}"
        yield Finding("cast", f"{text}, or light of a lamp; note it for developing", worst, limits.cast_stops)
    if measures.lamp_stops is not None and measures.lamp_stops > limits.lamp_stops:
        text = f"a coloured patch is {measures.lamp_stops:.1f} stop brighter: a lamp or screen; ask who had a light on"
        yield Finding("lamp", text, measures.lamp_stops, limits.lamp_stops)
    if measures.step_height is not None and measures.step_height > limits.step_height:
        text = f"a band of {measures.step_height:.1%} of the height changed: the graduated filter slipped; set it again"
        yield Finding("step", text, measures.step_height, limits.step_height)


def _is_lamps(measures: Measures, limits: FrameLimits) -> bool:
    """Whether the worst of the added light lies where a lamp shines that is named."""
    leak, lamp, place = measures.leak, measures.lamp_stops, measures.lamp_place
    if leak is None or lamp is None or place is None or lamp <= limits.lamp_stops:
        return False
    return math.hypot(leak.place[0] - place[0], leak.place[1] - place[1]) < _LAMP_REACH


def _of_glass(measures: Measures, limits: FrameLimits, against: str) -> Iterator[Finding]:
    contrast = measures.contrast_ratio
    # Blur takes contrast too, and then it has been named.
    is_soft = measures.sharpness_ratio is not None and measures.sharpness_ratio < limits.sharpness_ratio
    has_veil = contrast is not None and contrast < limits.contrast_ratio and not is_soft
    if contrast is not None and has_veil:
        text = f"contrast is {contrast:.0%} of the {against}'s: dew or spray on the glass; wipe it, warm it"
        yield Finding("dew", text, contrast, limits.contrast_ratio)
    # A veil lifts the shadows as a leak does, everywhere, and a lamp where it shines: each is named once.
    leak = measures.leak
    is_named = has_veil or _is_lamps(measures, limits)
    if leak is not None and leak.worst_share > limits.leak_share and not is_named:
        text = f"added light of {leak.worst_share:.1%} of a mid-tone near the {leak.edge} edge: cover finder and holder"
        yield Finding("leak", f"{text}, and take it again", leak.worst_share, limits.leak_share)
    # Without its fine detail a frame does not show where more of it is missing.
    if len(measures.spots) > limits.spots and not has_veil and not is_soft:
        text = f"{len(measures.spots)} spot{'s' if len(measures.spots) > 1 else ''} that the {against} has not: drops"
        yield Finding(
            "spots", f"{text} or smears on the glass; wipe it", float(len(measures.spots)), float(limits.spots)
        )
    corner = measures.corner_stops
    if corner is not None and abs(corner) > limits.corner_stops:
        text = f"corners are {abs(corner):.2f} stop {'darker' if corner < 0 else 'lighter'} than the middle: the holder"
        yield Finding("corners", f"{text} or stacked rings reach into the view", corner, limits.corner_stops)
    hot = measures.hot_per_megapixel
    if hot is not None and hot > limits.hot_per_megapixel:
        text = f"{hot:.0f} hot pixels in a million: take darks of the same length before packing up"
        yield Finding("hot_pixels", text, hot, limits.hot_per_megapixel)
