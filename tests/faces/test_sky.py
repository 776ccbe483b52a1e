"""`duskhold sky`: its JSON, its words and its refusals."""

import json
from typing import Any

import pytest

from duskhold.faces import cli

Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def no_settings(monkeypatch: pytest.MonkeyPatch, tmp_path: Any) -> None:
    monkeypatch.delenv("DUSKHOLD_SETTINGS", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("NO_COLOR", "1")


def answer(capsys: Capture, *words: str, status: int = 0) -> dict[str, Any]:
    assert cli.main(["sky", *words, "--json"]) == status
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def test_an_instant(capsys: Capture) -> None:
    # NREL/TP-560-34302, table A5.1, airless; the offset is turned into UTC
    body = answer(capsys, "--place", "39.742476,-105.1786", "--at", "2003-10-17T12:30:30-07:00")
    assert list(body) == ["at_utc", "sun", "moon", "illuminance_lx", "rate_stops_per_min"]
    assert body["at_utc"] == "2003-10-17T19:30:30.000Z"
    assert body["sun"]["altitude_deg"] == pytest.approx(39.872046, abs=0.003)
    assert body["sun"]["azimuth_deg"] == pytest.approx(194.340241, abs=0.005)
    assert set(body["moon"]) == {"altitude_deg", "azimuth_deg", "phase_angle_deg"}
    # Almanac table 12.8 between 20 and 90 degrees
    assert 60_000 < body["illuminance_lx"] < 80_000


@pytest.mark.parametrize("words", [("--place", "-33.9,18.4"), ("--place=-33.9,18.4",)])
def test_a_southern_place_is_not_taken_for_an_option(capsys: Capture, words: tuple[str, ...]) -> None:
    body = answer(capsys, *words, "--at", "2026-12-21T10:00:00Z")
    assert body["sun"]["altitude_deg"] > 70.0


def test_a_day_in_order_of_time(capsys: Capture) -> None:
    body = answer(
        capsys, "--place", "57.32,-5.61", "--date", "2026-10-14",
        "--altitude", "-1", "-0.8333", "--altitude", "-6",
    )  # fmt: skip
    assert body["from_utc"] == "2026-10-14T00:22:26.400Z"
    events = body["events"]
    assert [event["direction"] for event in events] == ["up", "up", "up", "down", "down", "down"]
    assert [event["altitude_deg"] for event in events] == [-6.0, -1.0, -0.8333, -0.8333, -1.0, -6.0]
    times = [event["at_utc"] for event in events]
    assert times == sorted(times)
    # Worked by hand with another sun routine, within 20 s: sunset 17:21:55, -1 degree 17:23:12, -6 degrees 18:00:47
    assert "2026-10-14T17:21:35" < times[3] < "2026-10-14T17:22:15"
    assert "2026-10-14T17:22:52" < times[4] < "2026-10-14T17:23:32"
    assert "2026-10-14T18:00:27" < times[5] < "2026-10-14T18:01:07"


def test_what_does_not_happen_has_a_reason(capsys: Capture) -> None:
    body = answer(capsys, "--place", "69.6,18.9", "--date", "2026-06-21", "--altitude", "-6", "10")
    happened = [event for event in body["events"] if event["at_utc"]]
    absent = [event for event in body["events"] if event["at_utc"] is None]
    assert [event["altitude_deg"] for event in happened] == [10.0, 10.0]
    assert {event["direction"] for event in absent} == {"up", "down"}
    assert all("stays above" in event["reason"] for event in absent)
    assert all(event["reason"] is None for event in happened)


@pytest.mark.parametrize("latitude", ["90", "-90"])
@pytest.mark.parametrize("date", ["2026-03-20", "2026-06-21", "2026-09-23"])
def test_at_the_poles(capsys: Capture, latitude: str, date: str) -> None:
    body = answer(capsys, "--place", f"{latitude},0", "--date", date)
    assert len(body["events"]) == 8


@pytest.mark.parametrize(
    ("words", "field", "said"),
    [
        (("--at", "2026-10-14T17:00:00Z"), "--place", "No place"),
        (("--place", "91,0"), "--place", "latitude 91"),
        (("--place", "here"), "--place", "LAT,LON"),
        (("--place", "1,2", "--at", "2026-10-14T17:00:00"), "--at", "no offset"),
        (("--place", "1,2", "--at", "0001-01-01T00:00:00Z"), "--at", "1900 to 2100"),
        (("--place", "1,2", "--date", "2026-02-30"), "--date", "not a day"),
        (("--place", "1,2", "--date", "20260203"), "--date", "not a day"),
        (("--place", "1,2", "--date", "9999-12-31"), "--date", "1900 to 2100"),
        (("--place", "1,2", "--date", "2026-02-03", "--altitude", "nan"), "--altitude", "nan"),
        (("--place", "1,2", "--date", "2026-02-03", "--altitude", "-91"), "--altitude", "-91"),
        (("--place", "1,2", "--altitude", "-6"), "--altitude", "on a day"),
    ],
)
def test_bad_input(capsys: Capture, words: tuple[str, ...], field: str, said: str) -> None:
    error = answer(capsys, *words, status=2)["error"]
    assert error["field"] == field
    assert said.lower() in error["message"].lower()


def test_the_place_and_the_zone_come_from_the_settings(capsys: Capture, tmp_path: Any) -> None:
    file = tmp_path / "settings.yaml"
    file.write_text("place: {latitude_deg: 50.0, longitude_deg: -4.0}\nzone: Australia/Perth\n", encoding="utf-8")
    assert cli.main(["sky", "--settings", str(file), "--at", "2026-10-14T17:21:10Z"]) == 0
    said = capsys.readouterr().out
    assert "50° N 4° W" in said
    assert "17:21:10 UTC" in said and "01:21:10 AWST" in said
    assert "\x1b" not in said


def test_bad_settings_are_named(capsys: Capture, tmp_path: Any) -> None:
    file = tmp_path / "settings.yaml"
    file.write_text("place: {latitude_deg: 95, longitude_deg: 0}\n", encoding="utf-8")
    error = answer(capsys, "--settings", str(file), status=2)["error"]
    assert "latitude_deg" in error["message"] and "settings.yaml" in error["message"]


def test_a_day_in_words(capsys: Capture) -> None:
    assert cli.main(["sky", "--place", "69.6,18.9", "--date", "2026-05-20", "--altitude", "0", "-6"]) == 0
    said = capsys.readouterr().out
    assert "22:01:39" in said and "stays above" in said
