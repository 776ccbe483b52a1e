"""`duskhold look`: the table of looks, and what cloud, stars, moon, walkers and a lighthouse make of a time."""

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import number_of, read, settings_of

if TYPE_CHECKING:
    from duskhold.light.looks import Look
    from duskhold.light.motion import Lens

USUAL_STREAK = 0.15
USUAL_FRAME_PX = 6000
SHARPEST_STAR_PX = 3.0


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "look",
        help="which time gives which look: cloud, stars, moon, lighthouse",
        description="Without options: the table of looks. With a shift, two pictures or a wind: the time for a streak "
        "of cloud. With a lens: trails of stars and moon. With a period: times of whole flashes, or of whole passes of "
        "cars. With the time from wave to wave: what the water becomes.",
    )
    parser.add_argument("--open", metavar="TIME", help="a time to judge: 120s, 2min")
    cloud = parser.add_argument_group("cloud")
    cloud.add_argument("--shift", metavar="PX", type=float, help="how far the cloud moved between two pictures")
    cloud.add_argument("--files", metavar="FILE", nargs=2, help="measure the shift from two pictures")
    cloud.add_argument("--between", metavar="S", type=float, help="seconds between the two")
    cloud.add_argument("--wind", metavar="M_PER_S", type=float, help="wind at the cloud instead of a shift")
    cloud.add_argument("--cloud-height", metavar="M", type=float, default=1500.0, help="above you (1500)")
    cloud.add_argument("--cloud-altitude", metavar="DEG", type=float, default=20.0, help="over the horizon (20)")
    cloud.add_argument("--streak", metavar="SHARE", type=float, default=USUAL_STREAK, help="of the width (0.15)")
    lens = parser.add_argument_group("lens and sensor")
    lens.add_argument("--focal", metavar="MM", type=float)
    lens.add_argument("--pixel", metavar="UM", type=float, help="distance between pixels")
    lens.add_argument("--frame-px", metavar="PX", type=int, help=f"width of the picture ({USUAL_FRAME_PX})")
    lens.add_argument("--declination", metavar="DEG", type=float, default=0.0, help="of the stars (0, the fastest)")
    parser.add_argument("--waves", metavar="S", type=float, help="from one wave to the next: its times of water")
    parser.add_argument(
        "--period",
        metavar="S",
        type=float,
        help="flash period of a lighthouse, or how long a car takes through the bend",
    )


def run(args: argparse.Namespace) -> Answer:
    """Everything that the options ask for."""
    from duskhold.faces.want import seconds_from

    table = settings_of(args).look_table()
    open_s = None if args.open is None else read("--open", args.open, seconds_from)
    lens = _lens(args)
    body: dict[str, Any] = {
        "looks": [_look_body(look) for look in _chosen(table, open_s)],
        "cloud": _cloud(args, table, lens, open_s),
        "sky": None if lens is None else _trails(args, lens, open_s),
        "waves": None if args.waves is None else _waves(args),
        "people": None if open_s is None else _people(open_s),
        "lighthouse": None if args.period is None else _lighthouse(args, open_s),
    }
    return Answer(body, 0, partial(_show, body, open_s))


def _chosen(table: "tuple[Look, ...]", open_s: float | None) -> "tuple[Look, ...]":
    from duskhold.light.looks import looks_of

    return table if open_s is None else looks_of(open_s, table)


def _look_body(look: "Look") -> dict[str, object]:
    return {
        "name": look.name,
        "shortest_s": look.shortest_s,
        "longest_s": look.longest_s,
        "wanted_s": look.wanted_s,
        "tolerance_share": look.tolerance_share,
        "governed_by": look.governed_by,
    }


def _lens(args: argparse.Namespace) -> "Lens | None":
    from duskhold.light.motion import Lens

    if args.focal is None and args.pixel is None:
        return None
    for field, value in (("--focal", args.focal), ("--pixel", args.pixel)):
        if value is None:
            raise Wrong("usage", "Focal length and pixel go together.", field=field)
    return Lens(number_of("--focal", args.focal, 1.0, 3000.0, "mm"), number_of("--pixel", args.pixel, 0.5, 30.0, "µm"))


def _cloud(
    args: argparse.Namespace, table: "tuple[Look, ...]", lens: "Lens | None", open_s: float | None
) -> dict[str, object] | None:
    from duskhold.light.looks import CLOUD_STREAKS, find_look
    from duskhold.light.motion import SLOWEST_CLOUD_PX_PER_S, shift_px_per_s, streak_share, time_for_streak_s

    options = {"--shift": args.shift, "--files": args.files, "--wind": args.wind}
    asked = [name for name, each in options.items() if each is not None]
    if not asked:
        return None
    if len(asked) > 1:
        raise Wrong("usage", "A shift, two pictures and a wind exclude each other.", field="--shift")
    width_px = USUAL_FRAME_PX if args.frame_px is None else args.frame_px
    number_of("--frame-px", width_px, 16, 100_000, "px")
    if args.wind is not None:
        px_per_s = _by_wind(args, lens)
    else:
        between_s = number_of("--between", _given(args.between, "--between"), 0.1, 3600.0, "s")
        shift_px, seen_px = (_shift(args, width_px), width_px) if args.files is None else _measured(args)
        px_per_s, width_px = shift_px_per_s(shift_px, between_s), seen_px
    if px_per_s < SLOWEST_CLOUD_PX_PER_S:
        raise Wrong("bad_input", "The cloud does not move: no time draws a streak.", field=asked[0])
    share = number_of("--streak", args.streak, 0.001, 3.0, "of the width")
    wanted_s = time_for_streak_s(px_per_s, width_px, share)
    shortest_s, longest_s = find_look(CLOUD_STREAKS, table).bounds_s(wanted_s)
    return {
        "px_per_s": px_per_s,
        "frame_px": width_px,
        "streak_share": share,
        "open_s": wanted_s,
        "shortest_s": shortest_s,
        "longest_s": longest_s,
        "share_at_open": None if open_s is None else streak_share(px_per_s, width_px, open_s),
    }


def _shift(args: argparse.Namespace, width_px: int) -> float:
    """To either side; a cloud that leaves the picture is not found again."""
    return number_of("--shift", args.shift, -width_px, width_px, "px")


def _by_wind(args: argparse.Namespace, lens: "Lens | None") -> float:
    from duskhold.light.motion import cloud_px_per_s

    if lens is None:
        raise Wrong("usage", "A wind needs the lens.", field="--focal", hint="Add --focal 24 --pixel 4.4.")
    wind = number_of("--wind", args.wind, 0.0, 100.0, "m/s")
    height_m = number_of("--cloud-height", args.cloud_height, 50.0, 20_000.0, "m")
    altitude_deg = number_of("--cloud-altitude", args.cloud_altitude, 1.0, 90.0, "degrees")
    return cloud_px_per_s(lens, wind, height_m, altitude_deg)


def _measured(args: argparse.Namespace) -> tuple[float, int]:
    from duskhold.frames.cloudshift import NoShift, measure_shift

    try:
        found = measure_shift(Path(args.files[0]), Path(args.files[1]))
    except NoShift as error:
        raise Wrong("no_shift", str(error)[:1].upper() + str(error)[1:] + ".", field="--files") from error
    return found.length_px, found.width_px


def _trails(args: argparse.Namespace, lens: "Lens", open_s: float | None) -> dict[str, object]:
    from duskhold.light.motion import moon_px_per_s, moon_widths, star_loose_s, star_px_per_s, star_time_s

    declination_deg = number_of("--declination", args.declination, -89.9, 89.9, "degrees")
    stars, moon = star_px_per_s(lens, declination_deg), moon_px_per_s(lens)
    return {
        "star_px_per_s": stars,
        "star_points_s": star_time_s(lens, SHARPEST_STAR_PX, declination_deg),
        "star_loose_s": star_loose_s(lens.focal_mm),
        "moon_px_per_s": moon,
        "star_trail_px": None if open_s is None else stars * open_s,
        "moon_trail_px": None if open_s is None else moon * open_s,
        "moon_widths": None if open_s is None else moon_widths(open_s),
    }


def _waves(args: argparse.Namespace) -> list[dict[str, object]]:
    from duskhold.light.motion import wave_times_s

    period_s = number_of("--waves", args.waves, 0.5, 60.0, "s")
    return [
        {"name": name, "shortest_s": shortest_s, "longest_s": longest_s}
        for name, (shortest_s, longest_s) in wave_times_s(period_s).items()
    ]


def _people(open_s: float) -> dict[str, object]:
    from duskhold.light.motion import walker_share

    return {"walker_share": walker_share(open_s)}


def _lighthouse(args: argparse.Namespace, open_s: float | None) -> dict[str, object]:
    from duskhold.light.motion import flash_multiples_s, nearest_flash_multiple_s

    period_s = number_of("--period", args.period, 0.2, 120.0, "s")
    around_s = 60.0 if open_s is None else open_s
    return {
        "period_s": period_s,
        "nearest_s": nearest_flash_multiple_s(period_s, around_s),
        "multiples_s": list(flash_multiples_s(period_s, around_s / 2.0, around_s * 2.0)),
    }


def _given(value: float | None, field: str) -> float:
    if value is None:
        raise Wrong("usage", "It is needed with a shift.", field=field)
    return value


def _show(body: dict[str, Any], open_s: float | None) -> None:
    rows = [
        [
            look["name"],
            f"{wording.duration(look['shortest_s'])} to {wording.duration(look['longest_s'])}",
            f"±{100.0 * look['tolerance_share']:.0f} %",
            look["governed_by"],
        ]
        for look in body["looks"]
    ]
    title = "Looks (starting values)" if open_s is None else f"{wording.duration(open_s)} looks like"
    wording.print_table(title, ("", "time", "", ""), rows or [["no look of the table", "", "", ""]])
    found = [*_cloud_rows(body["cloud"]), *_sky_rows(body["sky"], open_s), *_other_rows(body)]
    if found:
        wording.print_table("Movement", ("", "", ""), found)


def _cloud_rows(cloud: dict[str, Any] | None) -> list[list[str]]:
    if cloud is None:
        return []
    bounds = f"{wording.duration(cloud['shortest_s'])} to {wording.duration(cloud['longest_s'])} will do"
    rows = [
        ["cloud", f"{cloud['px_per_s']:.2f} px/s", f"on {cloud['frame_px']} px; towards you it needs twice the time"],
        [f"streak of {100.0 * cloud['streak_share']:.0f} %", wording.duration(cloud["open_s"]), bounds],
    ]
    width = f"{cloud['px_per_s']:.3g}/{cloud['frame_px']}"
    rows.append(["what to fit", "", f"`solve --want streak:{cloud['streak_share']:g} --cloud {width}` tells"])
    if cloud["share_at_open"] is not None:
        rows.append(["this time draws", f"{100.0 * cloud['share_at_open']:.1f} %", "of the width"])
    return rows


def _sky_rows(sky: dict[str, Any] | None, open_s: float | None) -> list[list[str]]:
    if sky is None:
        return []
    loose = f"; {wording.duration(sky['star_loose_s'])} by habit"
    points = f"points up to {wording.duration(sky['star_points_s'])}{loose}"
    rows = [["stars", f"{sky['star_px_per_s']:.2f} px/s", points]]
    if open_s is not None:
        rows.append(["star trails", f"{sky['star_trail_px']:.0f} px", "in this time"])
        rows.append(["moon", f"{sky['moon_trail_px']:.0f} px", f"{sky['moon_widths']:.1f} of its widths"])
    return rows


def _other_rows(body: dict[str, Any]) -> list[list[str]]:
    rows = [
        ["waves", one["name"], f"{wording.duration(one['shortest_s'])} to {wording.duration(one['longest_s'])}"]
        for one in body["waves"] or ()
    ]
    if body["people"] is not None:
        rows.append(["a walker leaves", f"{100.0 * body['people']['walker_share']:.2f} %", "of the exposure"])
    if body["lighthouse"] is not None:
        nearest_s = body["lighthouse"]["nearest_s"]
        near = sorted(sorted(body["lighthouse"]["multiples_s"], key=lambda each: abs(each - nearest_s))[:7])
        rows.append(["whole flashes", f"{nearest_s:g} s", f"of {', '.join(f'{each:g}' for each in near)} s"])
    return rows
