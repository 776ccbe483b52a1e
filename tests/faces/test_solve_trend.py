"""`duskhold solve` with readings, the bag and a wanted time: worked evenings through the command line."""

import json
import math
from pathlib import Path
from typing import Any

import pytest

from duskhold.faces import cli, light_picture

Capture = pytest.CaptureFixture[str]

TIMES = ("--metered", "2026-10-14T17:20:00Z", "--opens", "2026-10-14T17:21:10Z")
LOCH = ("--base", "1/6", "--filters", "10.2", *TIMES)
BAG = """filters:
  - {name: three, label: 3, measured_stops: {red: 3.1, green: 3.1, blue: 3.1}}
  - {name: six, label: 6, measured_stops: {red: 6.2, green: 6.2, blue: 6.2}}
  - {name: ten, label: 10, measured_stops: {red: 10.3, green: 10.3, blue: 10.3}}
"""


@pytest.fixture(autouse=True)
def own_folders(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("DUSKHOLD_SETTINGS", raising=False)
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path))


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    path = tmp_path / "readings.csv"
    rows = ["taken_utc,level_stops,sigma_stops,source"]
    rows += [
        f"{at},{math.log2(mean):.5f},0.02,base"
        for at, mean in (("2026-10-14T17:14:00Z", 4380), ("2026-10-14T17:20:00Z", 2072))
    ]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def bag(tmp_path: Path) -> Path:
    path = tmp_path / "bag.yaml"
    path.write_text(BAG, encoding="utf-8")
    return path


def answer(capsys: Capture, *words: str, status: int = 0) -> dict[str, Any]:
    assert cli.main(["solve", *words, "--json"]) == status
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def test_dusk_from_readings(capsys: Capture, readings: Path) -> None:
    body = answer(capsys, *LOCH, "--readings", str(readings), "--place", "57.32,-5.61")
    assert body["open_s"] == pytest.approx(283.6, abs=0.5)
    trend = body["trend"]
    assert trend["choice"] == "measured" and trend["readings_used"] == 2
    assert trend["measured_rate_stops_per_min"] == pytest.approx(-0.18, abs=0.001)
    assert trend["model_rate_stops_per_min"] == pytest.approx(-0.12, abs=0.005)
    assert "clock" in trend["disagreement"]
    budget = body["budget"]
    parts = [budget[name] for name in ("reading", "rate", "filter", "latency")]
    assert budget["total"] == pytest.approx(math.sqrt(sum(part**2 for part in parts)))
    assert budget["filter"] == 0.03 and 0.0 < budget["miss_probability"] < 0.01
    assert body["ways_out"] == [] and body["proposals"] is None


def test_how_likely_a_chosen_tolerance_is_missed(capsys: Capture, readings: Path, tmp_path: Path) -> None:
    words = (*LOCH, "--readings", str(readings), "--tolerance", "0.1")
    budget = answer(capsys, *words)["budget"]
    # Two sides of a normal distribution: erfc(x / (sigma sqrt 2))
    expected = math.erfc(0.1 / budget["total"] / math.sqrt(2.0))
    assert budget["tolerance_stops"] == 0.1 and budget["miss_probability"] == pytest.approx(expected)
    leaning = tmp_path / "lean.yaml"
    leaning.write_text("lean: {dusk_longer_stops: 0.1}\n", encoding="utf-8")
    on_the_edge = answer(capsys, *words, "--settings", str(leaning))["budget"]["miss_probability"]
    assert on_the_edge == pytest.approx(0.5, abs=0.05)
    assert answer(capsys, *LOCH, "--rate", "0", "--tolerance", "0", status=2)["error"]["field"] == "--tolerance"


def test_what_other_rules_would_give(capsys: Capture, tmp_path: Path) -> None:
    file = tmp_path / "label.yaml"
    file.write_text("filters: [{name: s, label: 10, measured_stops: {red: 10.2, green: 10.2, blue: 10.2}}]\n")
    words = ("--base", "1/6", "--filters", "s", *TIMES, "--rate", "-0.18", "--settings", str(file))
    others = answer(capsys, *words)["alternatives"]
    assert [one["open_s"] for one in others[:2]] == pytest.approx([161.3, 185.3], abs=0.1)
    assert [one["error_stops"] for one in others[:2]] == pytest.approx([-0.65, -0.48], abs=0.006)
    dawn = ("--base", "1/4", "--filters", "9.8", "--rate", "0.25", "--metered", "2026-04-12T05:05:30Z")
    others = answer(capsys, *dawn, "--opens", "2026-04-12T05:07:00Z")["alternatives"]
    assert [one["name"] for one in others] == ["plain time, no drift", "half a stop by habit"]
    assert [one["error_stops"] for one in others] == pytest.approx([0.86, 0.22], abs=0.006)


def test_ways_out_from_the_bag(capsys: Capture, tmp_path: Path) -> None:
    file = tmp_path / "orrel.yaml"
    file.write_text(
        "filters:\n  - {name: dark, label: 10.1}\n  - {name: middle, label: 6.2}\nlimits: {longest_s: 240}\n",
        encoding="utf-8",
    )
    at = "2026-10-14T17:20:00Z"
    words = ("--base", f"={300 / 2**10.1:.6f}", "--filters", "dark", "--rate", "-0.35", "--metered", at, "--opens", at,
             "--iso", "100", "--aperture", "f/11", "--settings", str(file), "--bag")  # fmt: skip
    body = answer(capsys, *words)
    assert body["finishable"] is False and body["shortfall_stops"] == pytest.approx(0.28, abs=0.005)
    ways = body["ways_out"]
    assert [way["kind"] for way in ways] == ["aperture", "aperture", "iso", "filter", "accept", "accept"]
    assert [way["open_s"] for way in ways] == pytest.approx([230.7, 240.0, 230.7, 21.0, 240.0, 480.0], abs=0.1)
    assert [way["shortfall_stops"] for way in ways] == pytest.approx([0, 0, 0, 0, 0.97, 0.50], abs=0.005)
    assert ways[3]["setting"] == "middle" and ways[2]["setting"] == "ISO 200"
    assert body["budget"] is None


def test_ways_out_lean_as_the_frame_does(capsys: Capture, tmp_path: Path) -> None:
    # Half a stop more is wanted than was metered, so each way falls half a stop more short, or gathers it
    file = tmp_path / "lean.yaml"
    file.write_text("lean: {dusk_longer_stops: 0.5}\nlimits: {longest_s: 240}\n", encoding="utf-8")
    at = "2026-10-14T17:20:00Z"
    words = ("--base", "=300", "--rate", "-0.35", "--metered", at, "--opens", at, "--settings", str(file))
    body = answer(capsys, *words)
    assert body["shortfall_stops"] == pytest.approx(0.28 + 0.5, abs=0.005)
    ways = {(way["kind"], way["open_s"]): way for way in body["ways_out"]}
    assert ways["accept", 240.0]["shortfall_stops"] == pytest.approx(0.97 + 0.5, abs=0.005)
    gained_s = 300.0 * 2**0.5 / 2 ** body["ways_out"][0]["gains_stops"]
    assert body["ways_out"][0]["open_s"] == pytest.approx(-math.log2(1 - gained_s / 247.3) * 60 / 0.35, rel=0.001)


def test_what_is_proposed_leans_as_it_is_then_held(capsys: Capture, bag: Path) -> None:
    bag.write_text(f"{bag.read_text(encoding='utf-8')}lean: {{dusk_longer_stops: 0.5}}\n", encoding="utf-8")
    words = ("--base", "1/30", "--rate", "-0.3", *TIMES, "--settings", str(bag))
    best = answer(capsys, *words, "--aperture", "f/11", "--want", "60s")["proposals"][0]
    fitted = ("--filters", ",".join(best["filters"]), "--aperture", f"f/11:{best['aperture']}")
    assert answer(capsys, *words, *fitted)["open_s"] == pytest.approx(best["open_s"])


def test_a_large_correction_is_told_and_advised_against(capsys: Capture) -> None:
    at = "2026-10-14T17:20:00Z"
    words = ("--base", "=240", "--rate", "-0.35", "--metered", at, "--opens", at)
    body = answer(capsys, *words)
    assert body["open_s"] > 800.0 and body["limits_exceeded"] == ["correction_max_stops"]
    assert body["ways_out"]
    assert cli.main(["solve", *words]) == 0
    assert "another filter" in capsys.readouterr().out


def test_cloud_streaks_by_time_and_by_look(capsys: Capture, bag: Path) -> None:
    words = ("--base", "1/30", "--rate", "0", *TIMES, "--aperture", "f/11", "--settings", str(bag))
    body = answer(capsys, *words, "--want", "258s")
    best = body["proposals"][0]
    assert (best["filters"], best["aperture"], best["iso"]) == (["three", "ten"], "f/10", "100")
    assert best["open_s"] == pytest.approx(268.1, abs=0.1) and best["fits"]
    assert [one["later_min"] for one in body["plan_b"]] == [10.0, 20.0]
    look = answer(capsys, *words, "--want", "look:cloud-streaks", "--iso-limit", "400")
    assert all(30.0 <= one["open_s"] <= 300.0 for one in look["proposals"])
    assert cli.main(["solve", *words, "--want", "look:cloud-streaks"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Fit three+ten, f/8, ISO 100: hold")
    assert "Hold the shutter" not in said  # the bare lens is not what was asked about


def test_what_is_proposed_says_its_look_and_its_streak(capsys: Capture, bag: Path) -> None:
    # Worked by hand: 15 % of 8256 px at 4.8 px/s is 258 s, 25 % off will do; 268.1 s are 15.6 %, 212.8 s 12.4 %
    words = ("--base", "1/30", "--rate", "0", *TIMES, "--aperture", "f/11", "--settings", str(bag))
    streak = ("--want", "streak:15%", "--cloud", "4.8/8256")
    body = answer(capsys, *words, *streak)
    assert [one["open_s"] for one in body["proposals"]] == pytest.approx([268.1, 212.8], abs=0.1)
    assert [one["streak_share"] for one in body["proposals"]] == pytest.approx([0.156, 0.124], abs=5e-4)
    assert "cloud-streaks" in body["proposals"][0]["looks"] and body["proposals"][0]["reason"] is None
    assert body["plan_b"][0]["proposal"]["streak_share"] == pytest.approx(0.156, abs=5e-4)
    untold = answer(capsys, *words, "--want", "258s")["proposals"][0]
    assert untold["streak_share"] is None and untold["reason"]
    assert cli.main(["solve", *words, *streak]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Fit three+ten, f/10, ISO 100: hold the shutter 4:28.1\n") and "streak of 15.6 %" in said
    assert cli.main(["solve", *words, "--want", "5s", "--apertures", "f/11"]) == 0
    assert capsys.readouterr().out.startswith("Nothing in the bag gives that; nearest is six, f/11")


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_a_picture_is_drawn(capsys: Capture, readings: Path, tmp_path: Path, suffix: str) -> None:
    target = tmp_path / f"light{suffix}"
    answer(capsys, *LOCH, "--readings", str(readings), "--place", "57.32,-5.61", "--picture", str(target))
    assert target.stat().st_size > 5000
    never = tmp_path / f"never{suffix}"
    answer(capsys, "--base", "=300", *TIMES, "--rate", "-0.35", "--picture", str(never))
    assert never.stat().st_size > 5000


def test_asked_what_to_fit_the_picture_has_the_opening_of_that(
    capsys: Capture, bag: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[float | None] = []
    monkeypatch.setattr(light_picture, "_draw_light", lambda *given: drawn.append(given[-1]))
    given = ("--base", "1/30", "--rate", "-0.3", *TIMES, "--aperture", "f/11", "--settings", str(bag))
    words = (*given, "--want", "60s", "--picture", str(tmp_path / "fit.png"))
    best = answer(capsys, *words)["proposals"][0]["open_s"]
    held = answer(capsys, *words, "--filters", "six")["open_s"]
    nearest = answer(capsys, *words, "--base", "=300")
    assert nearest["open_s"] is None  # the bare lens at the metered aperture could not be finished, and nobody asks
    assert drawn == [best, held, nearest["proposals"][0]["open_s"]] and held != best


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("when,level\n", "taken_utc is missing"),
        ("taken_utc,level_stops,sigma_stops,source\n", "0 readings"),
        ("taken_utc,level_stops,sigma_stops,source\n2026-10-14T17:14:00,1,0.1,base\n", "line 2: taken_utc"),
        ("taken_utc,level_stops,sigma_stops,source\n2026-10-14T17:14:00Z,nan,0.1,base\n", "line 2: level_stops"),
        ("taken_utc,level_stops,sigma_stops,source\n2026-10-14T17:14:00Z,1,0,base\n", "line 2: sigma_stops"),
        ("taken_utc,level_stops,sigma_stops,source\n2026-10-14T17:14:00Z,1\n", "line 2: sigma_stops is missing"),
        ("taken_utc,level_stops,sigma_stops,source\n\n\n2026-10-14T17:14:00Z,1,x,base\n", "line 4: sigma_stops"),
        ("taken_utc,level_stops,sigma_stops,source\n2026-10-14T17:14:00Z,12,5,0,02,base\n", "line 2 has more cells"),
        (
            "taken_utc,level_stops,sigma_stops,source\n2026-10-14T17:14:00Z,150,0.1,base\n2026-10-14T17:20:00Z,2,1,base\n",
            "level_stops go from 2 to 150",
        ),
        ("taken_utc,level_stops,sigma_stops,source\n2026-10-14T17:14:00Z,1,6,base\n", "line 2: sigma_stops: '6'"),
        ('taken_utc,level_stops,sigma_stops,source\n2026-10-14T17:14:00Z,1,0.1,"base\n', "line 2 is no table"),
    ],
)
def test_a_table_that_cannot_be_read(capsys: Capture, tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    error = answer(capsys, *LOCH, "--readings", str(path), status=2)["error"]
    assert error["field"] == "--readings" and said in error["message"]


def test_readings_that_no_light_gives(capsys: Capture, readings: Path) -> None:
    rows = readings.read_text(encoding="utf-8").splitlines()
    at = "2026-10-14T17:19:59Z"
    readings.write_text("\n".join([rows[0], f"{at},22,0.02,base", rows[2]]), encoding="utf-8")
    error = answer(capsys, *LOCH, "--readings", str(readings), status=3)["error"]
    assert error["code"] == "readings_implausible" and "which no light does" in error["message"]


def test_a_table_with_blanks_after_its_commas_is_the_same(capsys: Capture, readings: Path) -> None:
    plain = answer(capsys, *LOCH, "--readings", str(readings))
    text = readings.read_text(encoding="utf-8")
    head, *rows = text.replace(",", ", ").splitlines()
    readings.write_text("\n".join([head, *(f"{row}, " for row in rows)]), encoding="utf-8")  # nor is an empty cell more
    assert answer(capsys, *LOCH, "--readings", str(readings)) == plain


def test_readings_that_tell_nothing(capsys: Capture, readings: Path, tmp_path: Path) -> None:
    late = ("--base", "1/6", "--metered", "2026-10-14T17:20:00Z", "--opens", "2026-10-14T17:50:00Z")
    error = answer(capsys, *late, "--readings", str(readings), status=3)["error"]
    assert error["code"] == "reading_too_old" and "1800 s" in error["message"]
    one = tmp_path / "one.csv"
    one.write_text("\n".join(readings.read_text().splitlines()[:2]), encoding="utf-8")
    error = answer(capsys, *LOCH, "--readings", str(one), status=3)["error"]
    assert error["code"] == "no_rate"
    assert answer(capsys, *LOCH, "--readings", str(readings), "--rate", "0", status=2)["error"]["field"] == "--rate"
    error = answer(capsys, *LOCH, "--readings", str(tmp_path / "gone.csv"), status=3)["error"]
    assert error["code"] == "system"


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("--want", "soon", "--aperture", "f/11"), "--want"),
        (("--want", "1e-320", "--aperture", "f/11"), "--want"),
        (("--want", "look:sharp", "--aperture", "f/11"), "--want"),
        (("--want", "60s"), "--aperture"),
        (("--want", "streak:0.15", "--aperture", "f/11"), "--cloud"),
        (("--want", "streak:nan", "--aperture", "f/11", "--cloud", "4.8/8256"), "--want"),
        (("--want", "60s", "--aperture", "f/11", "--cloud", "4.8"), "--cloud"),
        (("--want", "60s", "--aperture", "f/11", "--cloud", "0/8256"), "--cloud"),
        (("--cloud", "4.8/8256"), "--want"),
        (("--want", "60s", "--aperture", "f/11", "--apertures", "f/13:f/8"), "--apertures"),
        (("--want", "60s", "--aperture", "f/11", "--iso-limit", "0"), "--iso-limit"),
        (("--picture", "light.doc"), "--picture"),
        (("--tolerance", "nan"), "--tolerance"),
    ],
)
def test_bad_wishes(capsys: Capture, bag: Path, words: tuple[str, ...], field: str) -> None:
    error = answer(capsys, *LOCH, "--rate", "0", "--settings", str(bag), *words, status=2)["error"]
    assert error["field"] == field


def test_nothing_in_the_bag(capsys: Capture) -> None:
    error = answer(capsys, *LOCH, "--rate", "0", "--aperture", "f/11", "--want", "60s", status=2)["error"]
    assert error["field"] == "--want" and "bag" in error["message"]


@pytest.mark.parametrize(
    ("words", "field", "said"),
    [
        (("--area", "0,0,2,1"), "--area", "rectangle"),
        (("--area", "gone.png"), "--area", "no map"),
        (("--camera", "steam"), "--camera", ""),
    ],
)
def test_what_frames_on_record_cannot_be_asked(
    capsys: Capture, tmp_path: Path, words: tuple[str, ...], field: str, said: str
) -> None:
    asked = (*LOCH, "--readings", "auto", "--data", str(tmp_path / "data"))
    error = answer(capsys, *asked, *words, status=2)["error"]
    assert error["field"] == field and said in error["message"]
    assert answer(capsys, *asked, status=3)["error"]["code"] == "no_reading"
