"""What `duskhold one` prints of a record: the ways out with their notes, a choice that was made, lines that fit."""

import sys
from typing import Any

import pytest

from duskhold.faces.expose import show as show_exposed
from duskhold.faces.one_show import show

Capture = pytest.CaptureFixture[str]

WAYS = [
    {"kind": "aperture", "setting": "f/2", "open_s": 230.7, "shortfall_stops": 0.0, "note": "not every lens"},
    {"kind": "accept", "setting": "480 s", "open_s": 480.0, "shortfall_stops": 0.5, "note": "longer than is allowed"},
]
LIGHT: dict[str, Any] = {
    "measured_stops_per_min": None, "model_stops_per_min": -0.2, "choice": "model", "disagreement": None,
    "reason": "one base frame tells no rate: the clear sky of the place is followed",
}  # fmt: skip


def record(**decision: Any) -> dict[str, Any]:
    return {
        "frame_id": "20261014-172110-3f2a", "outcome": "refused", "planned_s": None, "open_s": 0.0,
        "open_s_range": None, "opened_utc": None, "closed_utc": None, "files": [], "reason": "The light is gone.",
        "notices": [], "earlier": [], "verdict": None, "level": None, "filter_check": None,
        "decision": {"light": LIGHT, "base_frames": [{"at_least": False}], "ways_out": WAYS} | decision,
    }  # fmt: skip


def test_ways_out_have_their_notes_and_the_option_where_it_takes_one(capsys: Capture) -> None:
    show(record(), None)
    said = capsys.readouterr().out
    assert "not every lens" in said and "−0.50 stop   longer than is allowed" in said and "in full" in said
    assert "--accept-short" not in said  # which would not take it either
    within = {"kind": "accept", "setting": "240 s", "open_s": 240.0, "shortfall_stops": 1.2, "note": None}
    show(record(ways_out=[*WAYS, within]), None)
    assert "--accept-short" in capsys.readouterr().out


def test_expose_has_the_same_ways_out(capsys: Capture) -> None:
    show_exposed(record(), None)
    said = capsys.readouterr().out
    assert "Ways out" in said and "−0.50 stop" in said and "--accept-short" not in said
    show_exposed(record() | {"decision": {"asked": {"for_s": 3.0}}}, None)
    assert "Ways out" not in capsys.readouterr().out


def test_what_was_taken_short_says_so_and_offers_nothing_more(capsys: Capture) -> None:
    show(record(choice={"kind": "accept", "open_s": 240.0, "shortfall_stops": 0.97}), None)
    said = capsys.readouterr().out
    assert "taken all the same, 0.97 stop short" in said and "Ways out" not in said


def test_lines_break_between_words(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "44")
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    show(record(choice=None, ways_out=[]), None)
    lines = [line for line in capsys.readouterr().out.splitlines() if line.startswith("  ")]
    told = [line for line in lines if "light:" in line or line.startswith("    ")]
    assert len(told) > 2 and all(len(line) < 44 for line in told)
    assert " ".join(" ".join(told).split()).endswith(LIGHT["reason"])
