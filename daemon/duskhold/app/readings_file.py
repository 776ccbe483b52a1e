"""Light readings from a table in CSV: `taken_utc,level_stops,sigma_stops,source`, one reading a line."""

import csv
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from duskhold.light.reading import Reading
from duskhold.plan.stamp import utc_from

COLUMNS = ("taken_utc", "level_stops", "sigma_stops", "source")
MOST_READINGS = 10_000
LARGEST_BYTES = 2_000_000
MOST_SIGMA_STOPS = 5.0
"""What is less sure is no reading."""
WIDEST_STOPS = 40.0
"""From full sun to the dark of the night it is some 30 stops."""


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
    table = csv.DictReader(text.splitlines(), strict=True, skipinitialspace=True)
    try:
        table.fieldnames = [name.strip() for name in table.fieldnames or ()]
        # The table skips empty lines: only it knows on which line of the file a row stands.
        rows = [(table.line_num, row) for row in table]
    except csv.Error as error:
        raise ReadingsWrong(f"{path}, line {table.reader.line_num} is no table in CSV: {error}") from None
    missing = [name for name in COLUMNS if name not in table.fieldnames]
    if missing:
        raise ReadingsWrong(f"{path}, line 1: the column {missing[0]} is missing; the columns are {','.join(COLUMNS)}")
    if not 0 < len(rows) <= MOST_READINGS:
        raise ReadingsWrong(f"{path} has {len(rows)} readings; 1 to {MOST_READINGS} are read")
    readings = tuple(_reading(path, line, row) for line, row in rows)
    levels = [one.level_stops for one in readings]
    if max(levels) - min(levels) > WIDEST_STOPS:
        said = f"{path}: level_stops go from {min(levels):g} to {max(levels):g}"
        raise ReadingsWrong(f"{said}, more than from full sun to starlight: are they log2 of the light, in stops?")
    return readings


def _reading(path: Path, line: int, row: Mapping[str | None, Any]) -> Reading:
    if any(cell.strip() for cell in row.get(None) or ()):
        # Such as of a decimal comma, which would make two wrong numbers of one.
        raise ReadingsWrong(f"{path}, line {line} has more cells than the head has columns; decimals have a point")

    def cell(name: str) -> str:
        value = row.get(name)
        if value is None:
            raise ReadingsWrong(f"{path}, line {line}: {name} is missing")
        return str(value).strip()

    try:
        taken_utc = utc_from(cell("taken_utc"))
    except ReadingsWrong:
        raise
    except ValueError as error:
        raise ReadingsWrong(f"{path}, line {line}: taken_utc: {error}") from None
    level = _number(path, line, "level_stops", cell("level_stops"), -200.0, 200.0)
    sigma = _number(path, line, "sigma_stops", cell("sigma_stops"), 1e-6, MOST_SIGMA_STOPS)
    return Reading(taken_utc, level, sigma, cell("source"))


def _number(path: Path, line: int, name: str, text: str, least: float, most: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and least <= value <= most):
        raise ReadingsWrong(f"{path}, line {line}: {name}: {text!r} is not a number from {least:g} to {most:g}")
    return value
