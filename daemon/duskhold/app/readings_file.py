"""Light readings from a table in CSV: `taken_utc,level_stops,sigma_stops,source`, one reading a line."""

import csv
import math
from pathlib import Path

from duskhold.light.reading import Reading
from duskhold.plan.stamp import utc_from, utc_text

COLUMNS = ("taken_utc", "level_stops", "sigma_stops", "source")
MOST_READINGS = 10_000
LARGEST_BYTES = 2_000_000


class ReadingsWrong(ValueError):
    """The table cannot be used; the message names file, line and column."""


def load_readings(path: Path) -> tuple[Reading, ...]:
    """The readings of a file, as they stand there. Raises `ReadingsWrong`, and `OSError` when it cannot be read."""
    if path.stat().st_size > LARGEST_BYTES:
        raise ReadingsWrong(f"{path} is larger than {LARGEST_BYTES} bytes")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise ReadingsWrong(f"{path} is not text in UTF-8") from None
    try:
        rows = list(csv.DictReader(text.splitlines(), strict=True))
    except csv.Error as error:
        raise ReadingsWrong(f"{path} is no table in CSV: {error}") from None
    head = text.splitlines()[0] if text else ""
    missing = [name for name in COLUMNS if name not in [word.strip() for word in head.split(",")]]
    if missing:
        raise ReadingsWrong(f"{path}, line 1: the column {missing[0]} is missing; the columns are {','.join(COLUMNS)}")
    if not 0 < len(rows) <= MOST_READINGS:
        raise ReadingsWrong(f"{path} has {len(rows)} readings; 1 to {MOST_READINGS} are read")
    return tuple(_reading(path, line, row) for line, row in enumerate(rows, start=2))


def write_readings(path: Path, readings: tuple[Reading, ...]) -> None:
    """Write the same table, to a new file."""
    with path.open("x", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(COLUMNS)
        for one in readings:
            table.writerow((utc_text(one.taken_utc), f"{one.level_stops:.4f}", f"{one.sigma_stops:.4f}", one.source))


def _reading(path: Path, line: int, row: dict[str, str]) -> Reading:
    def cell(name: str) -> str:
        value = row.get(name)
        if value is None:
            raise ReadingsWrong(f"{path}, line {line}: {name} is missing")
        return value.strip()

    try:
        taken_utc = utc_from(cell("taken_utc"))
    except ReadingsWrong:
        raise
    except ValueError as error:
        raise ReadingsWrong(f"{path}, line {line}: taken_utc: {error}") from None
    level = _number(path, line, "level_stops", cell("level_stops"), -200.0)
    sigma = _number(path, line, "sigma_stops", cell("sigma_stops"), 1e-6)
    return Reading(taken_utc, level, sigma, cell("source"))


def _number(path: Path, line: int, name: str, text: str, least: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and least <= value <= 200.0):
        raise ReadingsWrong(f"{path}, line {line}: {name}: {text!r} is not a number from {least:g} to 200")
    return value
