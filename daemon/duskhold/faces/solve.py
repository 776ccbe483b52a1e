"""`duskhold solve`: how long to hold the shutter, from a metered base exposure and how the light changes."""

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, tzinfo
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import limits_of, moment_of, number_of, place_of, read, settings_of, zone_of
from duskhold.plan.stamp import utc_text

if TYPE_CHECKING:
    from duskhold.app.settings import Settings
    from duskhold.light.filters import Filter
    from duskhold.plan.decision import Change, Drift, ExposureDecision

LARGEST_RATE_STOPS_PER_MIN = 10.0
LONGEST_PLAIN_S = 31_557_600.0
"""A year: past it the clock times of an answer mean nothing."""
STRONGEST_STACK_STOPS = 60.0

_DIAL_HINT = "Dial names are true powers of two (1/60 is 1/64 s); a literal value is written with =, as in =0.2"


@dataclass(frozen=True, slots=True)
class Question:
    """What was asked: the settings, and the exposure in terms of the trade."""

    settings: "Settings"
    base_s: float
    filter: "Filter"
    change: "Change"
    drift: "Drift"
    metered_utc: datetime
    opens_utc: datetime


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "solve",
        help="how long to hold the shutter for a metered base exposure",
        description="How long to hold the shutter that opens some time after metering while the light changes. "
        "Nothing is exposed.",
    )
    add_solve_options(parser)


def add_solve_options(parser: argparse.ArgumentParser) -> None:
    """The options of a computed exposure; which of them are needed is checked by `ask`."""
    asked = parser.add_argument_group("computed exposure")
    asked.add_argument("--base", metavar="TIME", help='metered time without filters, as on the dial: 1/4, 30, "=0.2"')
    asked.add_argument("--filters", metavar="LIST", default="none", help="stops 6.2, density d0.9, factor x1000")
    asked.add_argument("--aperture", metavar="N[:N]", help="metered at, and shot at when different: f/8:f/11")
    asked.add_argument("--iso", metavar="N[:N]", help="metered at, and shot at when different: 100:200")
    asked.add_argument("--metered", metavar="UTC", help="when the base exposure was metered")
    asked.add_argument("--opens", metavar="UTC", help="when the shutter opens")
    asked.add_argument("--rate", metavar="STOPS_PER_MIN", type=float, help="how the light changes, + brightens")
    asked.add_argument("--place", metavar="LAT,LON", help="follow the clear sky of this place instead")


def run(args: argparse.Namespace) -> Answer:
    """Decide and answer; the exit status is 0 also when the light does not suffice."""
    question = ask(args)
    decision = decide(question)
    body = decision_body(decision)
    return Answer(body, 0, partial(_show, question, decision, zone_of(question.settings)))


def ask(args: argparse.Namespace, opens_utc: datetime | None = None) -> Question:
    """Read the options of `add_solve_options`; `opens_utc` stands in when `--opens` is left out. Raises `Wrong`."""
    from duskhold.light.dials import SHUTTER
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
    bag = stack(read("--filters", args.filters, settings.filters_from))
    number_of("--filters", bag.stops, 0.0, STRONGEST_STACK_STOPS, "stops in all")
    base_s = read("--base", _needed(args.base, "--base"), SHUTTER.true_value, _DIAL_HINT)
    return Question(settings, base_s, bag, _change(args, bag), _drift(args), metered_utc, opens_utc)


def decide(question: Question) -> "ExposureDecision":
    """The time to hold the shutter. Raises `Wrong` when the plain time is past all sense."""
    from duskhold.plan.decision import LightReading, solve

    plain_s = question.base_s * 2.0**question.change.cost_stops
    number_of("--filters", plain_s, 1e-6, LONGEST_PLAIN_S, "s of plain time")
    reading = LightReading(question.base_s, question.metered_utc)
    return solve(reading, question.change, question.drift, question.opens_utc, limits_of(question.settings))


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
        raise Wrong("usage", "It is needed for a computed exposure.", field=field)
    return value


def _change(args: argparse.Namespace, bag: "Filter") -> "Change":
    from duskhold.light.dials import APERTURE, ISO
    from duskhold.light.exposure import aperture_change_stops, iso_change_stops
    from duskhold.plan.decision import Change

    aperture = _pair("--aperture", args.aperture, APERTURE.true_value)
    iso = _pair("--iso", args.iso, ISO.true_value)
    return Change(
        filter_stops=bag.stops,
        aperture_stops=aperture_change_stops(*aperture) if aperture else 0.0,
        iso_stops=iso_change_stops(*iso) if iso else 0.0,
    )


def _pair(field: str, text: str | None, reader: Callable[[str], float]) -> tuple[float, float] | None:
    if text is None:
        return None
    metered, _, shot = text.partition(":")
    first = read(field, metered, reader, _DIAL_HINT)
    return first, (read(field, shot, reader, _DIAL_HINT) if shot else first)


def _drift(args: argparse.Namespace) -> "Drift":
    from duskhold.plan.decision import SkyDrift, SteadyDrift

    if (args.rate is None) == (args.place is None):
        raise Wrong(
            "usage", "The light's change is given by --rate or by --place, one of them.", field="--rate",
            hint="--rate -0.18 as measured between two base frames, or --place LAT,LON for a clear sky.",
        )  # fmt: skip
    if args.rate is None:
        return SkyDrift(place_of("--place", args.place))
    largest = LARGEST_RATE_STOPS_PER_MIN
    return SteadyDrift(number_of("--rate", args.rate, -largest, largest, "stops per minute"))


def _show(question: Question, decision: "ExposureDecision", zone: tzinfo | None) -> None:
    title = (
        f"Hold the shutter {wording.duration(decision.open_s)}, opening on {wording.day_utc(decision.opens_utc)}"
        if decision.open_s is not None
        else f"Cannot be finished: {decision.reason}"
    )
    wording.print_table(title, ("", "", ""), [*_given(question, decision, zone), *_found(decision, zone)])


def _given(question: Question, decision: "ExposureDecision", zone: tzinfo | None) -> list[list[str]]:
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
    return rows


def _clocks(moment: datetime, zone: tzinfo | None) -> tuple[str, str]:
    return f"{wording.clock_utc(moment)} UTC", wording.clock_local(moment, zone)
