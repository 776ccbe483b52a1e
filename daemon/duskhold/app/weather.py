"""What a person says of air, wind and tide, for the record of the frames that follow until it is old. No instrument is
asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from duskhold.journal.entry import Note, Stamp
from duskhold.journal.journal import Journal
from duskhold.light.dew import dew_point_c
from duskhold.plan.stamp import utc_from, utc_text

WORD: Final = "weather"
"""Of the notes in the journal."""
AGE_MAX: Final = timedelta(hours=12)
"""An evening and a night; common practice, no source."""
NAMES: Final = ("air_c", "humidity_percent", "wind_m_s", "tide")


@dataclass(frozen=True, slots=True)
class Said:
    value: float | str
    said_utc: datetime


@dataclass(frozen=True, slots=True)
class Weather:
    """By the names of `NAMES`, as far as anybody said it."""

    said: Mapping[str, Said]

    def dew_margin_c(self) -> float | None:
        """Air minus dew point; None where one of them is not known."""
        air, humidity = self.said.get("air_c"), self.said.get("humidity_percent")
        if air is None or humidity is None:
            return None
        margin_c = float(air.value) - dew_point_c(float(air.value), float(humidity.value))
        return max(0.0, margin_c)  # air that is full of water leaves a rounding error below nothing

    def told(self) -> dict[str, object]:
        """As a frame's record has it: every name, null where nobody said it."""
        values = {name: self.said[name].value if name in self.said else None for name in NAMES}
        margin_c = self.dew_margin_c()
        return {**values, "dew_margin_c": None if margin_c is None else round(margin_c, 1)}


def weather_at(journal: Journal, now_utc: datetime) -> Weather:
    """What still holds of what was said. Raises `JournalError`."""
    found = journal.last_note(WORD)
    if found is None:
        return Weather({})
    said = {
        name: Said(each["value"], utc_from(each["said_utc"]))
        for name, each in found[0].detail.items()
        if isinstance(each, dict)
    }
    return Weather({name: each for name, each in said.items() if timedelta(0) <= now_utc - each.said_utc <= AGE_MAX})


def say_weather(journal: Journal, values: Mapping[str, float | str], stamp: Stamp) -> Weather:
    """Keep it beside what still holds; returns what holds now. Raises `JournalError`."""
    said = {**weather_at(journal, stamp.utc).said, **{name: Said(value, stamp.utc) for name, value in values.items()}}
    detail = {name: {"value": each.value, "said_utc": utc_text(each.said_utc)} for name, each in said.items()}
    journal.note(Note(WORD, detail), stamp)
    return Weather(said)
