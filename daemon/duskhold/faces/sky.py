"""`duskhold sky`: where sun and moon stand and how bright it is, or when the sun passes its altitudes on a day."""

import argparse
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import (
    ensure_year,
    moment_of,
    now_utc,
    number_of,
    place_of,
    read,
    settings_of,
    zone_of,
)
from duskhold.light.place import Place
from duskhold.plan.stamp import utc_text

if TYPE_CHECKING:
    from duskhold.app.settings import Settings

USUAL_ALTITUDES_DEG = (-0.8333, -6.0, -12.0, -18.0)
"""Sunrise and sunset (airless, of the centre) and the ends of the three twilights."""

_NAMES = {-0.8333: "sunrise, sunset", -6.0: "civil twilight", -12.0: "nautical", -18.0: "astronomical"}
_OTHER_WAY = {"down": "up", "up": "down"}
_STEADY_STOPS_PER_MIN = 0.005


@dataclass(frozen=True, slots=True)
class Event:
    """The sun passes an altitude, or does not in this day and why."""

    altitude_deg: float
    direction: str
    at_utc: datetime | None
    reason: str | None


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "sky",
        help="sun, moon and light at a place, or the day's sun times",
        description="Where sun and moon stand and how fast the light changes at an instant (--at), or when the sun "
        "passes altitudes within 24 h of local mean-solar midnight (--date). Altitudes are of the centre, airless.",
    )
    parser.add_argument("--place", metavar="LAT,LON", help="degrees, north and east positive (or the settings')")
    when = parser.add_mutually_exclusive_group()
    when.add_argument("--at", metavar="UTC", help="an instant with offset; now when left out")
    when.add_argument("--date", metavar="YYYY-MM-DD", help="a day at that place")
    parser.add_argument(
        "--altitude",
        metavar="DEG",
        type=float,
        nargs="+",
        action="extend",
        help="sun altitudes to time with --date (default: sunset and the three twilights)",
    )


def run(args: argparse.Namespace) -> Answer:
    """Answer for an instant or for a day."""
    settings = settings_of(args)
    place = _place(args, settings)
    zone = zone_of(settings)
    if args.date is not None:
        return _day(place, _date(args.date), _altitudes(args.altitude), zone)
    if args.altitude is not None:
        raise Wrong("bad_input", "Altitudes are timed on a day.", field="--altitude", hint="Add --date.")
    at_utc = moment_of("--at", args.at) if args.at is not None else now_utc()
    return _instant(place, at_utc, zone)


def _place(args: argparse.Namespace, settings: "Settings") -> Place:
    if args.place is not None:
        return place_of("--place", args.place)
    if settings.place is None:
        raise Wrong("bad_input", "No place was given.", field="--place", hint="Add --place LAT,LON, or set one up.")
    return settings.place.place()


def _date(text: str) -> date:
    day = read("--date", text, _calendar_day, "A day is written 2026-10-14.")
    ensure_year("--date", day.year)
    return day


def _calendar_day(text: str) -> date:
    try:
        return datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC).date()
    except ValueError:
        raise ValueError(f"{text!r} is not a day of the calendar") from None


def _altitudes(asked: list[float] | None) -> tuple[float, ...]:
    if asked is None:
        return USUAL_ALTITUDES_DEG
    return tuple(dict.fromkeys(number_of("--altitude", each, -90.0, 90.0, "degrees") for each in asked))


def _instant(place: Place, at_utc: datetime, zone: tzinfo | None) -> Answer:
    from duskhold.light.skybodies import moon_face, moon_position, sun_position
    from duskhold.light.skycurve import SkyCurve

    sun, moon, curve = sun_position(place, at_utc), moon_position(place, at_utc), SkyCurve(place, at_utc)
    body: dict[str, Any] = {
        "at_utc": utc_text(at_utc),
        "sun": {"altitude_deg": sun.altitude_deg, "azimuth_deg": sun.azimuth_deg},
        "moon": {
            "altitude_deg": moon.altitude_deg,
            "azimuth_deg": moon.azimuth_deg,
            "phase_angle_deg": moon_face(at_utc).phase_angle_deg,
        },
        "illuminance_lx": curve.level(0.0),
        "rate_stops_per_min": curve.rate_stops_per_min(0.0),
    }
    return Answer(body, 0, partial(_show_instant, place, at_utc, zone, body))


def _show_instant(place: Place, at_utc: datetime, zone: tzinfo | None, body: dict[str, Any]) -> None:
    title = (
        f"The sky at {wording.where(place)}, {wording.day_utc(at_utc)} {wording.clock_utc(at_utc)} UTC, "
        f"{wording.clock_local(at_utc, zone)}"
    )
    phase_deg = body["moon"]["phase_angle_deg"]
    bodies = [
        [name, wording.degrees(body[name]["altitude_deg"], 2), f"{body[name]['azimuth_deg']:.2f}°", note]
        for name, note in (("sun", ""), ("moon", f"phase angle {phase_deg:.1f}° (0 = full)"))
    ]
    wording.print_table(title, ("", "altitude", "azimuth", ""), bodies)
    rate = body["rate_stops_per_min"]
    light = [
        ["light on the ground", f"{wording.amount(body['illuminance_lx'])} lx", "clear sky, without haze or cloud"],
        ["change", f"{wording.signed(rate, 3)} stop/min", _pace(rate)],
    ]
    wording.print_table("", ("", "", ""), light)


def _pace(rate_stops_per_min: float) -> str:
    if abs(rate_stops_per_min) < _STEADY_STOPS_PER_MIN:
        return "nearly steady"
    word = "doubles" if rate_stops_per_min > 0.0 else "halves"
    return f"{word} in {wording.duration(60.0 / abs(rate_stops_per_min))} at this rate"


def _day(place: Place, day: date, altitudes_deg: tuple[float, ...], zone: tzinfo | None) -> Answer:
    from duskhold.light.crossings import SunPath, solar_day

    from_utc, until_utc = solar_day(place, day)
    path = SunPath(place, from_utc, until_utc)
    found = [event for altitude_deg in altitudes_deg for event in _events(path, altitude_deg)]
    events = sorted(found, key=lambda event: event.at_utc or until_utc)
    body: dict[str, object] = {
        "date": day.isoformat(),
        "from_utc": utc_text(from_utc),
        "until_utc": utc_text(until_utc),
        "events": [_event_body(event) for event in events],
    }
    return Answer(body, 0, partial(_show_day, place, day, zone, events))


def _events(path: Any, altitude_deg: float) -> list[Event]:
    from duskhold.light.crossings import Direction, NoCrossing

    events: list[Event] = []
    for direction in Direction:
        found = path.events(altitude_deg, direction)
        if isinstance(found, NoCrossing):
            events.append(Event(altitude_deg, direction.value, None, _why(found)))
        else:
            events += [Event(altitude_deg, direction.value, each.at_utc, None) for each in found]
    return events


def _why(absence: Any) -> str:
    from duskhold.light.crossings import Absence

    match absence.reason:
        case Absence.STAYS_ABOVE:
            return f"the sun stays above: its lowest is {wording.degrees(absence.lowest_deg)}"
        case Absence.STAYS_BELOW:
            return f"the sun stays below: its highest is {wording.degrees(absence.highest_deg)}"
    return f"the sun only goes {_OTHER_WAY[absence.direction]} through it in these 24 h"


def _event_body(event: Event) -> dict[str, object]:
    return {
        "altitude_deg": event.altitude_deg,
        "direction": event.direction,
        "at_utc": utc_text(event.at_utc) if event.at_utc else None,
        "reason": event.reason,
    }


def _show_day(place: Place, day: date, zone: tzinfo | None, events: list[Event]) -> None:
    absent = dict.fromkeys((event.altitude_deg, event.reason) for event in events if event.reason)
    rows = [_event_row(event, event.at_utc, zone) for event in events if event.at_utc]
    rows += [["–", _altitude(altitude_deg), "–", "–", str(reason)] for altitude_deg, reason in absent]
    title = f"The sun at {wording.where(place)}, {day}, over 24 h from local mean-solar midnight"
    wording.print_table(title, ("", "altitude", "UTC", "local", ""), rows)


def _event_row(event: Event, at_utc: datetime, zone: tzinfo | None) -> list[str]:
    arrow = "↓" if event.direction == "down" else "↑"
    name = _NAMES.get(event.altitude_deg, "")
    return [arrow, _altitude(event.altitude_deg), wording.clock_utc(at_utc), wording.clock_local(at_utc, zone), name]


def _altitude(altitude_deg: float) -> str:
    return f"{altitude_deg:g}°".replace("-", wording.MINUS)
