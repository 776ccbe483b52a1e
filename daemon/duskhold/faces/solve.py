"""`duskhold solve`: how long to hold the shutter, from a metered base exposure and how the light changes."""

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.drift import add_drift_options, drift_of
from duskhold.faces.inputs import folders_of, limits_of, moment_of, number_of, read, settings_of, zone_of
from duskhold.plan.stamp import utc_text

if TYPE_CHECKING:
    from duskhold.app.settings import Settings
    from duskhold.light.filters import Filter
    from duskhold.plan.bag import BagFilter
    from duskhold.plan.decision import Change, Drift, ExposureDecision

LONGEST_PLAIN_S = 31_557_600.0
"""A year: past it the clock times of an answer mean nothing."""

_NEEDED = {
    "--base": "What the bare lens meters, as on the dial: --base 1/4",
    "--metered": "When that was metered: --metered 2026-10-14T17:20:00Z",
    "--opens": "When the shutter is to open: --opens 2026-10-14T17:21:10Z",
}
_DIAL_HINT = "Dial names are true powers of two (1/60 is 1/64 s); a literal value is written with =, as in =0.2"


@dataclass(frozen=True, slots=True)
class Question:
    """What was asked: the settings, and the exposure in terms of the trade.

    `apertures` and `isos` are true values, metered and shot, where they were told. `filters` are what is fitted, known
    as well as `filter_sigma_stops` says, or as the bag or their labels do.
    """

    settings: "Settings"
    base_s: float
    filter: "Filter"
    change: "Change"
    drift: "Drift"
    metered_utc: datetime
    opens_utc: datetime
    filters: "tuple[Filter, ...]"
    bag: "tuple[BagFilter, ...]"
    apertures: tuple[float, float] | None
    isos: tuple[float, float] | None
    filter_sigma_stops: float | None = None

    def leaning_stops(self, rate_stops_per_min: float) -> float:
        """How much more than metered is wanted in light that changes so, by the settings."""
        return self.settings.lean.lean().stops(rate_stops_per_min)


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    from duskhold.faces.several import add_several_options
    from duskhold.faces.want import add_want_options

    parser: argparse.ArgumentParser = subparsers.add_parser(
        "solve",
        help="how long to hold the shutter for a metered base exposure",
        description="How long to hold the shutter that opens some time after metering while the light changes; "
        "what could be done when it cannot be finished; what to fit for a wanted time. Nothing is exposed.",
    )
    add_solve_options(parser)
    parser.add_argument("--camera", metavar="ADDRESS", help="whose frames `--readings auto` reads")
    add_want_options(parser)
    add_several_options(parser)
    parser.add_argument("--tolerance", metavar="STOPS", type=float, help="how likely it misses by more (a third)")
    parser.add_argument("--picture", metavar="FILE", help="draw it: the light and the opening, or the ways out")


def add_solve_options(parser: argparse.ArgumentParser) -> None:
    """The options of a computed exposure; which of them are needed is checked by `ask`."""
    asked = parser.add_argument_group("computed exposure")
    asked.add_argument("--base", metavar="TIME", help='metered time without filters, as on the dial: 1/4, 30, "=0.2"')
    asked.add_argument(
        "--filters", metavar="LIST", default="none", help="names in the bag, stops 6.2, d0.9, x1000: 2 at most"
    )
    asked.add_argument("--aperture", metavar="N[:N]", help="metered at, and shot at when different: f/8:f/11")
    asked.add_argument("--iso", metavar="N[:N]", help="metered at, and shot at when different: 100:200")
    asked.add_argument("--metered", metavar="UTC", help="when the base exposure was metered")
    asked.add_argument("--opens", metavar="UTC", help="when the shutter opens")
    add_drift_options(asked)


def run(args: argparse.Namespace) -> Answer:
    """Decide and answer; the exit status is 0 also when the light does not suffice."""
    from duskhold.faces.several import several_body, several_for
    from duskhold.faces.solve_answer import ending_of, whole_body
    from duskhold.faces.solve_table import show
    from duskhold.faces.want import proposals_for, wish_for

    question = ask(args)
    wish = wish_for(args, question)
    decision = decide(question)
    tolerance = None if args.tolerance is None else number_of("--tolerance", args.tolerance, 0.01, 5.0, "stops")
    ending = ending_of(question, decision, wish is not None or bool(args.bag), tolerance)
    offers = None if wish is None else proposals_for(question, wish)
    several = several_for(args, question, decision)
    if args.picture is not None:
        from duskhold.faces.light_picture import draw_solution

        draw_solution(args.picture, question, decision, ending, offers)
    body = whole_body(question, decision, ending, offers) | several_body(several)
    shown = partial(show, question, decision, ending, offers, several, zone_of(question.settings))
    return Answer(body, 0, shown)


def ask(args: argparse.Namespace, opens_utc: datetime | None = None) -> Question:
    """Read the options of `add_solve_options`; `opens_utc` stands in when `--opens` is left out. Raises `Wrong`."""
    from duskhold.app.bag import MeasurementUnread, bag_of, filters_from
    from duskhold.light.dials import APERTURE, ISO, SHUTTER
    from duskhold.light.filters import stack

    settings = settings_of(args)
    metered_utc = moment_of("--metered", _needed(args.metered, "--metered"))
    if args.opens is not None or opens_utc is None:
        opens_utc = moment_of("--opens", _needed(args.opens, "--opens"))
    if opens_utc < metered_utc:
        raise Wrong(
            "bad_input", "The shutter would open before the light was metered.", field="--opens",
            hint="Metering comes first: check the two times and their offsets.",
        )  # fmt: skip
    try:
        bag = bag_of(settings, folders_of(args, settings))
    except MeasurementUnread as error:
        raise Wrong("bad_measurement", f"{error}.", field="--data", exit_status=3) from error
    filters = read("--filters", args.filters, partial(filters_from, bag))
    whole = stack(filters)
    base_s = read("--base", _needed(args.base, "--base"), SHUTTER.true_value, _DIAL_HINT)
    apertures = _pair("--aperture", args.aperture, APERTURE.true_value)
    isos = _pair("--iso", args.iso, ISO.true_value)
    drift = drift_of(args, settings, metered_utc, opens_utc)
    change = _change(whole, apertures, isos)
    return Question(
        settings, base_s, whole, change, drift, metered_utc, opens_utc, filters, bag, apertures, isos
    )  # fmt: skip


def decide(question: Question) -> "ExposureDecision":
    """The time to hold the shutter. Raises `Wrong` when the plain time is past all sense."""
    from duskhold.plan.decision import LightReading, solve

    plain_s = question.base_s * 2.0**question.change.cost_stops
    number_of("--filters", plain_s, 1e-6, LONGEST_PLAIN_S, "s of plain time")
    reading = LightReading(question.base_s, question.metered_utc)
    settings = question.settings
    lean = settings.lean.lean()
    return solve(reading, question.change, question.drift, question.opens_utc, limits_of(settings), lean)


def decision_body(decision: "ExposureDecision") -> dict[str, object]:
    """The decision as the JSON object of this command."""
    return {
        "base_s": decision.base_s,
        "plain_s": decision.plain_s,
        "delay_s": decision.delay_s,
        "rate_stops_per_min": decision.rate_stops_per_min,
        "open_s": decision.open_s,
        "closes_utc": utc_text(decision.closes_utc) if decision.closes_utc else None,
        "correction_stops": decision.correction_stops,
        "finishable": decision.finishable,
        "most_plain_s": decision.most_plain_s,
        "shortfall_stops": decision.shortfall_stops,
        "uncorrected_error_stops": decision.uncorrected_error_stops,
        "limits_exceeded": list(decision.limits_exceeded),
        "reason": decision.reason,
    }


def _needed(value: str | None, field: str) -> str:
    if value is None:
        raise Wrong("usage", "It is needed for a computed exposure.", field=field, hint=_NEEDED[field])
    return value


def _change(whole: "Filter", apertures: tuple[float, float] | None, isos: tuple[float, float] | None) -> "Change":
    from duskhold.light.exposure import aperture_change_stops, iso_change_stops
    from duskhold.plan.decision import Change

    return Change(
        filter_stops=whole.stops,
        aperture_stops=aperture_change_stops(*apertures) if apertures else 0.0,
        iso_stops=iso_change_stops(*isos) if isos else 0.0,
    )


def _pair(field: str, text: str | None, reader: Callable[[str], float]) -> tuple[float, float] | None:
    if text is None:
        return None
    metered, _, shot = text.partition(":")
    first = read(field, metered, reader, _DIAL_HINT)
    return first, (read(field, shot, reader, _DIAL_HINT) if shot else first)
