"""`duskhold weather`: what a person sees of air, wind and tide, for the record of the frames that follow."""

import argparse
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer
from duskhold.faces.inputs import folders_of, line_of, number_of, saying_journal_errors, settings_of
from duskhold.light.dew import MARGIN_C

if TYPE_CHECKING:
    from duskhold.app.weather import Weather

LONGEST_WORDS = 200
_UNITS = {"air_c": "°C", "humidity_percent": "%", "wind_m_s": "m/s", "tide": ""}
_TITLES = {"air_c": "air", "humidity_percent": "relative humidity", "wind_m_s": "wind", "tide": "tide"}


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "weather",
        help="say how air, wind and tide are: kept with the frames that follow, for twelve hours",
        description="No instrument is asked: what you say stands in the record of every frame that follows, for twelve "
        "hours or until you say otherwise. Of air and humidity follows whether glass will grow wet. "
        "Without an option: what holds now.",
    )
    parser.add_argument("--air", metavar="C", type=float, help="temperature of the air, degrees Celsius")
    parser.add_argument("--humidity", metavar="PERCENT", type=float, help="relative humidity")
    parser.add_argument("--wind", metavar="M_S", type=float, help="wind, metres per second")
    parser.add_argument("--tide", metavar="WORDS", help='such as "low at 17:40, rising"')
    parser.add_argument("--camera", metavar="ADDRESS", help="with the simulated camera it is kept among its frames")


def run(args: argparse.Namespace) -> Answer:
    """What holds now."""
    from duskhold.app.station import stamp_now
    from duskhold.app.weather import Weather, say_weather, weather_at
    from duskhold.faces.expose import camera_of
    from duskhold.journal.journal import Journal

    values = _said(args)
    settings = settings_of(args)
    camera = camera_of(args, settings)
    own = folders_of(args, settings).of(camera)
    if not values and not own.journal.exists():  # asking makes nothing
        return Answer(Weather({}).told(), 0, partial(_show, Weather({}), camera))
    with saying_journal_errors(), Journal.open(own.journal) as journal:
        stamp = stamp_now()
        weather = say_weather(journal, values, stamp) if values else weather_at(journal, stamp.utc)
    return Answer(weather.told(), 0, partial(_show, weather, camera))


def _said(args: argparse.Namespace) -> dict[str, float | str]:
    given = {
        "air_c": None if args.air is None else number_of("--air", args.air, -60.0, 60.0, "°C"),
        "humidity_percent": None if args.humidity is None else number_of("--humidity", args.humidity, 1.0, 100.0, "%"),
        "wind_m_s": None if args.wind is None else number_of("--wind", args.wind, 0.0, 100.0, "m/s"),
        "tide": None if args.tide is None else line_of("--tide", args.tide, LONGEST_WORDS),
    }
    return {name: value for name, value in given.items() if value is not None}


def _show(weather: "Weather", camera: str) -> None:
    from duskhold.app.folders import SIMULATED

    _show_said(weather)
    if camera == SIMULATED:
        wording.print_line("This is for frames of the simulated camera; --camera usb is for those of a real one.")


def _show_said(weather: "Weather") -> None:
    if not weather.said:
        wording.say("Nothing was said of the weather in the last twelve hours.")
        return
    told = [
        (_TITLES[name], f"{each.value:g} {unit}" if isinstance(each.value, float) else f"“{each.value}”",
         wording.clock_utc(each.said_utc))
        for name, unit in _UNITS.items() if (each := weather.said.get(name)) is not None
    ]  # fmt: skip
    rows = [(title, f"{value}, said at {at} UTC") for title, value, at in told]
    wording.print_table("The weather as it was told", ("", ""), rows)
    margin_c = weather.dew_margin_c()
    if margin_c is None:
        return
    wording.print_line(f"The dew point is {margin_c:.1f} °C below the air.")
    if margin_c < MARGIN_C:
        wet = "look for dew or frost, and warm the glass."
        wording.print_line(f"Glass under a clear sky falls 2 to 4 °C below the air: {wet}")
