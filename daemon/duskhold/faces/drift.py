"""How the light changes, as it is asked for: a stated rate, a clear sky, or readings with or without one."""

import argparse
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from duskhold.faces.answer import Wrong
from duskhold.faces.area import add_area_option, area_of
from duskhold.faces.inputs import folders_of, number_of, place_of, read, saying_journal_errors
from duskhold.light.reading import LARGEST_RATE_STOPS_PER_MIN

if TYPE_CHECKING:
    from duskhold.app.settings import Settings
    from duskhold.light.place import Place
    from duskhold.light.reading import Reading
    from duskhold.light.skyshape import SkyShape
    from duskhold.plan.decision import Drift, TrendDrift

AUTO = "auto"
_LOOK_BACK_MIN = 60.0


def add_drift_options(group: argparse._ArgumentGroup) -> None:
    """The options that say how the light changes."""
    group.add_argument("--rate", metavar="STOPS_PER_MIN", type=float, help="how the light changes, + brightens")
    group.add_argument("--place", metavar="LAT,LON", help="follow the clear sky of this place instead")
    group.add_argument(
        "--readings", metavar="FILE|auto",
        help="follow light readings: a CSV taken_utc,level_stops,sigma_stops,source, or base and long frames on "
        "record; with --place (or the settings' place) the sky gives the shape where it agrees",
    )  # fmt: skip
    add_area_option(group)


def drift_of(args: argparse.Namespace, settings: "Settings", metered_utc: datetime, opens_utc: datetime) -> "Drift":
    """The drift that the options ask for. Raises `Wrong`."""
    from duskhold.plan.decision import SkyDrift, SteadyDrift

    if args.readings is not None:
        if args.rate is not None:
            raise Wrong("usage", "Readings and a stated rate exclude each other.", field="--rate")
        return _trend(args, settings, metered_utc, opens_utc)
    if (args.rate is None) == (args.place is None):
        raise Wrong(
            "usage", "The light's change is given by --rate or by --place, one of them, or by --readings.",
            field="--rate",
            hint="--rate -0.18 as measured between two base frames, or --place LAT,LON for a clear sky.",
        )  # fmt: skip
    if args.rate is None:
        return SkyDrift(place_of("--place", args.place))
    largest = LARGEST_RATE_STOPS_PER_MIN
    return SteadyDrift(number_of("--rate", args.rate, -largest, largest, "stops per minute"))


def _trend(args: argparse.Namespace, settings: "Settings", metered_utc: datetime, opens_utc: datetime) -> "TrendDrift":
    from duskhold.light.trend import NoTrend, fuse
    from duskhold.plan.decision import TrendDrift

    place = place_of("--place", args.place) if args.place is not None else own_place(settings)
    readings = readings_asked_for(args, settings, opens_utc)
    shape = None if place is None else shape_of(place, metered_utc)
    found = fuse(readings, metered_utc, opens_utc, settings.limits.reading_age_max_s, shape)
    if isinstance(found, NoTrend):
        said = found.reason[:1].upper() + found.reason[1:] + "."
        raise Wrong(
            found.lack.value, said, field="--readings", exit_status=3,
            hint="Take a base frame now, without the filter; two some minutes apart tell the rate.",
        )  # fmt: skip
    return TrendDrift(found)


def own_place(settings: "Settings") -> "Place | None":
    """The settings' place."""
    return None if settings.place is None else settings.place.place()


def shape_of(place: "Place", metered_utc: datetime) -> "SkyShape":
    """The clear sky of a place over the hours after metering."""
    from duskhold.light.skyshape import SkyShape
    from duskhold.plan.outlook import midnight_before, sky_of

    midnight = midnight_before(metered_utc)
    return SkyShape(sky_of(place, midnight), midnight)


def readings_asked_for(args: argparse.Namespace, settings: "Settings", opens_utc: datetime) -> "tuple[Reading, ...]":
    """What `--readings` asks for. Raises `Wrong`."""
    from duskhold.app.readings_file import ReadingsWrong, load_readings

    if args.readings == AUTO:
        return _on_record(args, settings, opens_utc)
    try:
        return load_readings(Path(args.readings))
    except ReadingsWrong as wrong:
        raise Wrong("bad_input", f"{wrong}.", field="--readings") from wrong


def _on_record(args: argparse.Namespace, settings: "Settings", opens_utc: datetime) -> "tuple[Reading, ...]":
    from duskhold.app.evidence import readings_on_record
    from duskhold.camera.address import parse_address

    camera = str(read("--camera", args.camera or settings.camera, parse_address))
    since_utc, chosen = opens_utc - timedelta(minutes=_LOOK_BACK_MIN), area_of(args)
    with saying_journal_errors():
        return readings_on_record(folders_of(args, settings), camera, since_utc, opens_utc, chosen)
