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
    said: dict[str, Said] = {}
    # Part by part from every note: two that are written in one moment know nothing of each other.
    for note in journal.notes_since(WORD, now_utc - AGE_MAX):
        for name, each in note.detail.items():
            if isinstance(each, dict) and timedelta(0) <= now_utc - utc_from(each["said_utc"]) <= AGE_MAX:
                said[name] = Said(each["value"], utc_from(each["said_utc"]))
    return Weather(said)


def say_weather(journal: Journal, values: Mapping[str, float | str], stamp: Stamp) -> Weather:
    """Keep it; returns what holds now, of what was said before, too. Raises `JournalError`."""
    said_utc = utc_text(stamp.utc)
    journal.note(Note(WORD, {name: {"value": value, "said_utc": said_utc} for name, value in values.items()}), stamp)
    return weather_at(journal, utc_from(said_utc))
