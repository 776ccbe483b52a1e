"""Pictures of a solution: the light with its readings, band and opening, or a bar of the ways out."""

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces.answer import Wrong

if TYPE_CHECKING:
    from duskhold.faces.solve import Question
    from duskhold.faces.solve_answer import Ending
    from duskhold.faces.want import Offers
    from duskhold.light.forecast import Forecast
    from duskhold.light.skyshape import Shape
    from duskhold.light.trend import Trend
    from duskhold.plan.decision import ExposureDecision
    from duskhold.plan.ways_out import WayOut

KINDS = (".png", ".svg", ".pdf")
_AFTER_S = 600.0
_INK, _BAND, _OPEN = "#223344", "#7aa6c2", "#e0a030"


def draw_solution(
    target: str, question: "Question", decision: "ExposureDecision", ending: "Ending", offers: "Offers | None"
) -> None:
    """Draw the light curve, and beside it the ways out where there are any. Raises `Wrong`, `OSError`.

    Asked what to fit, the opening is that of the best offer.
    """
    if Path(target).suffix.lower() not in KINDS:
        raise Wrong("bad_input", f"A picture is one of {', '.join(KINDS)}.", field="--picture")
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    open_s, ways = decision.open_s, ending.ways_out
    if offers is not None and offers.are_all:
        open_s, ways = (offers.now[0].open_s if offers.now else None), ()
    columns = 2 if ways else 1
    figure = Figure(figsize=(7.0 * columns, 4.2), layout="constrained")
    axes: Any = figure.subplots(1, columns, squeeze=False)[0]
    _draw_light(axes[0], question, ending.forecast, decision.delay_s, open_s)
    if ways:
        _draw_ways(axes[1], ways, question.settings.limits.longest_s)
    figure.savefig(target, dpi=120)


def _draw_light(axes: Any, question: "Question", forecast: "Forecast", delay_s: float, open_s: float | None) -> None:
    from duskhold.plan.decision import TrendDrift

    word = "longest time allowed" if open_s is None else "open"
    open_s = question.settings.limits.longest_s if open_s is None else open_s
    until_s = delay_s + open_s + min(_AFTER_S, open_s)
    first_s = max(0.0, forecast.starts_s)
    at_s = [first_s + (until_s - first_s) * step / 120.0 for step in range(121)]
    stops = [forecast.level_stops(each) for each in at_s]
    minutes = [each / 60.0 for each in at_s]
    axes.plot(minutes, stops, color=_INK, label="light to come")
    if isinstance(question.drift, TrendDrift):
        _draw_readings(axes, question.drift.trend, at_s, stops)
    axes.axvspan(delay_s / 60.0, (delay_s + open_s) / 60.0, color=_OPEN, alpha=0.25, label=word)
    axes.set_xlabel("minutes after metering")
    axes.set_ylabel("light, stops against metering")
    axes.set_title("Light and opening")
    axes.grid(alpha=0.3)
    axes.legend(fontsize="small")


def _draw_readings(axes: Any, trend: "Trend", at_s: list[float], stops: list[float]) -> None:
    sigmas = [sum(each**2 for each in trend.sigmas(one, one + 0.1)) ** 0.5 for one in at_s]
    low = [each - 2.0 * sigma for each, sigma in zip(stops, sigmas, strict=True)]
    high = [each + 2.0 * sigma for each, sigma in zip(stops, sigmas, strict=True)]
    axes.fill_between([each / 60.0 for each in at_s], low, high, color=_BAND, alpha=0.35, label="95 % band")
    # Readings have a zero of their own: they are hung where the trend sees the newest of them.
    zero = trend.used[-1].level_stops - trend.level.value
    mark = trend.mark_utc
    axes.errorbar(
        [(one.taken_utc - mark).total_seconds() / 60.0 for one in trend.used],
        [one.level_stops - zero for one in trend.used],
        yerr=[2.0 * one.sigma_stops for one in trend.used],
        fmt="o", color=_INK, capsize=3, label="readings",
    )  # fmt: skip
    if trend.left_out:
        axes.plot(
            [(one.reading.taken_utc - mark).total_seconds() / 60.0 for one in trend.left_out],
            [one.reading.level_stops - zero for one in trend.left_out],
            "x", color="#b03030", label="left out",
        )  # fmt: skip
    if trend.sky is not None:
        _draw_sky(axes, trend, trend.sky, at_s[-1] / 60.0)


def _draw_sky(axes: Any, trend: "Trend", sky: "Shape", ends_min: float) -> None:
    """The clear sky's own curve, hung where the trend sees the newest reading."""
    first_min = (trend.used[0].taken_utc - trend.mark_utc).total_seconds() / 60.0
    minutes = [first_min + (ends_min - first_min) * step / 60.0 for step in range(61)]
    at_newest = sky.stops(trend.newest_utc) - trend.level.value
    stops = [sky.stops(trend.mark_utc + timedelta(minutes=each)) - at_newest for each in minutes]
    axes.plot(minutes, stops, "--", color="#888888", label="clear sky")


def _draw_ways(axes: Any, ways: "Sequence[WayOut]", longest_s: float) -> None:
    names = [f"{way.kind.value}: {way.setting}" for way in ways]
    places = list(range(len(names)))[::-1]
    axes.barh(places, [way.open_s for way in ways], color=_BAND)
    for place, way in zip(places, ways, strict=True):
        short = f"{way.open_s:.0f} s" + (f", −{way.shortfall_stops:.2f} stop" if way.shortfall_stops else "")
        clear = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8}
        axes.annotate(
            short,
            (way.open_s, place),
            (6.0, 0.0),
            textcoords="offset points",
            va="center",
            fontsize="small",
            bbox=clear,
        )
    axes.axvline(longest_s, color="#b03030", linestyle=":", label="longest time allowed")
    axes.set_yticks(places, names, fontsize="small")
    axes.set_xlim(0.0, 1.4 * max(way.open_s for way in ways))
    axes.set_xlabel("seconds open")
    axes.set_title("Ways out")
    axes.legend(fontsize="small")
