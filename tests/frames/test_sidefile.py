"""The side file, read by programs that know nothing of this one: exiftool, exiv2 (Debian packages) and rdflib."""

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
import rdflib

from duskhold.frames.sidefile import NAMESPACE, OWN_FIELDS, FrameFacts, Place, ensure_side_file, facts_of, side_file

MORE = (
    *("OpenSecondsSigma", "PlainOpenSeconds", "DelaySeconds", "UncorrectedErrorStops", "BaseFrame", "ClippedShares"),
    *("ContrastRatio", "RotationDegrees", "Scale", "CornerPixels", "MovedDuring", "LeakWorstShare", "Spots"),
    *("CornerStops", "CastStops", "HotPixelsPerMegapixel", "Reason"),
    *("AirCelsius", "HumidityPercent", "DewMarginCelsius", "WindMetresPerSecond", "Tide", "Keep", "Stars"),
)
FACTS = FrameFacts(
    frame_id="20261014-172110-3f2a",
    role="long",
    outcome="complete",
    planned_s=283.6,
    open_s=283.612,
    opened_utc="2026-10-14T17:21:10.250Z",
    closed_utc="2026-10-14T17:25:53.862Z",
    f_number=8.0,
    iso=100.0,
    filter_stops=10.23,
    drift_stops_per_min=-0.18,
    correction_stops=0.61,
    sky=(
        ("SunAltitudeDegrees", (-1.02, -1.31, -1.6)),
        ("SunAzimuthDegrees", (260.0, 260.5, 261.0)),
        ("MoonAltitudeDegrees", (12.0, 12.3, 12.6)),
        ("MoonAzimuthDegrees", (170.0, 170.5, 171.0)),
    ),
    clock_offset_s=-2.0,
    battery_percent=84,
    free_bytes=12_000_000_000,
    level_error_stops=-0.04,
    sharpness_ratio=0.97,
    shift_px=(3.2, -0.1),
    good=False,
    verdict=("moved 3.2 px: <a leg> & so on", "second line"),
    pictures=(("a-long-DSK_0001.DNG", "00ff"), ("a-long-DSK_0001.JPG", "11ee")),
    more=tuple((name, "1") for name in MORE),
    filters=("ten",),
    rating=-1,
    remarks=("the gull <left> in time", "soft after all"),
    settings=("iso: 100",),
    reasoning=("base_s: 0.157",),
)


def values(graph: rdflib.Graph, name: str) -> list[str]:
    return [str(found) for found in graph.objects(None, rdflib.URIRef(name))]


def packet(facts: FrameFacts) -> rdflib.Graph:
    text = side_file(facts).decode()
    return rdflib.Graph().parse(data=text, format="xml")


def test_an_rdf_reader_finds_every_field() -> None:
    graph = packet(FACTS)
    assert values(graph, "http://ns.adobe.com/exif/1.0/ExposureTime") == ["70903/250"]
    assert values(graph, "http://ns.adobe.com/exif/1.0/FNumber") == ["8/1"]
    assert values(graph, f"{NAMESPACE}FilterStops") == ["10.23"]
    assert values(graph, f"{NAMESPACE}TrueOpenSeconds") == ["283.612"]
    assert values(graph, f"{NAMESPACE}DriftStopsPerMinute") == ["-0.18"]
    assert values(graph, f"{NAMESPACE}SunAltitudeDegrees") == ["-1.0 -1.3 -1.6"]
    assert values(graph, f"{NAMESPACE}FreeBytes") == ["12000000000"]
    told = {str(name).removeprefix(NAMESPACE) for name in graph.predicates() if str(name).startswith(NAMESPACE)}
    assert told == set(OWN_FIELDS)
    assert values(graph, "http://ns.adobe.com/xap/1.0/Rating") == ["-1"]  # rejected: XMP specification part 1, 8.4
    held = next(graph.objects(None, rdflib.URIRef(f"{NAMESPACE}Verdict")))
    assert [str(each) for each in graph.items(held)] or len(list(graph.objects(held))) == 3


def test_exiftool_and_exiv2_read_it(tmp_path: Path) -> None:
    path = ensure_side_file(tmp_path / "record", FACTS)
    assert shutil.which("exiftool") and shutil.which("exiv2"), "apt install libimage-exiftool-perl exiv2"
    run = subprocess.run(["exiftool", "-json", "-n", "-G1", str(path)], capture_output=True, text=True, check=True)
    told = json.loads(run.stdout)[0]
    assert told["XMP-exif:ExposureTime"] == pytest.approx(283.612)
    assert told["XMP-exif:DateTimeOriginal"] == "2026:10:14 17:21:10.250Z"
    assert told["XMP-exif:ISO"] == 100
    assert told["XMP-duskhold:FilterStops"] == 10.23
    assert told["XMP-duskhold:Verdict"] == list(FACTS.verdict)
    assert told["XMP-duskhold:Remarks"] == list(FACTS.remarks)
    assert told["XMP-xmp:Rating"] == -1
    assert "Warning" not in run.stdout
    seen = subprocess.run(["exiv2", "-PXkt", str(path)], capture_output=True, text=True, check=True)
    assert "Xmp.exif.ExposureTime" in seen.stdout
    assert "moved 3.2 px: <a leg> & so on" in seen.stdout
    assert seen.stderr == ""


def test_position_only_when_asked_for(tmp_path: Path) -> None:
    assert b"GPS" not in side_file(FACTS)
    placed = packet(replace(FACTS, place=Place(57.35, -5.55)))
    assert values(placed, "http://ns.adobe.com/exif/1.0/GPSLatitude") == ["57,21.000000N"]
    assert values(placed, "http://ns.adobe.com/exif/1.0/GPSLongitude") == ["5,33.000000W"]


def test_what_no_xml_can_hold_does_not_spoil_it() -> None:
    strange = replace(FACTS, settings=("owner: a\x01\x00b\udc80\uffff c",), more=(("Tide", "\x1b[A"),))
    graph = packet(strange)
    assert values(graph, f"{NAMESPACE}Tide") == ["\ufffd[A"]
    held = next(graph.objects(None, rdflib.URIRef(f"{NAMESPACE}Settings")))
    assert "owner: a\ufffd\ufffdb\ufffd\ufffd c" in map(str, graph.objects(held))


def test_it_is_written_once_and_never_over_another(tmp_path: Path) -> None:
    folder = tmp_path / "record"
    first = ensure_side_file(folder, FACTS)
    assert first.name == "20261014-172110-3f2a.xmp"
    content = first.read_bytes()
    assert ensure_side_file(folder, FACTS) == first
    second = ensure_side_file(folder, replace(FACTS, good=True, verdict=()))
    assert second.name == "20261014-172110-3f2a-2.xmp"
    assert first.read_bytes() == content
    assert sorted(path.name for path in folder.iterdir()) == [second.name, first.name]


def test_from_a_record_and_a_comparison() -> None:
    record = {
        "frame_id": "20261014-172110-3f2a",
        "role": "long",
        "outcome": "link_lost",
        "planned_s": 180.0,
        "open_s": None,
        "opened_utc": "2026-10-14T17:21:10.250Z",
        "files": [{"path": "/x/y/a.DNG", "sha256": "00ff"}],
        "decision": {"rate_stops_per_min": -0.18, "correction_stops": 0.6},
    }
    measured = {"good": False, "shift_px": [1.0, 2.0], "verdict": [{"text": "moved"}], "sharpness_ratio": None}
    facts = facts_of(record, measured)
    assert (facts.open_s, facts.drift_stops_per_min, facts.verdict) == (None, -0.18, ("moved",))
    assert facts.pictures == (("a.DNG", "00ff"),)
    assert b"TrueOpenSeconds" not in side_file(facts)
    assert facts_of(record).good is None


def test_all_that_led_to_the_time_and_was_measured_is_told_but_not_the_place() -> None:
    record: dict[str, object] = {
        "frame_id": "20261014-172110-3f2a",
        "role": "long",
        "outcome": "complete",
        "open_s_sigma_s": 0.01,
        "reason": None,
        "settings": {"iso": "100", "white_balance": "daylight"},
        "decision": {
            "plain_s": 185.3,
            "delay_s": 70.0,
            "filters": ["ten"],
            "finishable": True,
            "ways_out": [{"name": "aperture", "open_s": 230.7}],
            "light": {"measured_stops_per_min": -0.18, "model_stops_per_min": None},
            "place": {"latitude_deg": 57.35},
            "base_frames": [{"frame_id": "b", "path": "/home/me/b.DNG", "sun_altitude_deg": -1.02345}],
        },
    }
    measured = {
        "clipped_share": {"r": 0.0, "g": 0.001, "b": 0.0},
        "cast_stops": {"r": 0.1, "b": -0.2},
        "scale": 1.0002,
        "spots": 2,
        "moved_during": False,
        "leak_worst_share": None,
    }
    facts = facts_of(record, measured, "20261014-172000-00aa")
    assert dict(facts.more) == {
        "OpenSecondsSigma": "0.01",
        "PlainOpenSeconds": "185.3",
        "DelaySeconds": "70",
        "BaseFrame": "20261014-172000-00aa",
        "Scale": "1.0002",
        "Spots": "2",
        "MovedDuring": "False",
        "ClippedShares": "0 0.001 0",
        "CastStops": "0.1 -0.2",
    }
    assert {name for name, _ in facts.more} < set(MORE)
    assert (facts.filters, facts.settings) == (("ten",), ("iso: 100", "white_balance: daylight"))
    assert facts.reasoning == (
        "plain_s: 185.3",
        "delay_s: 70",
        "filters.1: ten",
        "finishable: True",
        "ways_out.1.name: aperture",
        "ways_out.1.open_s: 230.7",
        "light.measured_stops_per_min: -0.18",
        "base_frames.1.frame_id: b",
    )
    assert values(packet(facts), f"{NAMESPACE}DelaySeconds") == ["70"]
