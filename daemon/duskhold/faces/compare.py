"""`duskhold compare`: a long frame against its base frame, in numbers and one line a fault."""

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.area import add_area_option, area_of
from duskhold.faces.inputs import folders_of, number_of, saying_journal_errors, settings_of

if TYPE_CHECKING:
    from duskhold.app.settings import Settings

Body = dict[str, Any]

_UNREAD_STATUS = 4
_MISUSED = ("picture_missing", "not_comparable", "picture_foreign", "picture_unsuited")


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "compare",
        help="measure a long frame against its base frame",
        description="Measures a long frame against the base frame taken before it, both as raw files or both as "
        "JPEG: level, clipping, sharpness, movement, stray light, spots. Says what is past its limit, and what to do.",
    )
    parser.add_argument("base", metavar="BASE", help="the base frame")
    parser.add_argument("long", metavar="LONG", help="the long frame")
    parser.add_argument("--scout", metavar="FILE", help="the short frame through the filter, measured as well")
    parser.add_argument("--expected-stops", metavar="N", type=float, default=0.0, help="the level that was wanted (0)")
    add_area_option(parser)
    rig = parser.add_argument_group("what turns a shift into a leg that sank (all three, or `rig` in the settings)")
    rig.add_argument("--lens-mm", metavar="MM", type=float, help="focal length")
    rig.add_argument("--pixel-um", metavar="UM", type=float, help="distance between the sensor's pixels")
    rig.add_argument("--leg-spread-m", metavar="M", type=float, help="distance between the tripod's feet")


def run(args: argparse.Namespace) -> Answer:
    """The measures and the verdict."""
    from dataclasses import asdict

    from duskhold.app.judging import area_words, standards_of
    from duskhold.frames.worker import MeasuringFailed, Question, compare_apart

    settings = settings_of(args)
    base, long = _file("BASE", args.base), _file("LONG", args.long)
    scout = None if args.scout is None else _file("--scout", args.scout)
    standards = standards_of(settings, Path(base))
    known = None if standards.rig is None else asdict(standards.rig)
    question = Question(
        base=base,
        long=long,
        scout=scout,
        area=area_words(area_of(args)),
        expected_stops=number_of("--expected-stops", args.expected_stops, -20, 20, "stops"),
        limits=asdict(standards.limits),
        rig=_rig(args) or known,
        sha256=_checksums(args, settings, [path for path in (base, long, scout) if path is not None]),
    )
    try:
        body = compare_apart(question)
    except MeasuringFailed as error:
        status = 2 if error.code in _MISUSED else _UNREAD_STATUS
        raise Wrong(error.code, str(error), hint="The files are as they were.", exit_status=status) from error
    return Answer(body, 0, partial(_show, body))


def _checksums(args: argparse.Namespace, settings: "Settings", paths: list[str]) -> dict[str, str]:
    from duskhold.app.overview import checksums_of

    with saying_journal_errors():
        return checksums_of(folders_of(args, settings), paths)


def _file(field: str, name: str) -> str:
    path = Path(name).expanduser()
    if not path.is_file():
        raise Wrong("picture_missing", f"There is no file {name}.", field=field)
    return str(path.absolute())


def _rig(args: argparse.Namespace) -> dict[str, float] | None:
    given = {
        "focal_length_mm": ("--lens-mm", args.lens_mm, 1, 5000, "mm"),
        "pixel_um": ("--pixel-um", args.pixel_um, 0.5, 50, "µm"),
        "leg_spread_m": ("--leg-spread-m", args.leg_spread_m, 0.05, 10, "m"),
    }
    known = {name: values for name, values in given.items() if values[1] is not None}
    if not known:
        return None
    if len(known) < len(given):
        missing = next(values[0] for name, values in given.items() if name not in known)
        raise Wrong("bad_input", "Lens, pixel and legs are needed together.", field=missing)
    return {
        name: number_of(option, value, least, most, unit) for name, (option, value, least, most, unit) in known.items()
    }


def _show(body: Body) -> None:
    for finding in body["verdict"]:
        wording.say(finding["text"][:1].upper() + finding["text"][1:] + ".")
    if body["good"]:
        print("Good: nothing is past its limit.")
    scout = body.get("scout")
    columns = ("", "long", "scout", "limit") if scout else ("", "long", "limit")
    rows = [[name, value(body), *([value(scout)] if scout else []), limit] for name, value, limit in _lines(body)]
    wording.print_table("", columns, rows)
    if body["reason"]:
        wording.say(f"Not everything could be measured: {body['reason']}.")


def _lines(body: Body) -> list[tuple[str, Any, str]]:
    limits = body["limits"]
    return [
        ("level", lambda of: _or_dash(of["level_error_stops"], wording.stops), f"{limits['level_stops']:g} stop"),
        ("clipped", lambda of: f"{of['clipped_counted_share']:.2%}", f"{limits['clipped_share']:.1%}"),
        ("sharpness", lambda of: _or_dash(of["sharpness_ratio"], "{:.2f}".format), f"{limits['sharpness_ratio']:g}"),
        ("contrast", lambda of: _or_dash(of["contrast_ratio"], "{:.2f}".format), f"{limits['contrast_ratio']:g}"),
        ("corner moved", lambda of: _or_dash(of["corner_px"], "{:.2f} px".format), f"{limits['corner_px']:g} px"),
        ("turned", lambda of: _or_dash(of["rotation_deg"], "{:+.3f}°".format), ""),
        ("leak", lambda of: _or_dash(of["leak_worst_share"], "{:.1%}".format), f"{limits['leak_share']:.0%}"),
        ("spots", lambda of: str(of["spots"]), f"{limits['spots']:g}"),
    ]


def _or_dash(value: Any, said: Any) -> str:
    return "–" if value is None else str(said(value))
