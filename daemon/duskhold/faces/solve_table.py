"""The answer of `solve` in words and tables."""

from datetime import datetime, tzinfo
from typing import TYPE_CHECKING

from duskhold.faces import wording

if TYPE_CHECKING:
    from duskhold.faces.solve import Question
    from duskhold.faces.solve_answer import Ending
    from duskhold.faces.want import Offers
    from duskhold.light.trend import Trend
    from duskhold.plan.bag import Proposal
    from duskhold.plan.decision import ExposureDecision


def show(
    question: "Question", decision: "ExposureDecision", ending: "Ending", offers: "Offers | None", zone: tzinfo | None
) -> None:
    """Print everything, what matters first."""
    from duskhold.plan.decision import TrendDrift

    title = (
        f"Hold the shutter {wording.duration(decision.open_s)}, opening on {wording.day_utc(decision.opens_utc)}"
        if decision.open_s is not None
        else f"Cannot be finished: {decision.reason}"
    )
    rows = [*_given(question, decision, zone), *_found(decision, zone), *_doubt(ending)]
    wording.print_table(title, ("", "", ""), rows)
    if isinstance(question.drift, TrendDrift):
        _show_trend(question.drift.trend)
    if ending.ways_out:
        _show_ways(ending)
    if offers is not None:
        _show_offers(offers)


def _given(question: "Question", decision: "ExposureDecision", zone: tzinfo | None) -> list[list[str]]:
    change = question.change
    rows = [
        ["base time", wording.duration(decision.base_s), "true time behind the dial's name"],
        ["filters", f"{question.filter.stops:.2f} stops", question.filter.label],
    ]
    if change.aperture_stops:
        rows.append(["aperture", wording.stops(change.aperture_stops), "of time"])
    if change.iso_stops:
        rows.append(["ISO", wording.stops(-change.iso_stops), "of time"])
    return [
        *rows,
        ["plain time", wording.duration(decision.plain_s), "if the light stayed as metered"],
        ["metered", *_clocks(question.metered_utc, zone)],
        ["opens", *_clocks(decision.opens_utc, zone)],
        ["delay", wording.duration(decision.delay_s), "from metering to opening"],
        ["light", f"{wording.signed(decision.rate_stops_per_min, 3)} stop/min", "at opening"],
    ]


def _found(decision: "ExposureDecision", zone: tzinfo | None) -> list[list[str]]:
    rows: list[list[str]] = []
    if decision.open_s is not None and decision.closes_utc and decision.correction_stops is not None:
        rows += [
            ["closes", *_clocks(decision.closes_utc, zone)],
            ["open time", f"{decision.open_s:.1f} s", f"{wording.stops(decision.correction_stops)} on the plain time"],
        ]
    else:
        rows.append(["short by", f"{decision.shortfall_stops:.2f} stop", "a wider aperture, higher ISO, weaker filter"])
    if decision.uncorrected_error_stops is not None:
        rows.append(["uncorrected", wording.stops(decision.uncorrected_error_stops), "if the plain time were held"])
    if decision.most_plain_s is not None:
        rows.append(["most", wording.duration(decision.most_plain_s), "longest plain time the light allows"])
    if decision.limits_exceeded:
        rows.append(["past limits", ", ".join(decision.limits_exceeded), "of the settings: expose would refuse"])
    if "correction_max_stops" in decision.limits_exceeded:
        rows.append(["advice", "another filter", "so large a correction rests on too long a look ahead"])
    return rows


def _doubt(ending: "Ending") -> list[list[str]]:
    budget = ending.budget
    if budget is None or ending.miss_probability is None:
        return []
    seen = f"reading {budget.reading:.2f}, rate {budget.rate:.2f}"
    parts = f"{seen}, filter {budget.filter:.2f}, latency {budget.latency:.2f}"
    return [
        ["uncertain by", f"±{budget.total:.2f} stop", parts],
        ["may miss", f"{100.0 * ending.miss_probability:.0f} %", f"by more than {ending.tolerance_stops:.2f} stop"],
    ]


def _show_trend(trend: "Trend") -> None:
    measured, model = trend.measured_rate, trend.model_rate
    rows = []
    if measured is not None:
        rows.append(
            ["measured", f"{wording.signed(measured.value, 3)} ± {measured.sigma:.3f}", "stop/min, readings alone"]
        )
    if model is not None:
        rows.append(["clear sky", wording.signed(model, 3), "stop/min, the model there and then"])
    rows.append(["taken", trend.choice.value, f"{len(trend.used)} readings, {len(trend.left_out)} left out"])
    if trend.cloud_stops > 0.05:
        rows.append(["cloud", f"±{trend.cloud_stops:.2f} stop", "as the readings scatter"])
    if trend.disagreement:
        rows.append(["they differ", "", trend.disagreement])
    rows += [[wording.clock_utc(one.reading.taken_utc), "left out", one.reason] for one in trend.left_out]
    wording.print_table("The light", ("", "", ""), rows)


def _show_ways(ending: "Ending") -> None:
    rows = [
        [
            way.kind.value,
            way.setting,
            wording.duration(way.open_s),
            wording.stops(-way.shortfall_stops) if way.shortfall_stops else "in full",
            way.note or "",
        ]
        for way in ending.ways_out
    ]
    wording.print_table("Ways out", ("", "set", "open", "exposure", ""), rows)


def _show_offers(offers: "Offers") -> None:
    wanted = offers.wish.wanted
    look = f", {offers.wish.look.name}" if offers.wish.look else ""
    bounds = f"{wording.duration(wanted.shortest_s)} to {wording.duration(wanted.longest_s)}"
    rows = [_offer("now", one) for one in offers.now]
    rows += [
        [f"{minutes:g} min later", "nothing in the bag ends in that light", "", "", "", ""] if one is None
        else _offer(f"{minutes:g} min later", one)
        for minutes, one in offers.later
    ]  # fmt: skip
    title = f"For {wording.duration(wanted.wanted_s)} ({bounds}{look})"
    wording.print_table(title, ("", "filters", "aperture", "ISO", "open", ""), rows)


def _offer(when: str, one: "Proposal") -> list[str]:
    off = f"{wording.stops(one.off_stops)} from the wanted time"
    names = "+".join(one.filters) or "none"
    said = off if one.fits else f"{off}: outside the look"
    return [when, names, one.aperture.name, one.iso.name, wording.duration(one.open_s), said]


def _clocks(moment: datetime, zone: tzinfo | None) -> tuple[str, str]:
    return f"{wording.clock_utc(moment)} UTC", wording.clock_local(moment, zone)
