"""The record of one frame as a side file of its own: XMP (ISO 16684-1), which any photo program and any RDF reader
understands.

Standard fields where there are some (exif, exifEX, xmp, dc); everything else stands in a namespace of our own,
`NAMESPACE`, listed in `OWN_FIELDS`. It lies in `record/`, never beside a picture under its stem, where raw developers
keep files of their own.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

from duskhold.frames.once import write_once
from duskhold.frames.remarks import last_said, words_of

NAMESPACE = "http://duskhold.invalid/frame/1.0/"
"""Of our own fields; the name is reserved never to lead anywhere (RFC 2606)."""
OWN_FIELDS = {
    "FrameId": "name of the frame in journal and log",
    "Role": "base, scout, long, dark or derived",
    "Outcome": "complete, or what cut it short",
    "PlannedOpenSeconds": "open time that was planned",
    "TrueOpenSeconds": "open time that it got",
    "OpenedUtc": "when the shutter opened",
    "ClosedUtc": "when it closed",
    "FilterStops": "density of all filters together, in stops, green",
    "DriftStopsPerMinute": "change of light that was allowed for, positive is brightening",
    "CorrectionStops": "what that did to the open time",
    "SunAltitudeDegrees": "at open, middle and close, airless, to a tenth",
    "SunAzimuthDegrees": "the same, from north through east",
    "MoonAltitudeDegrees": "at open, middle and close, airless, to a tenth",
    "MoonAzimuthDegrees": "the same, from north through east",
    "CameraClockOffsetSeconds": "the body's clock minus the computer's, before the frame",
    "BatteryPercent": "what the body said of its battery before the frame",
    "FreeBytes": "room on the computer's disk before the frame",
    "AirCelsius": "the air's temperature, as a person told it before the frame",
    "HumidityPercent": "relative humidity, as told",
    "DewMarginCelsius": "air minus dew point, which follows from both",
    "WindMetresPerSecond": "as told",
    "Tide": "in a person's words",
    "OpenSecondsSigma": "how well the true open time is known",
    "PlainOpenSeconds": "open time that a steady light would have needed",
    "DelaySeconds": "from the base frame to the opening",
    "UncorrectedErrorStops": "what the plain time would have been off by",
    "BaseFrame": "name of the frame that it was judged against: a base frame, or a first long frame for want of one",
    "LevelErrorStops": "level against what was wanted, positive is brighter",
    "ClippedShares": "of red, green and blue at full scale",
    "SharpnessRatio": "fine detail against the base frame's",
    "ContrastRatio": "contrast of what holds still against the base frame's",
    "ShiftPixels": "x and y, against the base frame",
    "RotationDegrees": "clockwise, against the base frame",
    "Scale": "image size over the base frame's",
    "CornerPixels": "how far the corner that went farthest went",
    "MovedDuring": "True where edges are there twice",
    "LeakWorstShare": "light that came in beside the lens at its worst place, of a mid-tone",
    "Spots": "how many drops or smears the base frame has not",
    "CornerStops": "corners against the middle, against the base frame, negative is darker",
    "CastStops": "red and blue against green, against the base frame",
    "HotPixelsPerMegapixel": "single bright pixels in dark places",
    "Reason": "why it is not as planned, or not measured",
    "Good": "True when nothing was past its limit",
    "Filters": "their names",
    "Settings": "all that the body said of itself before the frame: name, value",
    "Reasoning": "every number that led to the open time, offers and choices among them: name, value",
    "Verdict": "what was past its limit, worst first",
    "Keep": "True or False as a person said it, a rejected frame has xmp:Rating -1 as well",
    "Stars": "1 to 5 as a person said it, also of a rejected frame",
    "Remarks": "what people said of it afterwards, oldest first",
    "Pictures": "file name and SHA-256 of each picture",
}

_OF_DECISION = {
    "PlainOpenSeconds": "plain_s",
    "DelaySeconds": "delay_s",
    "UncorrectedErrorStops": "uncorrected_error_stops",
}
_OF_CONDITIONS = {
    "AirCelsius": "air_c",
    "HumidityPercent": "humidity_percent",
    "DewMarginCelsius": "dew_margin_c",
    "WindMetresPerSecond": "wind_m_s",
}
_OF_MEASURES = {
    "ContrastRatio": "contrast_ratio",
    "RotationDegrees": "rotation_deg",
    "Scale": "scale",
    "CornerPixels": "corner_px",
    "LeakWorstShare": "leak_worst_share",
    "Spots": "spots",
    "CornerStops": "corner_stops",
    "HotPixelsPerMegapixel": "hot_pixels_per_megapixel",
}
_REJECTED = -1
"""Of xmp:Rating; 1 to 5 are stars (XMP specification part 1, 8.4)."""
_TELLS_THE_PLACE = ("place", "latitude", "longitude", "altitude", "azimuth", "path")
"""Parts of names in a decision that are left out of copies: where it was, on earth or on this computer's disk."""

_NOT_IN_XML = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What no XML file can hold (XML 1.0, 2.2), and some bodies have in what they say of themselves."""

_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_NAMES = {
    "rdf": _RDF,
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "exif": "http://ns.adobe.com/exif/1.0/",
    "exifEX": "http://cipa.jp/exif/1.0/",
    "duskhold": NAMESPACE,
}
_HEAD = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'  # ISO 16684-1, 7.3.2
_TAIL = '\n<?xpacket end="r"?>\n'


@dataclass(frozen=True, slots=True)
class Place:
    """Where it was taken; written only when it is asked for."""

    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True, slots=True)
class FrameFacts:
    """What is known of a frame; what is not, is None and left out. Times are ISO 8601 with an offset.

    `sky` has by the name of an own field what it was at open, middle and close, as far as these are known; `more` are
    own fields as they are written. `settings` and `reasoning` are names with their values.
    """

    frame_id: str
    role: str
    outcome: str
    planned_s: float | None = None
    open_s: float | None = None
    opened_utc: str | None = None
    closed_utc: str | None = None
    f_number: float | None = None
    iso: float | None = None
    filter_stops: float | None = None
    drift_stops_per_min: float | None = None
    correction_stops: float | None = None
    sky: tuple[tuple[str, tuple[float, ...]], ...] = ()
    clock_offset_s: float | None = None
    battery_percent: float | None = None
    free_bytes: float | None = None
    level_error_stops: float | None = None
    sharpness_ratio: float | None = None
    shift_px: tuple[float, float] | None = None
    good: bool | None = None
    verdict: tuple[str, ...] = ()
    pictures: tuple[tuple[str, str], ...] = ()
    more: tuple[tuple[str, str], ...] = ()
    filters: tuple[str, ...] = ()
    rating: int | None = None
    remarks: tuple[str, ...] = ()
    settings: tuple[str, ...] = ()
    reasoning: tuple[str, ...] = ()
    place: Place | None = field(default=None)


def side_file(facts: FrameFacts) -> bytes:
    """The XMP packet."""
    for prefix, uri in _NAMES.items():
        ElementTree.register_namespace(prefix, uri)
    # Without the x:xmpmeta that may stand around it (ISO 16684-1, 7.3.3): RDF readers take the file as it is.
    packet = ElementTree.Element(_name("rdf", "RDF"))
    described = ElementTree.SubElement(packet, _name("rdf", "Description"))
    described.set(_name("rdf", "about"), "")
    for (prefix, name), text in {**_standard(facts), **_own(facts)}.items():
        ElementTree.SubElement(described, _name(prefix, name)).text = _legal(text)
    if facts.iso is not None:
        _listed(described, ("exif", "ISOSpeedRatings"), "Seq", [f"{facts.iso:.0f}"])
    _listed(described, ("duskhold", "Verdict"), "Seq", facts.verdict)
    _listed(described, ("duskhold", "Filters"), "Bag", facts.filters)
    _listed(described, ("duskhold", "Remarks"), "Seq", facts.remarks)
    _listed(described, ("duskhold", "Settings"), "Bag", facts.settings)
    _listed(described, ("duskhold", "Reasoning"), "Bag", facts.reasoning)
    _listed(described, ("duskhold", "Pictures"), "Seq", [f"{name} sha256:{digest}" for name, digest in facts.pictures])
    ElementTree.indent(packet, " ")
    return (_HEAD + ElementTree.tostring(packet, encoding="unicode") + _TAIL).encode()


def ensure_side_file(folder: Path, facts: FrameFacts) -> Path:
    """Write `folder`/<frame_id>.xmp, or the next free name when another record stands there. Raises `OSError`."""
    return write_once(folder / f"{facts.frame_id}.xmp", side_file(facts))


def facts_of(
    record: Mapping[str, object], measured: Mapping[str, object] | None = None, base_id: str | None = None
) -> FrameFacts:
    """From a frame's record as commands print it, and what `compare` found against `base_id`, if it was measured."""
    decision = _mapping(record.get("decision"))
    asked = _mapping(decision.get("asked"))
    conditions = _mapping(record.get("conditions"))
    found = measured or {}
    shift = found.get("shift_px")
    return FrameFacts(
        frame_id=str(record["frame_id"]),
        role=str(record["role"]),
        outcome=str(record["outcome"]),
        planned_s=_number(record.get("planned_s")),
        open_s=_number(record.get("open_s")),
        opened_utc=_text(record.get("opened_utc")),
        closed_utc=_text(record.get("closed_utc")),
        filter_stops=_number(decision.get("filter_stops", asked.get("filter_stops"))),
        drift_stops_per_min=_number(decision.get("rate_stops_per_min")),
        correction_stops=_number(decision.get("correction_stops")),
        sky=_sky(_mapping(record.get("sky"))),
        clock_offset_s=_number(conditions.get("clock_offset_s")),
        battery_percent=_number(conditions.get("battery_percent")),
        free_bytes=_number(conditions.get("free_bytes")),
        level_error_stops=_number(found.get("level_error_stops")),
        sharpness_ratio=_number(found.get("sharpness_ratio")),
        shift_px=(float(shift[0]), float(shift[1])) if isinstance(shift, (list, tuple)) else None,
        good=found["good"] is True if "good" in found else None,
        verdict=tuple(str(_mapping(each).get("text")) for each in _sequence(found.get("verdict"))),
        pictures=tuple(
            (Path(str(_mapping(each).get("path"))).name, str(_mapping(each).get("sha256")))
            for each in _sequence(record.get("files"))
        ),
        more=tuple(_more(record, decision, found, base_id)),
        filters=tuple(str(each) for each in _sequence(decision.get("filters"))),
        rating=_REJECTED if last_said(record, "keep") is False else last_said(record, "stars"),
        remarks=tuple(words_of(record)),
        settings=tuple(f"{name}: {value}" for name, value in _mapping(record.get("settings")).items()),
        reasoning=tuple(_flat(decision)),
    )


def _more(
    record: Mapping[str, object], decision: Mapping[str, object], found: Mapping[str, object], base_id: str | None
) -> Iterator[tuple[str, str]]:
    """Own fields that are numbers or words in the record."""
    clipped, cast = _mapping(found.get("clipped_share")), _mapping(found.get("cast_stops"))
    moved, keep, stars = found.get("moved_during"), last_said(record, "keep"), last_said(record, "stars")
    conditions = _mapping(record.get("conditions"))
    told = {
        "OpenSecondsSigma": _decimal(_number(record.get("open_s_sigma_s"))),
        **{name: _decimal(_number(decision.get(key))) for name, key in _OF_DECISION.items()},
        **{name: _decimal(_number(found.get(key))) for name, key in _OF_MEASURES.items()},
        **{name: _decimal(_number(conditions.get(key))) for name, key in _OF_CONDITIONS.items()},
        "Tide": _text(conditions.get("tide")),
        "Keep": None if keep is None else str(keep),
        "Stars": None if stars is None else str(stars),
        "BaseFrame": base_id,
        "ClippedShares": _row([_number(clipped.get(each)) for each in "rgb"]),
        "CastStops": _row([_number(cast.get(each)) for each in "rb"]),
        "MovedDuring": str(moved) if isinstance(moved, bool) else None,
        "Reason": _text(record.get("reason")),
    }
    return ((name, text) for name, text in told.items() if text)


def _flat(value: object, name: str = "") -> Iterator[str]:
    """Every number and word in it with its name, dots between the parts; what would tell the place is left out."""
    if any(each in name for each in _TELLS_THE_PLACE):
        return
    inner: Iterable[tuple[object, object]]
    if isinstance(value, Mapping):
        inner = value.items()
    elif isinstance(value, (list, tuple)):
        inner = enumerate(value, 1)
    else:
        if value is not None:
            yield f"{name}: {value:.6g}" if isinstance(value, float) else f"{name}: {value}"
        return
    for key, each in inner:
        yield from _flat(each, f"{name}.{key}" if name else str(key))


def _row(values: Sequence[float | None]) -> str | None:
    known = [_decimal(each) for each in values]
    return " ".join(each for each in known if each is not None) if None not in known else None


def _sky(told: Mapping[str, object]) -> tuple[tuple[str, tuple[float, ...]], ...]:
    """To a tenth of a degree: finer, sun and moon would tell the place."""
    found = []
    for name in ("sun_altitude", "sun_azimuth", "moon_altitude", "moon_azimuth"):
        values = [_number(_mapping(told.get(moment)).get(f"{name}_deg")) for moment in ("open", "middle", "close")]
        known = tuple(each for each in values if each is not None)
        if known:
            found.append(("".join(word.title() for word in name.split("_")) + "Degrees", known))
    return tuple(found)


def _standard(facts: FrameFacts) -> dict[tuple[str, str], str | None]:
    found = {
        ("xmp", "CreatorTool"): "duskhold",
        ("xmp", "CreateDate"): facts.opened_utc,
        ("xmp", "Rating"): None if facts.rating is None else str(facts.rating),
        ("exif", "DateTimeOriginal"): facts.opened_utc,
        ("exif", "ExposureTime"): _rational(facts.open_s),
        ("exif", "FNumber"): _rational(facts.f_number),
        ("exifEX", "PhotographicSensitivity"): None if facts.iso is None else f"{facts.iso:.0f}",
        ("dc", "source"): facts.pictures[0][0] if facts.pictures else None,
    }
    if facts.place is not None:
        found[("exif", "GPSLatitude")] = _degrees(facts.place.latitude_deg, "NS")
        found[("exif", "GPSLongitude")] = _degrees(facts.place.longitude_deg, "EW")
    return {name: text for name, text in found.items() if text is not None}


def _own(facts: FrameFacts) -> dict[tuple[str, str], str]:
    shift = facts.shift_px
    found = {
        "FrameId": facts.frame_id,
        "Role": facts.role,
        "Outcome": facts.outcome,
        "PlannedOpenSeconds": _decimal(facts.planned_s),
        "TrueOpenSeconds": _decimal(facts.open_s),
        "OpenedUtc": facts.opened_utc,
        "ClosedUtc": facts.closed_utc,
        "FilterStops": _decimal(facts.filter_stops),
        "DriftStopsPerMinute": _decimal(facts.drift_stops_per_min),
        "CorrectionStops": _decimal(facts.correction_stops),
        **{name: " ".join(f"{each:.1f}" for each in values) for name, values in facts.sky},
        "CameraClockOffsetSeconds": _decimal(facts.clock_offset_s),
        "BatteryPercent": _decimal(facts.battery_percent),
        "FreeBytes": _decimal(facts.free_bytes),
        "LevelErrorStops": _decimal(facts.level_error_stops),
        "SharpnessRatio": _decimal(facts.sharpness_ratio),
        "ShiftPixels": None if shift is None else f"{shift[0]:.2f} {shift[1]:.2f}",
        "Good": None if facts.good is None else str(facts.good),
        **dict(facts.more),
    }
    return {("duskhold", name): text for name, text in found.items() if text is not None}


def _listed(parent: ElementTree.Element, name: tuple[str, str], kind: str, texts: Sequence[str]) -> None:
    if not texts:
        return
    held = ElementTree.SubElement(ElementTree.SubElement(parent, _name(*name)), _name("rdf", kind))
    for text in texts:
        ElementTree.SubElement(held, _name("rdf", "li")).text = _legal(text)


def _legal(text: str | None) -> str | None:
    return None if text is None else _NOT_IN_XML.sub("\ufffd", text)


def _name(prefix: str, name: str) -> str:
    return f"{{{_NAMES[prefix]}}}{name}"


def _rational(value: float | None) -> str | None:
    if value is None:
        return None
    exact = Fraction(value).limit_denominator(10_000)
    return f"{exact.numerator}/{exact.denominator}"


def _decimal(value: float | None) -> str | None:
    return None if value is None else f"{value:.6f}".rstrip("0").rstrip(".")


def _degrees(value: float, sides: str) -> str:
    minutes = abs(value) * 60
    return f"{int(minutes // 60)},{minutes % 60:.6f}{sides[value < 0]}"


def _mapping(value: object) -> Mapping[str, object]:
    return value if isinstance(value, Mapping) else {}


def _sequence(value: object) -> Sequence[object]:
    return value if isinstance(value, (list, tuple)) else ()


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None
