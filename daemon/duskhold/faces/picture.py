"""The rehearsal as a picture: the light falling while the shutter is open, and what it made of the frames.

To be read at arm's length: few words, large, light on dark, and nothing told by colour alone.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.dates import DateFormatter, MinuteLocator, date2num
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MultipleLocator
from PIL import Image

from duskhold.app.rehearsal_scene import BASE_DIAL, NAME
from duskhold.faces import wording

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from duskhold.app.rehearsal import Evening
    from duskhold.app.rehearsal_tripod import Taken

_WIDE_IN, _HIGH_IN, _DPI = 16.0, 10.8, 120
_NIGHT, _PANEL, _INK = "#11151d", "#181e29", "#efe9dc"
_MODEL, _OPEN, _PLAIN = "#8fb4d8", "#f4b266", "#e3826f"
_LARGE, _USUAL = 24, 18
_ABOVE_STOPS, _BELOW_STOPS, _ROOM_STOPS = 0.38, -0.2, 0.8
_ASIDE = 8 / 86400  # the axis counts days
_THUMBNAIL_PX = 640
_BEFORE, _AFTER = timedelta(minutes=1), timedelta(minutes=2.8)
_TOLERATED_STOPS = 1 / 3
"""Invisible in a raw file; common practice, no source."""


def draw_picture(evening: Evening, path: Path) -> None:
    """Draw the evening into a PNG at `path`, 1920 pixels wide. Raises `OSError`."""
    figure = Figure(figsize=(_WIDE_IN, _HIGH_IN), dpi=_DPI, facecolor=_NIGHT)
    FigureCanvasAgg(figure)
    _draw_title(figure, evening)
    _draw_light(figure.add_axes((0.075, 0.485, 0.895, 0.375)), evening)
    base = f"{BASE_DIAL} s, no filter"
    frames = (
        (evening.second, ("base frame", base), _INK),
        (evening.corrected, ("corrected", _told(evening, evening.corrected)), _OPEN),
        (evening.uncorrected, ("not corrected", _told(evening, evening.uncorrected)), _PLAIN),
    )
    for index, (taken, said, colour) in enumerate(frames):
        _draw_frame(figure.add_axes((0.03 + 0.27 * index, 0.03, 0.255, 0.255)), taken, said, colour)
    _draw_levels(figure.add_axes((0.885, 0.06, 0.085, 0.25)), evening)
    figure.savefig(path)


def _draw_title(figure: Figure, evening: Evening) -> None:
    fall = evening.measured_stops_per_min
    head = f"{NAME}, {evening.second.opened_utc:%-d %B %Y}"
    change = "falls" if fall < 0.0 else "rises"
    correction = wording.stops(evening.decision.correction_stops or 0.0)
    said = f"The light {change} {abs(fall):.2f} stop a minute: the filter's plain time needs {correction}."
    figure.text(0.03, 0.95, head, fontweight="bold", va="center", **_text(_LARGE))
    figure.text(0.03, 0.90, said, va="center", **_text(_USUAL))


# The light


def _draw_light(axes: Axes, evening: Evening) -> None:
    opens = evening.corrected.opened_utc
    closes = opens + timedelta(seconds=evening.corrected.open_s)
    begin, end = evening.first.opened_utc - _BEFORE, closes + _AFTER
    _prepare(axes, begin, end)
    _shade_opening(axes, evening, opens, closes)
    _draw_lines(axes, evening, begin, closes)
    _draw_base(axes, evening, evening.first, "first base frame", _ABOVE_STOPS)
    _draw_base(axes, evening, evening.second, "second base frame", _BELOW_STOPS)
    _draw_mean(axes, evening, evening.uncorrected, _PLAIN)
    lowest = _draw_mean(axes, evening, evening.corrected, _OPEN)
    said = "mean light\nof each frame"
    axes.text(_x(opens) + _ASIDE, lowest - 0.15, said, va="top", **_text(_USUAL))
    lowest = min(_model_stops(evening, closes), _measured_stops(evening, closes))
    axes.set_ylim(lowest - _ROOM_STOPS, evening.error_stops(evening.first) + _ABOVE_STOPS + _ROOM_STOPS)


def _draw_base(axes: Axes, evening: Evening, taken: Taken, said: str, away_stops: float) -> None:
    level = evening.error_stops(taken)
    aside: dict[str, Any] = {"ha": "left", "va": "bottom"} if away_stops > 0.0 else {"ha": "right", "va": "top"}
    axes.plot(_x(taken.opened_utc), level, "o", color=_INK, ms=15, zorder=5)
    axes.text(_x(taken.opened_utc), level + away_stops, f"{said}\n{wording.stops(level)}", **aside, **_text(_USUAL))


def _prepare(axes: Axes, begin: datetime, end: datetime) -> None:
    axes.set_facecolor(_PANEL)
    axes.set_xlim(_x(begin), _x(end))
    axes.xaxis.set_major_locator(MinuteLocator(interval=2))  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_formatter(DateFormatter("%H:%M", tz=UTC))  # type: ignore[no-untyped-call]
    axes.yaxis.set_major_locator(MultipleLocator(1.0))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: wording.signed(value, 0)))
    axes.tick_params(colors=_INK, labelsize=_USUAL, length=0)
    axes.grid(color=_INK, alpha=0.10, lw=1)
    for spine in axes.spines.values():
        spine.set_visible(False)
    axes.set_ylabel("light, in stops", **_text(_USUAL))
    axes.set_xlabel("UTC", **_text(_USUAL))


def _shade_opening(axes: Axes, evening: Evening, opens: datetime, closes: datetime) -> None:
    plain = opens + timedelta(seconds=evening.uncorrected.open_s)
    axes.axvspan(_x(opens), _x(closes), color=_OPEN, alpha=0.16, lw=0)
    for moment in (opens, closes):
        axes.axvline(_x(moment), color=_OPEN, lw=2.5)
    axes.axvline(_x(plain), color=_PLAIN, lw=2.5, ls=(0, (2, 2)))
    across = axes.get_xaxis_transform()
    middle = opens + (plain - opens) / 2
    held = f"open {wording.duration(evening.corrected.open_s)}"
    axes.text(_x(middle), 0.96, held, ha="center", va="top", transform=across, **_text(_LARGE, _OPEN))
    said = f"plain time\nends {wording.duration(evening.uncorrected.open_s)}"
    axes.text(_x(plain) - _ASIDE, 0.80, said, ha="right", va="top", transform=across, **_text(_USUAL, _PLAIN))


def _draw_lines(axes: Axes, evening: Evening, begin: datetime, closes: datetime) -> None:
    moments = [begin + (closes - begin) * (step / 100) for step in range(101)]
    model = [_model_stops(evening, each) for each in moments]
    axes.plot([_x(each) for each in moments], model, color=_MODEL, lw=3, ls=(0, (5, 3)))
    ends = (evening.first.opened_utc, closes)
    measured = [_measured_stops(evening, each) for each in ends]
    axes.plot([_x(each) for each in ends], measured, color=_INK, lw=3)
    lines = [
        (measured[-1], f"measured\n{_rate(evening.measured_stops_per_min)}", _INK),
        (model[-1], f"clear sky, model\n{_rate(evening.model_stops_per_min)}", _MODEL),
    ]
    for (level, said, colour), alignment in zip(sorted(lines), ("top", "bottom"), strict=True):
        axes.text(_x(closes) + _ASIDE, level, said, ha="left", va=alignment, **_text(_USUAL, colour))


def _draw_mean(axes: Axes, evening: Evening, taken: Taken, colour: str) -> float:
    """The mean light of a long frame, from its own pixels: a bar as long as the shutter was open."""
    mean = evening.error_stops(taken) + math.log2(evening.decision.plain_s / taken.open_s)
    ends = [taken.opened_utc, taken.opened_utc + timedelta(seconds=taken.open_s)]
    axes.plot([_x(each) for each in ends], [mean, mean], color=colour, lw=5, solid_capstyle="butt", zorder=4)
    return mean


def _model_stops(evening: Evening, moment: datetime) -> float:
    """The clear sky against the second base frame."""
    clear, zero_utc = evening.scene.clear, evening.scene.utc(0.0)
    at_s, base_s = ((each - zero_utc).total_seconds() for each in (moment, evening.second.opened_utc))
    return math.log2(clear.level(at_s) / clear.level(base_s))


def _measured_stops(evening: Evening, moment: datetime) -> float:
    minutes = (moment - evening.second.opened_utc).total_seconds() / 60.0
    return evening.measured_stops_per_min * minutes


# The frames


def _draw_frame(axes: Axes, taken: Taken, said: tuple[str, str], colour: str) -> None:
    with Image.open(taken.jpeg.path) as jpeg:
        jpeg.draft("RGB", (_THUMBNAIL_PX, _THUMBNAIL_PX))
        axes.imshow(jpeg.convert("RGB"), aspect="equal", interpolation="antialiased")
    axes.set_axis_off()
    axes.text(0.0, 1.20, said[0], transform=axes.transAxes, va="bottom", **_text(_LARGE, colour))
    axes.text(0.0, 1.05, said[1], transform=axes.transAxes, va="bottom", **_text(_USUAL))


def _draw_levels(axes: Axes, evening: Evening) -> None:
    """Where the long frames came out against the base frame."""
    axes.set_facecolor(_PANEL)
    axes.set_xlim(0, 1)
    axes.set_ylim(-1.15, 0.65)
    axes.axhspan(-_TOLERATED_STOPS, _TOLERATED_STOPS, color=_MODEL, alpha=0.22, lw=0)
    axes.axhline(0, color=_INK, lw=2)
    for at, taken, colour, mark in ((0.3, evening.corrected, _OPEN, "o"), (0.7, evening.uncorrected, _PLAIN, "D")):
        error = evening.error_stops(taken)
        axes.plot([at, at], [0, error], color=colour, lw=4)
        axes.plot(at, error, mark, color=colour, ms=14)
    axes.set_yticks([0.5, 0.0, -0.5, -1.0], ["+½", "base", "−½", "−1"])
    axes.set_xticks([])
    axes.tick_params(colors=_INK, labelsize=_USUAL, length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)
    axes.set_title("level, stops", pad=12, **_text(_USUAL))
    axes.set_xlabel("band: ±⅓", **_text(_USUAL))


def _told(evening: Evening, taken: Taken) -> str:
    return f"{wording.duration(taken.open_s)}, {wording.stops(evening.error_stops(taken))}"


def _rate(stops_per_min: float) -> str:
    return f"{wording.signed(stops_per_min, 2)} /min"


def _x(moment: datetime) -> float:
    return float(date2num(moment))  # type: ignore[no-untyped-call]


def _text(size: int, colour: str = _INK) -> dict[str, Any]:
    return {"fontsize": size, "color": colour}
