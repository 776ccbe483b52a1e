"""A plan as a picture: the light that goes or comes, the frames as bars, changes, limits and the time to leave.

To be read at arm's length, and in print: few words, nothing told by colour alone.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Wrong
from duskhold.faces.light_picture import KINDS
from duskhold.faces.plan_answer import Planned, prompt_line, stop_line
from duskhold.plan.decision import light_stops_since
from duskhold.plan.outing import Dark
from duskhold.plan.outlook import midnight_before, sky_of
from duskhold.plan.role import Role

if TYPE_CHECKING:
    from duskhold.plan.course import PlannedFrame

_INK, _LIGHT, _LIMIT = "#1d2733", "#35618f", "#b03030"
_FILLS = (("#7aa6c2", ""), ("#e0a030", "///"), ("#8fb98a", "..."), ("#c58fb0", "xxx"), ("#b5a48b", "++"))
_DARK_FILL = ("white", "---")
_MARKS = {Role.BASE: ("o", "base frame"), Role.SCOUT: ("^", "scout")}
_TICKS_S = (0.25, 0.5, 1, 2, 4, 8, 15, 30, 60, 120, 240, 480, 900, 1800, 3600)
_POINTS, _ALTITUDES, _LINES = 160, 9, 3
_FLOOR_S = 1e-3
"""Bars of a logarithmic axis begin here, below all that is shown."""
_EDGE_SHARE, _RIGHT_SHARE = 0.03, 0.72
_SOURCES = {"clear_sky": "clear sky", "rate": "as told", "taken_for_steady": "taken for steady"}


def draw_plan(target: str, planned: Planned) -> None:
    """Draw it. Raises `Wrong`, `OSError`."""
    if Path(target).suffix.lower() not in KINDS:
        raise Wrong("bad_input", f"A picture is one of {', '.join(KINDS)}.", field="--picture")
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    figure = Figure(figsize=(13.0, 8.6), layout="constrained")
    light, words, frames = figure.subplots(3, 1, sharex=True, height_ratios=(1.0, 0.28, 1.25))
    first, last = _span(planned)
    figure.suptitle(_title(planned), fontsize="x-large", color=_INK)
    _draw_light(light, planned, first, last)
    _draw_frames(frames, planned)
    _draw_moments((light, words, frames), planned, first, last)
    for axes in (light, words, frames):
        _plain(axes)
    words.set_axis_off()
    _number_axes(frames, first, last)
    figure.legend(loc="outside lower center", ncols=6, frameon=False)
    figure.savefig(target, dpi=110)


def _title(planned: Planned) -> str:
    timeline, leave = planned.timeline, planned.outing.bounds.leave_by
    said = f"{planned.outing.name}, {wording.day_utc(timeline.standing.opens_utc)}"
    if leave is None:
        return said
    pack_utc, leave_utc = (each(timeline.standing.opens_utc) for each in (leave.pack_utc, leave.leave_utc))
    return f"{said}\npack from {wording.clock_utc(pack_utc)}, be gone by {wording.clock_utc(leave_utc)} UTC"


def _span(planned: Planned) -> tuple[datetime, datetime]:
    """From the first to the last thing there is to see; a time to leave far away is only in the title."""
    timeline, leave = planned.timeline, planned.outing.bounds.leave_by
    seen = [timeline.standing.opens_utc, timeline.stop.at_utc, timeline.done_utc]
    first, last = min(seen), max(seen)
    if leave is not None:
        leave_utc = leave.leave_utc(timeline.standing.opens_utc)
        last = max(last, leave_utc) if leave_utc - last < last - first else last
    edge = max((last - first) * _EDGE_SHARE, timedelta(minutes=1))
    return first - edge, last + edge


def _draw_light(axes: Any, planned: Planned, first: datetime, last: datetime) -> None:
    metered_utc = planned.timeline.standing.metered.reading.metered_utc

    def stops(at_utc: datetime) -> float:
        return light_stops_since(planned.drift, metered_utc, at_utc)

    moments = [first + (last - first) * (step / _POINTS) for step in range(_POINTS + 1)]
    axes.plot([_x(each) for each in moments], [stops(each) for each in moments], color=_LIGHT, lw=2.5, label="light")
    for frame in planned.timeline.frames:
        ends = (frame.opens_utc, frame.closes_utc)
        axes.plot([_x(each) for each in ends], [stops(each) for each in ends], color=_INK, lw=6, solid_capstyle="butt")
    for role, (mark, name) in _MARKS.items():
        at = [frame.opens_utc for frame in planned.timeline.others if frame.role is role]
        if at:
            axes.plot(
                [_x(each) for each in at], [stops(each) for each in at], mark, color=_INK, mfc="white", label=name
            )
    axes.set_ylabel(f"light, stops\n({_SOURCES[planned.light_source]})", color=_INK)
    _draw_sun(axes, planned, first, last)


def _draw_sun(axes: Any, planned: Planned, first: datetime, last: datetime) -> None:
    """The sun's altitude along the upper edge."""
    place = planned.outing.place
    if place is None:
        return
    midnight = midnight_before(first)
    sky = sky_of(place, midnight)
    for step in range(_ALTITUDES):
        at_utc = first + (last - first) * ((step + 0.5) / _ALTITUDES)
        altitude = wording.degrees(sky.sun_altitude_deg((at_utc - midnight).total_seconds()))
        axes.text(
            _x(at_utc), 1.02, f"sun {altitude}" if step == 0 else altitude, ha="center", va="bottom", color=_INK,
            transform=axes.get_xaxis_transform(),
        )  # fmt: skip


def _draw_frames(axes: Any, planned: Planned) -> None:
    timeline, bounds = planned.timeline, planned.outing.bounds
    names = list(dict.fromkeys(_set_up(frame) for frame in timeline.frames))
    labelled: set[str] = set()
    for frame in timeline.frames:
        name = _set_up(frame)
        _bar(axes, frame, _FILLS[names.index(name) % len(_FILLS)], _once(name, labelled))
        if planned.outing.dark is Dark.IN_CAMERA:
            _bar(axes, frame, _DARK_FILL, _once("dark frame in the camera", labelled), frame.open_s)
    for frame in timeline.darks:
        _bar(axes, frame, _DARK_FILL, _once("dark, cap on", labelled))
    axes.axhline(bounds.longest_s, color=_LIMIT, ls="--", lw=1.5, label="longest and shortest frame")
    axes.axhline(bounds.shortest_s, color=_LIMIT, ls="--", lw=1.5)
    held = [frame.open_s for frame in (*timeline.frames, *timeline.darks)] or [bounds.longest_s]
    axes.set_yscale("log")
    axes.set_ylim(min(*held, bounds.longest_s) / 3.0, max(*held, bounds.longest_s) * 1.3)
    axes.set_ylabel("open", color=_INK)


def _bar(axes: Any, frame: "PlannedFrame", fill: tuple[str, str], label: str | None, after_s: float = 0.0) -> None:
    """A frame as long and as high as it is open; `after_s` moves it, as an in-camera dark frame."""
    from matplotlib.patches import Rectangle

    left, right = (_x(each + timedelta(seconds=after_s)) for each in (frame.opens_utc, frame.closes_utc))
    axes.add_patch(
        Rectangle(
            (left, _FLOOR_S), right - left, frame.open_s - _FLOOR_S, facecolor=fill[0], hatch=fill[1], edgecolor=_INK,
            lw=0.8, label=label,
        )
    )  # fmt: skip


def _draw_moments(rows: Sequence[Any], planned: Planned, first: datetime, last: datetime) -> None:
    """Changes, limits and the end as lines through all rows; their words in the middle one, on three lines."""
    shown = sorted((each for each in _moments(planned) if first <= each[0] <= last), key=lambda each: each[0])
    _, words, _ = rows
    words.set_ylim(0.0, 1.0)
    for index, (at_utc, said, colour, style) in enumerate(shown):
        for axes in rows:
            axes.axvline(_x(at_utc), color=colour, ls=style, lw=1.6)
        is_late = (at_utc - first) > (last - first) * _RIGHT_SHARE
        height = 1.0 - (index % _LINES + 0.5) / _LINES
        words.text(
            _x(at_utc), height, f" {said} ", ha="right" if is_late else "left", va="center", color=colour,
            backgroundcolor="white",
        )  # fmt: skip


def _moments(planned: Planned) -> Iterator[tuple[datetime, str, str, str]]:
    timeline, bounds = planned.timeline, planned.outing.bounds
    for prompt in timeline.prompts:
        yield prompt.at_utc, prompt_line(prompt), _INK, ":"
    yield timeline.stop.at_utc, f"end: {stop_line(planned)}", _LIMIT, "-"
    if timeline.standing.ends.sun_utc is not None:
        limit = wording.degrees(bounds.sun_altitude_deg or 0.0)
        yield timeline.standing.ends.sun_utc, f"sun's limit {limit}", _LIMIT, "--"
    if bounds.leave_by is not None:
        yield bounds.leave_by.pack_utc(timeline.standing.opens_utc), "pack", _LIMIT, "-."
        yield bounds.leave_by.leave_utc(timeline.standing.opens_utc), "be gone", _LIMIT, "-"


def _number_axes(axes: Any, first: datetime, last: datetime) -> None:
    from matplotlib.dates import AutoDateLocator, DateFormatter
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    axes.set_xlim(_x(first), _x(last))
    axes.xaxis.set_major_locator(AutoDateLocator(minticks=6, maxticks=14))  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_formatter(DateFormatter("%H:%M", tz=UTC))  # type: ignore[no-untyped-call]
    axes.set_xlabel("UTC", color=_INK)
    low, high = axes.get_ylim()
    axes.yaxis.set_major_locator(FixedLocator([each for each in _TICKS_S if low <= each <= high]))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: _short(value)))


def _plain(axes: Any) -> None:
    axes.grid(alpha=0.25)
    axes.tick_params(colors=_INK)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _short(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 60 else f"{seconds / 60:g} min"


def _set_up(frame: "PlannedFrame") -> str:
    return f"{' and '.join(frame.filters) or 'bare'}, {frame.aperture}, ISO {frame.iso}"


def _once(name: str, labelled: set[str]) -> str | None:
    if name in labelled:
        return None
    labelled.add(name)
    return name


def _x(moment: datetime) -> float:
    from matplotlib.dates import date2num

    return float(date2num(moment))  # type: ignore[no-untyped-call]
