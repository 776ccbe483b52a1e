"""What is remembered of a set-up: what a person said of it, and how the body's settings were found.

One small file for each body; a person's answers grow old, the settings as found stay until they are put back.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from duskhold.app.checklist import Answer
from duskhold.camera.port import Setting

ANSWER_AGE_MAX_S = 12 * 3600.0  # an evening and a night; common practice, no source


class MemoryDamaged(Exception):
    """The file cannot be read; the message names it."""


@dataclass(frozen=True, slots=True)
class Said:
    right: bool
    said_utc: str


@dataclass(slots=True)
class CheckMemory:
    """`found` are the body's own words by setting, and `found_serial` whose they are."""

    path: Path
    said: dict[str, Said] = field(default_factory=dict)
    found: dict[str, str] = field(default_factory=dict)
    found_serial: str | None = None
    clock_offset_s: float | None = None

    def answers(self, now_utc: datetime) -> Mapping[str, Answer]:
        """What still holds of what a person said."""
        ages = {
            name: (now_utc - datetime.fromisoformat(each.said_utc)).total_seconds() for name, each in self.said.items()
        }
        return {
            name: Answer(self.said[name].right, age_s) for name, age_s in ages.items() if 0 <= age_s <= ANSWER_AGE_MAX_S
        }

    def remember(self, item: str, right: bool, now_utc: datetime) -> None:
        self.said[item] = Said(right, now_utc.astimezone(UTC).isoformat(timespec="seconds"))

    def forget_answers(self) -> None:
        """A new set-up: everything is asked again."""
        self.said.clear()

    def keep_as_found(self, serial: str, said: Mapping[Setting, str], clock_offset_s: float | None) -> None:
        """Keep the settings as they are now, unless those of this body are kept already."""
        if self.found and self.found_serial == serial:
            return
        self.found_serial, self.clock_offset_s = serial, clock_offset_s
        self.found = {setting.value: word for setting, word in said.items()}

    def write(self) -> None:
        """The file is there whole or not at all."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        fresh = self.path.with_suffix(".new")
        body = {
            "said": {name: asdict(each) for name, each in self.said.items()},
            "found": self.found,
            "found_serial": self.found_serial,
            "clock_offset_s": self.clock_offset_s,
        }
        with fresh.open("w", encoding="utf-8") as file:
            json.dump(body, file, indent=2, allow_nan=False)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self.path)


def _said(body: Mapping[str, Any]) -> Said:
    """Raises `ValueError`, `KeyError` or `TypeError`."""
    if datetime.fromisoformat(body["said_utc"]).tzinfo is None:
        raise ValueError(f"{body['said_utc']!r} has no offset from UTC")
    return Said(bool(body["right"]), body["said_utc"])


def read_memory(path: Path) -> CheckMemory:
    """What is remembered, or nothing. Raises `MemoryDamaged`."""
    if not path.exists():
        return CheckMemory(path)
    try:
        body = json.loads(path.read_text(encoding="utf-8"))
        said = {str(name): _said(each) for name, each in body["said"].items()}
        found = {str(Setting(name).value): str(word) for name, word in body["found"].items()}
        offset = body["clock_offset_s"]
        return CheckMemory(path, said, found, body["found_serial"], None if offset is None else float(offset))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise MemoryDamaged(f"{path} cannot be read ({error}); move it away and check again") from error
