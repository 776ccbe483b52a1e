"""The whole answer of `solve`: the decision, how sure it is, what else could be done, and what to fit."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from duskhold.faces.solve import decision_body
from duskhold.plan.lean import STEADY_STOPS_PER_MIN
from duskhold.plan.stamp import utc_text

if TYPE_CHECKING:
    from duskhold.faces.solve import Question
    from duskhold.faces.want import Offers, Wish
    from duskhold.light.forecast import Forecast
    from duskhold.light.trend import Trend
    from duskhold.plan.bag import Proposal
    from duskhold.plan.budget import Budget
    from duskhold.plan.decision import ExposureDecision
    from duskhold.plan.ways_out import WayOut

_HABIT_STOPS = 0.5


@dataclass(frozen=True, slots=True)
class Alternative:
    """What another rule would hold, and what that gives."""

    name: str
    open_s: float
    error_stops: float


@dataclass(frozen=True, slots=True)
class Ending:
    """What belongs to a decision: its error budget, other rules' times, ways out, and the light it rests on."""

    forecast: "Forecast"
    budget: "Budget | None"
    alternatives: tuple[Alternative, ...]
    ways_out: "tuple[WayOut, ...]"
    tolerance_stops: float
    miss_probability: float | None


def ending_of(
    question: "Question",
    decision: "ExposureDecision",
    from_bag: bool,
    tolerance_stops: float | None = None,
    latency_sigma_s: float | None = None,
) -> Ending:
    """Work out what belongs to a decision; `from_bag` offers other filters too. A third of a stop is tolerated.

    `latency_sigma_s` is that of the body where it has been timed.
    """
    from duskhold.plan.budget import LATENCY_SIGMA_S, TOLERANCE_STOPS, budget_of
    from duskhold.plan.outlook import outlook

    forecast = outlook(question.drift, question.metered_utc, question.opens_utc)
    latency_s = LATENCY_SIGMA_S if latency_sigma_s is None else latency_sigma_s
    budget = budget_of(decision, question.drift, question.filters, latency_s, filter_sigma_of(question))
    tolerated = TOLERANCE_STOPS if tolerance_stops is None else tolerance_stops
    meant_stops = question.leaning_stops(decision.rate_stops_per_min)
    return Ending(
        forecast=forecast,
        budget=budget,
        alternatives=_alternatives(question, decision, forecast),
        ways_out=_ways(question, decision, forecast, from_bag),
        tolerance_stops=tolerated,
        miss_probability=None if budget is None else budget.miss_probability(tolerated, meant_stops),
    )


def whole_body(
    question: "Question", decision: "ExposureDecision", ending: Ending, offers: "Offers | None"
) -> dict[str, object]:
    """The JSON object of `solve`."""
    from duskhold.plan.decision import TrendDrift

    drift = question.drift
    return decision_body(decision) | {
        "ways_out": [way_body(way) for way in ending.ways_out],
        "budget": _budget_body(ending),
        "alternatives": [
            {"name": one.name, "open_s": one.open_s, "error_stops": one.error_stops} for one in ending.alternatives
        ],
        "trend": trend_body(drift.trend) if isinstance(drift, TrendDrift) else None,
        "proposals": None if offers is None else [_proposal_body(one, offers.wish) for one in offers.now],
        "plan_b": None if offers is None else _later_body(offers),
    }


def recorded_body(
    question: "Question", decision: "ExposureDecision", latency_sigma_s: float | None = None
) -> dict[str, object]:
    """What a frame's record has of a decision; the ways out of what is not opened are looked for in the bag too."""
    ending = ending_of(question, decision, bool(question.bag), latency_sigma_s=latency_sigma_s)
    fitted = {"filters": [one.label for one in question.filters], "filter_stops": question.filter.stops}
    sigma = {"filter_sigma_stops": filter_sigma_of(question)}
    return whole_body(question, decision, ending, None) | fitted | sigma


def filter_sigma_of(question: "Question") -> float:
    """How well what is fitted is known, in stops: as was told, as the bag has it, or by the labels."""
    from duskhold.plan.budget import filter_sigma_stops

    if question.filter_sigma_stops is not None:
        return question.filter_sigma_stops
    known = {one.name: one.sigma_stops for one in question.bag}
    return math.hypot(*(known.get(each.label, filter_sigma_stops(each)) for each in question.filters))


def trend_body(trend: "Trend") -> dict[str, object]:
    """How the light goes, and what that rests on."""
    measured = trend.measured_rate
    return {
        "choice": trend.choice.value,
        "newest_utc": utc_text(trend.newest_utc),
        "readings_used": len(trend.used),
        "left_out": [{"taken_utc": utc_text(one.reading.taken_utc), "reason": one.reason} for one in trend.left_out],
        "level_stops": trend.level.value,
        "level_sigma_stops": trend.level.sigma,
        "rate_stops_per_min": trend.rate.value,
        "rate_sigma_stops_per_min": trend.rate.sigma,
        "curvature_stops_per_min2": trend.bend.value,
        "curvature_sigma_stops_per_min2": trend.bend.sigma,
        "measured_rate_stops_per_min": measured.value if measured else None,
        "measured_rate_sigma_stops_per_min": measured.sigma if measured else None,
        "model_rate_stops_per_min": trend.model_rate,
        "disagreement": trend.disagreement,
        "cloud_stops": trend.cloud_stops,
        "reason": None if measured else "one reading tells no rate",
    }


def _ways(
    question: "Question", decision: "ExposureDecision", forecast: "Forecast", from_bag: bool
) -> "tuple[WayOut, ...]":
    from duskhold.plan.bag import stacks
    from duskhold.plan.ways_out import Stuck, ways_out

    stuck_by = {"longest_s", "correction_max_stops"} & set(decision.limits_exceeded)
    if decision.finishable and not stuck_by:
        return ()
    leaning_stops = question.leaning_stops(decision.rate_stops_per_min)
    stuck = Stuck(
        plain_s=decision.plain_s * 2.0**leaning_stops,
        opens_s=decision.delay_s,
        longest_s=question.settings.limits.longest_s,
        filter_stops=question.filter.stops,
        f_number=question.apertures[1] if question.apertures else None,
        iso=question.isos[1] if question.isos else None,
        correction_max_stops=question.settings.limits.correction_max_stops,
    )
    return ways_out(stuck, forecast, stacks(question.bag) if from_bag else ())


def _alternatives(question: "Question", decision: "ExposureDecision", forecast: "Forecast") -> tuple[Alternative, ...]:
    plain_s, label_stops = decision.plain_s, _label_stops(question)
    held = [("plain time, no drift", plain_s)]
    if abs(decision.rate_stops_per_min) >= STEADY_STOPS_PER_MIN:
        habit = -_HABIT_STOPS if decision.rate_stops_per_min > 0.0 else _HABIT_STOPS
        held.append(("half a stop by habit", plain_s * 2.0**habit))
    if label_stops is not None:
        held.insert(0, ("label's stops, no drift", plain_s * 2.0 ** (label_stops - question.filter.stops)))
    return tuple(
        Alternative(name, open_s, _error(forecast, decision, open_s)) for name, open_s in held if open_s < 86_400.0
    )


def _error(forecast: "Forecast", decision: "ExposureDecision", held_s: float) -> float:
    return math.log2(forecast.dose(decision.delay_s, decision.delay_s + held_s) / decision.plain_s)


def _label_stops(question: "Question") -> float | None:
    """What the labels of measured filters from the bag would say; None when no label differs."""
    from duskhold.light.filters import parse_filter

    labels = {one.name: parse_filter(one.label).stops for one in question.settings.filters}
    stops = math.fsum(labels.get(one.label, one.stops) for one in question.filters)
    return stops if abs(stops - question.filter.stops) > 1e-9 else None


def _budget_body(ending: Ending) -> dict[str, object] | None:
    budget = ending.budget
    if budget is None:
        return None
    return {
        "reading": budget.reading,
        "rate": budget.rate,
        "filter": budget.filter,
        "latency": budget.latency,
        "total": budget.total,
        "tolerance_stops": ending.tolerance_stops,
        "miss_probability": ending.miss_probability,
    }


def way_body(way: "WayOut") -> dict[str, object]:
    """One way out, as the JSON object and the record have it."""
    return {
        "kind": way.kind.value,
        "setting": way.setting,
        "open_s": way.open_s,
        "shortfall_stops": way.shortfall_stops,
        "gains_stops": way.gains_stops,
        "note": way.note,
    }


def _proposal_body(one: "Proposal", wish: "Wish") -> dict[str, Any]:
    streak = wish.streak_share(one.open_s)
    return {
        "filters": list(one.filters),
        "filter_stops": one.filter_stops,
        "aperture": one.aperture.name,
        "iso": one.iso.name,
        "open_s": one.open_s,
        "off_stops": one.off_stops,
        "fits": one.fits,
        "looks": list(wish.looks_of(one.open_s)),
        "streak_share": streak,
        "reason": "how fast the cloud goes was not told" if streak is None else None,
    }


def _later_body(offers: "Offers") -> list[dict[str, object]]:
    return [
        {"later_min": minutes, "proposal": None if one is None else _proposal_body(one, offers.wish),
         "reason": None if one is not None else "nothing in the bag ends in that light"}
        for minutes, one in offers.later
    ]  # fmt: skip
