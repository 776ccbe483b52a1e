"""Numbers, times and places as people read them outdoors, and tables of them."""

import sys
import textwrap
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from typing import Any, TextIO

from duskhold.faces.telling import columns_of
from duskhold.light.place import Place
from duskhold.light.sign import MINUS as MINUS
from duskhold.light.sign import signed as signed

NOT_A_TERMINAL_COLUMNS = 1000
"""A file or a pipe has no edge: nothing is cut off for it."""
LAST_COLUMN_LEAST = 12
_STAYS = "\u00a0"


def degrees(value: float, decimals: int = 1) -> str:
    """`−5.6°`."""
    return signed(value, decimals).removeprefix("+") + "°"


def stops(value: float) -> str:
    """`+0.61 stop`."""
    return f"{signed(value, 2)} stop"


def duration(seconds: float) -> str:
    """`0.25 s`, `20.1 s`, `4:43.6`, `1:02:03`."""
    if seconds < 10.0:
        return f"{seconds:.3g} s"
    if round(seconds, 1) < 60.0:
        return f"{seconds:.1f} s"
    tenths = round(seconds * 10.0)
    minutes, tenths = divmod(tenths, 600)
    if minutes < 60:
        return f"{minutes}:{tenths / 10:04.1f}"
    return f"{minutes // 60}:{minutes % 60:02d}:{tenths // 10:02d}"


def open_time(record: Mapping[str, Any]) -> str:
    """The open time in a frame's record; that of a whole frame by the dial as the dial says it: `1/10 s`. Some bodies
    have other words for their marks: `0.0667s`."""
    asked = (record["decision"] or {}).get("asked")
    if record["outcome"] == "complete" and isinstance(asked, Mapping) and "dial" in asked:
        from duskhold.light.dials import SHUTTER

        return f"{SHUTTER.nearest(float(record['planned_s'])).name} s"
    return "not known" if record["open_s"] is None else duration(float(record["open_s"]))


def amount(value: float) -> str:
    """Three significant digits without an exponent: `11,100`, `758`, `3.41`, `0.000645`."""
    if value == 0.0:
        return "0"
    rounded = float(f"{value:.3g}")
    exponent = int(f"{rounded:e}".partition("e")[2])
    return f"{rounded:,.{max(0, 2 - exponent)}f}"


def where(place: Place) -> str:
    """`33.9° S 18.4° E`."""
    north = "S" if place.latitude_deg < 0.0 else "N"
    east = "W" if place.longitude_deg < 0.0 else "E"
    return f"{abs(place.latitude_deg):g}° {north} {abs(place.longitude_deg):g}° {east}"


def clock_utc(moment: datetime) -> str:
    """`17:21:10`, to the nearest second."""
    return f"{_to_second(moment).astimezone(UTC):%H:%M:%S}"


def clock_local(moment: datetime, zone: tzinfo | None) -> str:
    """`18:21:10 BST` in this zone, the machine's own when it is None."""
    local = _to_second(moment).astimezone(zone)
    return f"{local:%H:%M:%S} {local.tzname()}"


def day_utc(moment: datetime) -> str:
    """`2026-10-14`."""
    return f"{_to_second(moment).astimezone(UTC):%Y-%m-%d}"


def print_table(title: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print aligned columns under a title: numbers to the right, the first column and the last to the left. Where a
    terminal is too narrow for them each row is told value by value, and nothing is cut off."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD if any(head) else None, show_header=any(head), pad_edge=True)
    for index, name in enumerate(head):
        is_text = index in (0, len(head) - 1)
        table.add_column(name, justify="left" if is_text else "right", no_wrap=index < len(head) - 1)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    console = Console(highlight=False, width=None if sys.stdout.isatty() else NOT_A_TERMINAL_COLUMNS)
    console.print(Text(title, style="bold"))
    if _least_columns(head, rows) <= console.width:
        console.print(table)
        return
    for row in rows:
        told = _in_a_row(head, row, console.width - 3)
        print(textwrap.fill(told, max(console.width - 1, 1), subsequent_indent="  ").replace(_STAYS, " "))


def print_line(line: str) -> None:
    """Indented, and wrapped between words where a terminal has an edge."""
    print(wrapped(f"  {line}", sys.stdout))


def say(line: str) -> None:
    """From the edge on, and wrapped between words where a terminal has another."""
    print(wrapped(line, sys.stdout))


def wrapped(text: str, stream: TextIO) -> str:
    """Each row of the text wrapped between words, and set in where it goes on; a file or a pipe gets it as it is.

    What is longer than a row, such as a path, stays whole.
    """
    if not stream.isatty():
        return text
    return "\n".join(_wrapped_row(row, columns_of(stream) - 1) for row in text.split("\n"))


def _wrapped_row(row: str, columns: int) -> str:
    words = row.lstrip(" ")
    before = row[: len(row) - len(words)]
    return textwrap.fill(
        words, columns, initial_indent=before, subsequent_indent=f"{before}  ", break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def _least_columns(head: Sequence[str], rows: Sequence[Sequence[str]]) -> int:
    """With the last column, which may wrap, at its narrowest."""
    widths = [max(len(cell) for cell in column) for column in zip(head, *rows, strict=True)]
    return sum(widths[:-1]) + min(widths[-1], LAST_COLUMN_LEAST) + 3 * len(widths)


def _in_a_row(head: Sequence[str], row: Sequence[str], columns: int) -> str:
    """`1  opened 16:55:53  role long`; a name stays with its value, unless both are longer than a row."""
    said = [row[0], *(f"{name} {cell}".strip() for name, cell in zip(head[1:], row[1:], strict=True) if cell)]
    return "  ".join(one.replace(" ", _STAYS) if len(one) <= columns else one for one in said)


def _to_second(moment: datetime) -> datetime:
    whole = moment.replace(microsecond=0)
    return whole if moment.microsecond < 500_000 else datetime.fromtimestamp(whole.timestamp() + 1.0, UTC)
