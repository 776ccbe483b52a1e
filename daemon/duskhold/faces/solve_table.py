"""The answer of `solve` in words and tables."""

from collections.abc import Mapping, Sequence
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording

if TYPE_CHECKING:
    from duskhold.faces.several import Several
    from duskhold.faces.solve import Question
    from duskhold.faces.solve_answer import Ending
    from duskhold.faces.want import Offers, Wish
    from duskhold.light.trend import Trend
    from duskhold.plan.bag import Proposal
    from duskhold.plan.decision import ExposureDecision


def show(
    question: "Question",
    decision: "ExposureDecision",
    ending: "Ending",
    offers: "Offers | None",
    several: "Several",
    zone: tzinfo | None,
) -> None:
    """Print everything, what matters first: where it is asked what to fit, that, and no frame of the bare lens."""
    from duskhold.faces.several import show_several
    from duskhold.faces.solve_answer import way_body
    from duskhold.plan.decision import TrendDrift

    if offers is not None:
        _show_offers(offers)
    is_held_asked = offers is None or not offers.are_all
    if is_held_asked:
        _show_decision(question, decision, ending, zone)
    show_several(several)
    if isinstance(question.drift, TrendDrift):
        _show_trend(question.drift.trend)
    if ending.ways_out and is_held_asked:
        show_ways([way_body(way) for way in ending.ways_out])


def _show_decision(question: "Question", decision: "ExposureDecision", ending: "Ending", zone: tzinfo | None) -> None:
    title = (
        f"Hold the shutter {wording.duration(decision.open_s)}, opening on {wording.day_utc(decision.opens_utc)}"
        if decision.open_s is not None
        else f"Cannot be finished: {decision.reason}"
    )
    rows = [*_given(question, decision, zone), *_found(decision, zone), *_others(ending), *_doubt(ending)]
    wording.print_table(title, ("", "", ""), rows)


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
    if decision.most_plain_s is not None:
        rows.append(["most", wording.duration(decision.most_plain_s), "longest plain time the light allows"])
    if decision.limits_exceeded:
        rows.append(["past limits", ", ".join(decision.limits_exceeded), "of the settings: expose would refuse"])
    if "correction_max_stops" in decision.limits_exceeded:
        rows.append(["advice", "another filter", "so large a correction rests on too long a look ahead"])
    return rows


def _others(ending: "Ending") -> list[list[str]]:
    """What other rules would hold, and what would come of it."""
    return [
        ["instead", wording.duration(one.open_s), f"{one.name}: {wording.stops(one.error_stops)}"]
        for one in ending.alternatives
    ]


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


def show_ways(ways: Sequence[Mapping[str, Any]]) -> None:
    """Ways out as the answer of `solve` and the record of a frame have them."""
    rows = [
        [
            way["kind"],
            way["setting"],
            wording.duration(way["open_s"]),
            wording.stops(-way["shortfall_stops"]) if way["shortfall_stops"] else "in full",
            way["note"] or "",
        ]
        for way in ways
    ]
    wording.print_table("Ways out", ("", "set", "open", "exposure", ""), rows)


def _show_offers(offers: "Offers") -> None:
    wanted = offers.wish.wanted
    bounds = f"{wording.duration(wanted.shortest_s)} to {wording.duration(wanted.longest_s)}"
    rows = [_offer("now", one, offers.wish) for one in offers.now]
    rows += [
        [f"{minutes:g} min later", "nothing in the bag ends in that light", *[""] * 5] if one is None
        else _offer(f"{minutes:g} min later", one, offers.wish)
        for minutes, one in offers.later
    ]  # fmt: skip
    asked = ", ".join(said for said in (offers.wish.said, wording.duration(wanted.wanted_s)) if said)
    title = f"{_first(offers)}\nWanted: {asked} ({bounds} will do)"
    wording.print_table(title, ("", "filters", "aperture", "ISO", "open", "off", "looks like"), rows)


def _first(offers: "Offers") -> str:
    """What to do, in a line."""
    if not offers.now:
        return "Nothing in the bag ends in this light"
    best = offers.now[0]
    names = "+".join(best.filters) or "no filter"
    what = f"{names}, {best.aperture.name}, ISO {best.iso.name}: hold the shutter {wording.duration(best.open_s)}"
    return f"Fit {what}" if best.fits else f"Nothing in the bag gives that; nearest is {what}"


def _offer(when: str, one: "Proposal", wish: "Wish") -> list[str]:
    names, said = "+".join(one.filters) or "none", ", ".join(wish.looks_of(one.open_s)) or "no look of the table"
    streak = wish.streak_share(one.open_s)
    if streak is not None:
        said = f"streak of {100.0 * streak:.1f} %; {said}"
    if not one.fits:
        said = f"{said}: not what is wanted"
    off = wording.stops(one.off_stops)
    return [when, names, one.aperture.name, one.iso.name, wording.duration(one.open_s), off, said]


def _clocks(moment: datetime, zone: tzinfo | None) -> tuple[str, str]:
    return f"{wording.clock_utc(moment)} UTC", wording.clock_local(moment, zone)
