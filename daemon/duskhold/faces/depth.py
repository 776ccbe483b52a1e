"""`duskhold depth`: what is sharp from near to far, diffraction, and the apertures for a print."""

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import number_of, read

if TYPE_CHECKING:
    from duskhold.light.depth import ApertureRange

USUAL_BLUR_MM = 0.015
"""Half of the usual circle, for large prints: common practice, no source."""


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "depth",
        help="what is sharp: hyperfocal distance, near and far limits, diffraction",
        description="Limits of sharpness for a lens; with --near, the apertures that keep everything from there to "
        "infinity sharp, for a circle of confusion or a print.",
    )
    parser.add_argument("--focal", metavar="MM", type=float, required=True)
    parser.add_argument("--aperture", metavar="N", default="f/11", help="as on the dial (f/11)")
    parser.add_argument("--focus", metavar="M", type=float, help="focused at; the hyperfocal distance without it")
    parser.add_argument("--near", metavar="M", type=float, help="nearest point that must be sharp with infinity")
    parser.add_argument("--blur", metavar="MM", type=float, help=f"circle on the sensor ({USUAL_BLUR_MM} mm)")
    parser.add_argument("--print-width", metavar="MM", type=float, help="a print of this width instead of --blur")
    parser.add_argument("--sensor-width", metavar="MM", type=float, default=36.0, help="(36)")
    parser.add_argument("--viewed", metavar="M", type=float, default=0.25, help="distance to the print (0.25)")
    parser.add_argument("--picture", metavar="FILE", help="draw near and far limits over the apertures")


def run(args: argparse.Namespace) -> Answer:
    """Work it out."""
    from duskhold.light.depth import airy_diameter_um, apertures_for, hyperfocal_m, sharp_between
    from duskhold.light.dials import APERTURE

    focal_mm = number_of("--focal", args.focal, 1.0, 3000.0, "mm")
    f_number = read("--aperture", args.aperture, APERTURE.true_value)
    number_of("--aperture", f_number, 0.5, 512.0, "as f-number")
    blur_mm = _blur(args)
    hyperfocal = hyperfocal_m(focal_mm, f_number, blur_mm)
    focus_m = hyperfocal if args.focus is None else number_of("--focus", args.focus, focal_mm / 999.0, 1e6, "m")
    limits = sharp_between(focal_mm, f_number, blur_mm, focus_m)
    near_m = None if args.near is None else number_of("--near", args.near, focal_mm / 999.0, 1e5, "m")
    apertures = None if near_m is None else apertures_for(focal_mm, near_m, blur_mm)
    body: dict[str, Any] = {
        "blur_mm": blur_mm,
        "hyperfocal_m": limits.hyperfocal_m,
        "focus_m": limits.focus_m,
        "near_m": limits.near_m,
        "far_m": limits.far_m,
        "reason": "sharp to infinity" if limits.far_m is None else None,
        "airy_um": airy_diameter_um(f_number),
        "apertures": None if apertures is None else _range_body(apertures),
    }
    if args.picture is not None:
        _draw(args.picture, focal_mm, blur_mm, near_m)
    return Answer(body, 0, partial(_show, body, args))


def _blur(args: argparse.Namespace) -> float:
    from duskhold.light.depth import print_blur_mm

    if args.print_width is None:
        blur_mm = USUAL_BLUR_MM if args.blur is None else args.blur
        return number_of("--blur", blur_mm, 0.0005, 1.0, "mm")
    if args.blur is not None:
        raise Wrong("usage", "A circle and a print exclude each other.", field="--blur")
    sensor_mm = number_of("--sensor-width", args.sensor_width, 2.0, 200.0, "mm")
    width_mm = number_of("--print-width", args.print_width, 10.0, 20_000.0, "mm")
    return print_blur_mm(sensor_mm, width_mm, number_of("--viewed", args.viewed, 0.05, 100.0, "m"))


def _range_body(found: "ApertureRange") -> dict[str, object]:
    from duskhold.light.depth import marked_within
    from duskhold.light.dials import APERTURE

    marks = marked_within([mark.true_value for mark in APERTURE.thirds], found)
    reason = None if found.widest is not None else (
        f"depth asks f/{found.depth_asks_f_number:.1f}, diffraction allows f/{found.diffraction_allows_f_number:.1f}: "
        "stack focus from base frames, or print smaller"
    )  # fmt: skip
    return {
        "widest": found.widest,
        "narrowest": found.narrowest,
        "marks": [APERTURE.nearest(mark).name for mark in marks],
        "reason": reason,
    }


def _show(body: dict[str, Any], args: argparse.Namespace) -> None:
    far = "infinity" if body["far_m"] is None else f"{body['far_m']:.2f} m"
    rows = [
        ["hyperfocal", f"{body['hyperfocal_m']:.2f} m", f"circle {1000.0 * body['blur_mm']:.1f} µm"],
        ["focused at", f"{body['focus_m']:.2f} m", ""],
        ["sharp from", f"{body['near_m']:.2f} m", f"to {far}"],
        ["diffraction", f"{body['airy_um']:.1f} µm", "diameter of the Airy disc"],
    ]
    apertures = body["apertures"]
    if apertures is not None:
        marks = apertures["marks"]
        within = f"{marks[0]} to {marks[-1]}" if marks else "none"
        rows.append([f"{args.near:g} m to infinity", within, apertures["reason"] or ""])
    wording.print_table(f"{args.focal:g} mm at {args.aperture}", ("", "", ""), rows)


def _draw(target: str, focal_mm: float, blur_mm: float, near_m: float | None) -> None:
    if Path(target).suffix.lower() not in (".png", ".svg", ".pdf"):
        raise Wrong("bad_input", "A picture is one of .png, .svg, .pdf.", field="--picture")
    from matplotlib.figure import Figure

    from duskhold.light.depth import airy_diameter_um, hyperfocal_m
    from duskhold.light.dials import APERTURE, Step

    marks = [mark for mark in APERTURE.marks(Step.THIRD) if 2.8 <= mark.true_value <= 23.0]
    places = list(range(len(marks)))
    figure = Figure(figsize=(7.0, 4.2), layout="constrained")
    axes: Any = figure.subplots()
    near = [hyperfocal_m(focal_mm, mark.true_value, blur_mm) / 2.0 for mark in marks]
    axes.semilogy(places, near, color="#223344", label="sharp from here to infinity")
    if near_m is not None:
        axes.axhline(near_m, color="#e0a030", linestyle="--", label=f"wanted: {near_m:g} m")
    blurred = [place for place, mark in enumerate(marks) if airy_diameter_um(mark.true_value) > 1000.0 * blur_mm]
    if blurred:
        axes.axvspan(blurred[0] - 0.5, places[-1], color="#b03030", alpha=0.15, label="softened by diffraction")
    axes.set_xticks(places[::3], [mark.name for mark in marks[::3]])
    axes.set_yticks(*_metres(min([*near, near_m or near[0]]), max([*near, near_m or near[0]])), minor=False)
    axes.minorticks_off()
    axes.set_ylabel("m")
    axes.set_title(f"{focal_mm:g} mm, circle {1000.0 * blur_mm:.1f} µm")
    axes.legend(fontsize="small")
    figure.savefig(target, dpi=120)


def _metres(least_m: float, most_m: float) -> tuple[list[float], list[str]]:
    """Round distances over a range, with their names."""
    rounds = [digit * 10.0**power for power in range(-3, 4) for digit in (1.0, 2.0, 5.0)]
    inside = [each for each in rounds if least_m * 0.8 <= each <= most_m * 1.25]
    return inside, [f"{each:g}" for each in inside]
