"""`duskhold solve --bracket` and `--stack`: evenings worked by hand through the command line, and refusals."""

import json
from datetime import datetime
from typing import Any

import pytest

from duskhold.faces import cli

Capture = pytest.CaptureFixture[str]

METERED = ("--metered", "2026-10-14T17:20:00Z")
HOLLIN = ("--base", "=60", *METERED, "--opens", "2026-10-14T17:20:30Z", "--rate", "-0.15")
FALLS = ("--base", "1/30", "--filters", "3.1", *METERED, "--opens", "2026-10-14T17:20:00Z", "--rate", "0")


@pytest.fixture(autouse=True)
def no_settings(monkeypatch: pytest.MonkeyPatch, tmp_path: Any) -> None:
    monkeypatch.delenv("DUSKHOLD_SETTINGS", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def answer(capsys: Capture, *words: str, status: int = 0) -> dict[str, Any]:
    assert cli.main(["solve", *words, "--json"]) == status
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def after_s(moment: str) -> float:
    return (datetime.fromisoformat(moment) - datetime.fromisoformat(METERED[1])).total_seconds()


def test_a_bracket_while_the_light_fails(capsys: Capture) -> None:
    # Worked by hand from T = log2(1 + A r ln 2) / r, r = -0.15 stop/min, 30 s after metering, 10 s between frames
    found = answer(capsys, *HOLLIN, "--bracket", "-1,0,1")["bracket"]
    assert found["order"] == "longest_first" and found["longest_over_shortest"] == pytest.approx(2.8, abs=0.05)
    assert [one["open_s"] for one in found["frames"]] == pytest.approx([142.7, 88.8, 51.1], abs=0.1)
    assert [after_s(one["opens_utc"]) for one in found["frames"]] == pytest.approx([30, 182.7, 281.5], abs=0.1)
    assert after_s(found["ends_utc"]) == pytest.approx(332.6, abs=0.1)
    other = found["other_order"]
    assert other["order"] == "shortest_first" and other["longest_over_shortest"] == pytest.approx(5.6, abs=0.05)
    assert [one["open_s"] for one in other["frames"]] == pytest.approx([32.5, 72.4, 183.2], abs=0.1)
    errors = [one["uncorrected_error_stops"] for one in other["frames"]]
    assert errors == pytest.approx([-0.11, -0.26, -0.53], abs=0.006)
    assert cli.main(["solve", *HOLLIN, "--bracket", "-1,0,1"]) == 0
    said = capsys.readouterr().out
    assert "Bracket, longest first: times differ 2.8 : 1 (shortest first 5.6 : 1)" in said


def test_a_bracket_leans_as_the_settings_say(capsys: Capture, tmp_path: Any) -> None:
    file = tmp_path / "lean.yaml"
    file.write_text("lean: {dusk_longer_stops: 1}\n", encoding="utf-8")
    leaning = answer(capsys, *HOLLIN, "--bracket", "-2,-1", "--settings", str(file))["bracket"]["frames"]
    plain = answer(capsys, *HOLLIN, "--bracket", "-1,0")["bracket"]["frames"]
    assert [one["open_s"] for one in leaning] == pytest.approx([one["open_s"] for one in plain])


def test_a_bracket_that_cannot_be_finished(capsys: Capture) -> None:
    words = ("--base", "=200", *METERED, "--opens", "2026-10-14T17:20:30Z", "--rate", "-0.3", "--bracket", "0,2")
    found = answer(capsys, *words)["bracket"]
    assert found["frames"] == [] and "does not suffice for the frame of +2.00 stop" in found["reason"]
    assert cli.main(["solve", *words]) == 0
    assert "The bracket cannot be finished in either order: the light does not" in capsys.readouterr().out


def test_frames_of_a_bracket_past_the_limits_say_so(capsys: Capture, tmp_path: Any) -> None:
    # 142.7, 88.8 and 51.1 s of plain times of 120, 60 and 30 s: 0.25, 0.57 and 0.77 stop for the light
    file = tmp_path / "limits.yaml"
    file.write_text("limits: {longest_s: 140, shortest_s: 60, correction_max_stops: 0.6}\n", encoding="utf-8")
    words = (*HOLLIN, "--bracket", "-1,0,1", "--settings", str(file))
    frames = answer(capsys, *words)["bracket"]["frames"]
    assert [one["limits_exceeded"] for one in frames] == [["longest_s"], [], ["shortest_s", "correction_max_stops"]]
    assert cli.main(["solve", *words]) == 0
    assert "without correction, past longest_s: expose would refuse" in capsys.readouterr().out


def test_a_stack_at_a_waterfall(capsys: Capture) -> None:
    # Worked by hand: 1/32 s x 2^3.1 = 0.268 s; 64 of them are 17.15 s, log2(17.15 x 32) = 9.1 stops; noise / sqrt(64)
    words = ("--stack", "64", "--gap", "0.9", "--picture-mb", "52", "--lead-mb-per-s", "25", "--buffer", "20")
    found = answer(capsys, *FALLS, *words)["stack"]
    assert found["frame_s"] == pytest.approx(0.268, abs=5e-4) and found["open_s"] == pytest.approx(17.15, abs=0.01)
    assert found["equals_stops"] == pytest.approx(9.1, abs=0.005) and found["noise_divided_by"] == 8.0
    assert found["needed_bytes"] == pytest.approx(3.33e9, rel=0.001) and found["backlog_frames"] == 28
    assert found["full_at_frame"] in (45, 46) and found["full_after_s"] == pytest.approx(53.0, abs=1.0)
    assert found["shot_s"] == pytest.approx(91.5, abs=1.0) and found["home_s"] == pytest.approx(133.0, abs=1.0)
    assert found["first_stops"] == found["last_stops"] == 0.0
    late = [word.replace("17:20:00", "17:19:00") if before == "--metered" else word
            for before, word in zip(("", *FALLS), FALLS, strict=False)]  # fmt: skip
    fading = answer(capsys, *late[:-1], "-0.2", *words)["stack"]
    assert fading["frame_s"] == found["frame_s"] and fading["first_stops"] == pytest.approx(-0.2)
    assert fading["last_stops"] == pytest.approx(-0.2 * (1.0 + fading["shot_s"] / 60.0))
    assert cli.main(["solve", *FALLS, *words]) == 0
    assert "A stack of 64 frames" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("--bracket", "1"), "--bracket"),
        (("--bracket", "0,nan"), "--bracket"),
        (("--bracket", "0,0"), "--bracket"),
        (("--bracket", "0,9"), "--bracket"),
        (("--bracket", "more"), "--bracket"),
        (("--stack", "1"), "--stack"),
        (("--stack", "9", "--buffer", "0"), "--buffer"),
        (("--stack", "9", "--picture-mb", "nan"), "--picture-mb"),
        (("--stack", "9", "--lead-mb-per-s", "0"), "--lead-mb-per-s"),
        (("--stack", "9", "--gap", "-1"), "--gap"),
        (("--gap", "3"), "--gap"),
    ],
)
def test_bad_input(capsys: Capture, words: tuple[str, ...], field: str) -> None:
    assert answer(capsys, *FALLS, *words, status=2)["error"]["field"] == field
