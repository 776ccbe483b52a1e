"""`duskhold solve`: the worked examples of the trade through the command line, and its refusals."""

import json
from typing import Any

import pytest

from duskhold.faces import cli

Capture = pytest.CaptureFixture[str]

FIELDS = [
    "base_s", "plain_s", "delay_s", "rate_stops_per_min", "open_s", "closes_utc", "correction_stops", "finishable",
    "most_plain_s", "shortfall_stops", "uncorrected_error_stops", "limits_exceeded", "reason",
    "ways_out", "budget", "alternatives", "trend", "proposals", "plan_b",
    "bracket", "stack",
]  # fmt: skip
TIMES = ("--metered", "2026-10-14T17:20:00Z", "--opens", "2026-10-14T17:21:10Z")


@pytest.fixture(autouse=True)
def no_settings(monkeypatch: pytest.MonkeyPatch, tmp_path: Any) -> None:
    monkeypatch.delenv("DUSKHOLD_SETTINGS", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def answer(capsys: Capture, *words: str, status: int = 0) -> dict[str, Any]:
    assert cli.main(["solve", *words, "--json"]) == status
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def test_dusk_on_a_sea_loch(capsys: Capture) -> None:  # worked by hand, see tests/plan/test_decision.py
    body = answer(capsys, "--base", "1/6", "--filters", "10.2", *TIMES, "--rate", "-0.18")
    assert list(body) == FIELDS
    assert body["delay_s"] == 70.0
    assert body["open_s"] == pytest.approx(283.6, abs=0.1)
    assert body["correction_stops"] == pytest.approx(0.61, abs=0.005)
    assert body["closes_utc"].startswith("2026-10-14T17:25:53.6")
    assert body["limits_exceeded"] == [] and body["reason"] is None


def test_sunrise_headland(capsys: Capture) -> None:
    body = answer(
        capsys, "--base", "1/4", "--filters", "9.8", "--rate", "0.25",
        "--metered", "2026-04-12T05:05:30Z", "--opens", "2026-04-12T05:07:00Z",
    )  # fmt: skip
    assert body["open_s"] == pytest.approx(139.5, abs=0.1)
    assert body["correction_stops"] == pytest.approx(-0.68, abs=0.005)
    assert body["most_plain_s"] is None and body["reason"]


def test_the_frame_that_cannot_be_finished(capsys: Capture) -> None:
    at = "2026-10-14T17:20:00Z"
    body = answer(capsys, "--base", "=300", "--rate", "-.35", "--metered", at, "--opens", at)
    assert body["finishable"] is False
    assert body["open_s"] is None and body["closes_utc"] is None and body["correction_stops"] is None
    assert body["most_plain_s"] == pytest.approx(247.3, abs=0.05)
    assert body["shortfall_stops"] == pytest.approx(0.28, abs=0.005)
    assert "247.3 s" in body["reason"]


def test_the_most_is_as_metered(capsys: Capture) -> None:
    # With a delay the light has faded: 60 / (0.35 ln 2) x 2^(-0.35 x 70/60)
    body = answer(capsys, "--base", "=300", *TIMES, "--rate", "-0.35")
    assert body["most_plain_s"] == pytest.approx(247.3 * 2 ** (-0.35 * 70 / 60), abs=0.1)


def test_filters_aperture_and_iso_in_one(capsys: Capture) -> None:
    words = ("--base", "1/4", "--filters", "6.2,d0.9", "--aperture", "f/8:f/11", "--iso", "100:400", "--rate", "0")
    body = answer(capsys, *words, *TIMES)
    assert body["plain_s"] == pytest.approx(0.25 * 2 ** (6.2 + 0.9 / 0.30103 + 1.0 - 2.0), rel=1e-4)
    assert body["open_s"] == pytest.approx(body["plain_s"])
    assert body["correction_stops"] == 0.0 and body["uncorrected_error_stops"] == 0.0
    unchanged = answer(capsys, "--base", "1/4", "--aperture", "f/8", "--iso", "100", "--rate", "0", *TIMES)
    assert unchanged["plain_s"] == 0.25


def test_along_the_sky(capsys: Capture) -> None:
    body = answer(capsys, "--base", "1/6", "--filters", "10.2", *TIMES, "--place", "57.32,-5.61")
    assert body["rate_stops_per_min"] == pytest.approx(-0.12, abs=0.01)  # almanac table 12.8
    assert 200.0 < body["open_s"] < 283.6
    assert body["most_plain_s"] > body["plain_s"]


def test_limits_are_named_and_bend_nothing(capsys: Capture, tmp_path: Any) -> None:
    file = tmp_path / "settings.yaml"
    file.write_text("limits: {longest_s: 100, reading_age_max_s: 60}\n", encoding="utf-8")
    words = ("--base", "1/6", "--filters", "10.2", *TIMES, "--rate", "-0.18", "--settings", str(file))
    body = answer(capsys, *words)
    assert body["limits_exceeded"] == ["longest_s", "reading_age_max_s"]
    assert body["open_s"] == pytest.approx(283.6, abs=0.1)


def test_filters_from_the_bag(capsys: Capture, tmp_path: Any) -> None:
    file = tmp_path / "settings.yaml"
    file.write_text(
        "filters:\n  - name: strong\n    label: x1000\n    measured_stops: {red: 10.1, green: 10.2, blue: 10.3}\n",
        encoding="utf-8",
    )
    body = answer(capsys, "--base", "1/6", "--filters", "strong", *TIMES, "--rate", "-0.18", "--settings", str(file))
    assert body["open_s"] == pytest.approx(283.6, abs=0.1)


@pytest.mark.parametrize(
    ("words", "field", "said"),
    [
        (("--rate", "0", *TIMES), "--base", "needed"),
        (("--base", "1/4", "--rate", "0", "--opens", TIMES[3]), "--metered", "needed"),
        (("--base", "1/4", "--rate", "0", "--metered", TIMES[1]), "--opens", "needed"),
        (("--base", "1/4", *TIMES), "--rate", "one of them"),
        (("--base", "1/4", "--rate", "0", "--place", "1,2", *TIMES), "--rate", "one of them"),
        (("--base", "1/7", "--rate", "0", *TIMES), "--base", "1/8 and 1/6"),
        (("--base", "1/4", "--rate", "nan", *TIMES), "--rate", "nan"),
        (("--base", "1/4", "--rate", "-11", *TIMES), "--rate", "-10 to 10"),
        (("--base", "1/4", "--rate", "0", "--filters", "1000", *TIMES), "--filters", "x1000"),
        (("--base", "1/4", "--rate", "0", "--filters", "3,6,10", *TIMES), "--filters", "at most 2"),
        (("--base", "1/4", "--rate", "0", "--filters", "30,10", *TIMES), "--filters", "plain time"),
        (("--base", "1/4", "--rate", "0", "--aperture", "f/8:f/12", *TIMES), "--aperture", "f/13"),
        (("--base", "1/4", "--rate", "0", "--aperture", "f/8:f/11:f/16", *TIMES), "--aperture", "not on"),
        (("--base", "1/4", "--rate", "0", "--iso", "0", *TIMES), "--iso", "not on"),
        (("--base", "1/4", "--place", "95,0", *TIMES), "--place", "latitude"),
        (("--base", "1/4", "--rate", "0", "--metered", TIMES[3], "--opens", TIMES[1]), "--opens", "before"),
        (("--base", "1/4", "--rate", "0", "--metered", "2026-10-14", "--opens", TIMES[1]), "--metered", "offset"),
    ],
)
def test_bad_input(capsys: Capture, words: tuple[str, ...], field: str, said: str) -> None:
    error = answer(capsys, *words, status=2)["error"]
    assert error["field"] == field
    assert said.lower() in error["message"].lower()
    assert said != "needed" or f"{field} " in error["hint"]  # and how it is written


@pytest.mark.parametrize("rate", ["-10", "10"])
def test_the_largest_rates_are_worked_out_for_the_longest_frames(capsys: Capture, rate: str) -> None:
    body = answer(capsys, "--base", "30", "--filters", "10", *TIMES, "--rate", rate)
    assert body["finishable"] is (rate == "10") and body["plain_s"] == 32768.0


def test_in_words(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    assert cli.main(["solve", "--base", "1/6", "--filters", "10.2", *TIMES, "--rate", "-0.18"]) == 0
    said = capsys.readouterr().out
    assert "half a stop by habit: −0.09 stop" in said
    assert "4:43.6" in said and "+0.61 stop" in said and "17:25:54 UTC" in said
    assert "\x1b" not in said


def test_in_words_when_it_cannot_be_finished(capsys: Capture) -> None:
    assert cli.main(["solve", "--base", "=300", *TIMES, "--rate", "-0.35"]) == 0
    said = capsys.readouterr().out
    assert "Cannot be finished" in said and "short by" in said
