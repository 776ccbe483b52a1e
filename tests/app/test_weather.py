"""The weather as a person tells it: each part holds for twelve hours, and stands in the frames that follow."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from duskhold.app.weather import AGE_MAX, say_weather, weather_at
from duskhold.journal.entry import Stamp
from duskhold.journal.journal import Journal

START = datetime(2026, 10, 14, 17, 0, tzinfo=UTC)
NOTHING = {"air_c": None, "humidity_percent": None, "wind_m_s": None, "tide": None, "dew_margin_c": None}


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        yield journal


def stamp(hours: float) -> Stamp:
    return Stamp(START + timedelta(hours=hours), 3600.0 * hours, "boot")


def test_what_was_said_is_kept_part_by_part(journal: Journal) -> None:
    assert weather_at(journal, START).told() == NOTHING
    say_weather(journal, {"air_c": 8.0, "humidity_percent": 85.0}, stamp(0))
    say_weather(journal, {"wind_m_s": 6.0, "tide": "low at 17:40"}, stamp(8))
    whole = {"air_c": 8.0, "humidity_percent": 85.0, "wind_m_s": 6.0, "tide": "low at 17:40", "dew_margin_c": 2.4}
    assert weather_at(journal, stamp(9).utc).told() == whole
    # Saying the wind anew does not make the air's temperature younger.
    later = weather_at(journal, START + AGE_MAX + timedelta(minutes=1)).told()
    assert later == NOTHING | {"wind_m_s": 6.0, "tide": "low at 17:40"}


def test_what_was_said_by_a_clock_that_ran_ahead_does_not_count(journal: Journal) -> None:
    say_weather(journal, {"air_c": 8.0}, stamp(5))
    assert weather_at(journal, START).told() == NOTHING


def test_what_was_said_before_a_clock_ran_ahead_still_counts(journal: Journal) -> None:
    say_weather(journal, {"air_c": 8.0, "wind_m_s": 6.0}, stamp(0))
    say_weather(journal, {"air_c": 3.0}, stamp(5))
    assert weather_at(journal, stamp(1).utc).told() == NOTHING | {"air_c": 8.0, "wind_m_s": 6.0}


def test_two_who_speak_in_one_moment_are_both_heard(
    tmp_path: Path, journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Journal.open(tmp_path / "journal.sqlite") as other:
        note = other.note

        def late(*words: Any) -> None:
            say_weather(journal, {"wind_m_s": 6.0}, stamp(0))
            note(*words)

        monkeypatch.setattr(other, "note", late)
        say_weather(other, {"air_c": 8.0}, stamp(0))
    assert weather_at(journal, START).told() == NOTHING | {"air_c": 8.0, "wind_m_s": 6.0}


def test_what_is_said_within_half_a_millisecond_of_the_next_is_told_at_once(journal: Journal) -> None:
    now = Stamp(START + timedelta(microseconds=600), 0.0, "boot")
    assert say_weather(journal, {"wind_m_s": 6.0}, now).told()["wind_m_s"] == 6.0


@pytest.mark.parametrize("air_c", [8.0, 0.1, -3.3])
def test_air_that_is_full_of_water_has_no_margin_and_no_sign_before_it(air_c: float, journal: Journal) -> None:
    weather = say_weather(journal, {"air_c": air_c, "humidity_percent": 100.0}, stamp(0))
    assert str(weather.told()["dew_margin_c"]) == "0.0" and f"{weather.dew_margin_c():.1f}" == "0.0"


def test_what_is_said_last_holds(journal: Journal) -> None:
    say_weather(journal, {"wind_m_s": 6.0}, stamp(0))
    assert say_weather(journal, {"wind_m_s": 11.0}, stamp(1)).told()["wind_m_s"] == 11.0
