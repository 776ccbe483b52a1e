"""`duskhold leak`: how much light gets into the camera with the cap on, for the longest frame that is planned."""

import argparse
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.dark import file_named
from duskhold.faces.inputs import number_of

if TYPE_CHECKING:
    from duskhold.frames.caplight import CapLight

Body = dict[str, Any]

_LIMIT_PERCENT = 0.5
_WARMER_SHARE = 0.5
CAUTION = (
    "Sun: the cap stays on, and nobody looks at the sun through the finder, least of all through a dark filter: "
    "infrared passes it and blinds without pain. No live view on a high sun."
)


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "leak",
        help="measure what light gets in with the cap on",
        description="Take raw frames of a minute or two in full sun with the cap on: finder open, finder covered, "
        "holder on, in several directions; and one of the same length and ISO in the dark of the night. Each is "
        "compared with that dark tile by tile, and the worst tile told for the longest frame that you plan. " + CAUTION,
    )
    parser.add_argument("frames", metavar="CAPPED", nargs="+", help="raw frames in daylight, cap on")
    parser.add_argument("--against", metavar="DARK", required=True, help="a raw dark of the night, as long, same ISO")
    parser.add_argument("--longest", metavar="S", type=float, required=True, help="the longest planned frame, in s")
    parser.add_argument(
        "--mid-tone", metavar="DN", type=float, help="a mid-tone in raw numbers over black; else by full scale"
    )
    parser.add_argument(
        "--limit", metavar="PERCENT", type=float, default=_LIMIT_PERCENT, help=f"of a mid-tone ({_LIMIT_PERCENT})"
    )


def run(args: argparse.Namespace) -> Answer:
    """What each frame has over the dark."""
    from duskhold.app.leak_test import look_under_cap
    from duskhold.frames.darks import DarkUnsuited
    from duskhold.frames.picture_file import PictureUnread

    longest_s = number_of("--longest", args.longest, 1, 36_000, "s")
    mid_tone = None if args.mid_tone is None else number_of("--mid-tone", args.mid_tone, 1, 65_535, "DN")
    limit = number_of("--limit", args.limit, 0.01, 100, "percent") / 100
    dark = file_named("--against", args.against)
    found = []
    for name in args.frames:
        path = file_named("CAPPED", name)
        try:
            light, open_s = look_under_cap(path, dark, longest_s, mid_tone, limit)
        except DarkUnsuited as error:
            raise Wrong(error.code, str(error), field="--against", exit_status=3) from error
        except PictureUnread as error:
            raise Wrong(error.code, str(error), exit_status=4) from error
        found.append(_body(str(path), light, open_s))
    body = {
        "good": all(each["good"] for each in found),
        "longest_s": longest_s,
        "dark": str(dark),
        "frames": found,
        "caution": CAUTION,
    }
    return Answer(body, 0, partial(_show, body))


def _body(path: str, light: "CapLight", open_s: float) -> Body:
    return {
        "path": path,
        "good": light.good,
        "open_s": open_s,
        "worst_dn": light.worst_dn,
        "worst_dn_per_min": light.worst_dn * 60.0 / open_s,
        "even_dn": light.even_dn,
        "longest_dn": light.longest_dn,
        "mid_tone_dn": light.mid_tone_dn,
        "mid_tone_share": light.share,
        "limit_share": light.limit,
        "limit_dn": light.limit_dn,
        "place": list(light.place),
        "edge": light.edge,
        "channel": light.channel,
    }


def _show(body: Body) -> None:
    for each in body["frames"]:
        wording.say(f"{each['path']}: {_line(each, body['longest_s'])}")
    wording.say(CAUTION)


def _line(each: Body, longest_s: float) -> str:
    said = (
        f"worst tile {each['worst_dn']:.0f} DN over the dark in {wording.duration(each['open_s'])}; in a frame of "
        f"{wording.duration(longest_s)} {each['longest_dn']:.0f} DN, {each['mid_tone_share']:.1%} of a mid-tone "
        f"(limit {each['limit_share']:.1%}, {each['limit_dn']:.0f} DN)"
    )
    if each["good"]:
        return f"passes: {said}."
    if each["even_dn"] > _WARMER_SHARE * each["worst_dn"]:
        return f"FAILS: {said}; nearly as much everywhere: the sensor was warmer, or the cap lets light in."
    return f"FAILS: {said}; {each['channel']}, nearest to the {each['edge']}: cover the finder, look at cap and holder."
