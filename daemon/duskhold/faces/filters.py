"""`duskhold filters`: the bag as it was measured; `measure` a filter from three frames; `check` one against a pair."""

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.area import area_from
from duskhold.faces.inputs import folders_of, read, settings_of
from duskhold.faces.vigil import add_person_options

if TYPE_CHECKING:
    from duskhold.app.settings import Settings
    from duskhold.frames.measure import Area
    from duskhold.plan.bag import BagFilter


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "filters",
        help="the filter bag: what each takes, measuring and checking one",
        description="Without a word: the bag. `measure`: stops per channel from three raw files, bare - filtered - "
        "bare, of an even wall or sky, kept with copies of the frames; with --camera they are taken. "
        "`check`: a base frame and one through the filter against what is stored.",
    )
    parser.add_argument("act", nargs="?", choices=("measure", "check"), help="what to do; the bag is listed without it")
    parser.add_argument("which", nargs="?", metavar="NAME", help="the filter's name in the settings")
    parser.add_argument("--camera", metavar="ADDRESS", help="measure: take the three frames with this camera")
    parser.add_argument("--base", metavar="TIME", help="measure: set the dial to this first")
    add_person_options(parser)
    parser.add_argument("--name", metavar="NAME", help="the same as NAME")
    parser.add_argument("--files", metavar="FILE", nargs="+", help="measure: BARE FILTERED BARE; check: BASE FILTERED")
    parser.add_argument("--times", metavar="T,T,T", help="true times where the files do not know them: 1/60,16,1/60")
    parser.add_argument("--area", metavar="L,T,R,B", help="rectangle as shares of width and height (the middle fifth)")
    parser.add_argument("--drift", metavar="STOPS", type=float, default=0.0, help="check: what the light did between")


def run(args: argparse.Namespace) -> Answer:
    """List, measure or check."""
    from duskhold.app.bag import MeasurementUnread

    settings = settings_of(args)
    try:
        if args.act == "measure":
            return _measure(args, settings)
        if args.act == "check":
            return _check(args, settings)
        return _list(args, settings)
    except MeasurementUnread as error:
        raise Wrong("bad_measurement", f"{error}.", field="--data", exit_status=3) from error


def _list(args: argparse.Namespace, settings: "Settings") -> Answer:
    from duskhold.app.bag import bag_of
    from duskhold.plan.bag import POLARISER_CAUTION

    bag = bag_of(settings, folders_of(args, settings))
    caution = POLARISER_CAUTION if any(one.polariser for one in bag) else None
    body: dict[str, object] = {"filters": [_filter_body(one) for one in bag], "caution": caution}
    return Answer(body, 0, partial(_show_bag, bag, caution))


def _filter_body(one: "BagFilter") -> dict[str, object]:
    rgb = one.glass.stops_rgb
    return {
        "name": one.name,
        "stops": one.glass.stops,
        "stops_rgb": None if rgb is None else {"red": rgb[0], "green": rgb[1], "blue": rgb[2]},
        "sigma_stops": one.sigma_stops,
        "measured_on": None if one.measured_on is None else one.measured_on.isoformat(),
        "infrared": one.infrared,
        "polariser": one.polariser,
        "reason": None if rgb is not None else "not measured: the label's stops",
    }


def _show_bag(bag: "tuple[BagFilter, ...]", caution: str | None) -> None:
    if not bag:
        wording.say(
            "There is no filter in the bag: `duskhold set-up --filters strong=x1000,light=3 --apply` writes settings "
            "with them; into a settings file of your own you put them under `filters:`, as in config/example.yaml."
        )
        return
    rows = []
    for one in bag:
        rgb = "" if one.glass.stops_rgb is None else " / ".join(f"{each:.2f}" for each in one.glass.stops_rgb)
        is_measured = one.measured_on is not None or rgb
        told = f"measured {one.measured_on or ''}".strip() if is_measured else "label only"
        notes = "; ".join(note for note in (told, one.infrared, one.polariser) if note)
        rows.append([one.name, f"{one.glass.stops:.2f}", f"±{one.sigma_stops:.2f}", rgb, notes])
    wording.print_table("The filter bag", ("name", "stops", "", "red / green / blue", ""), rows)
    if caution:
        wording.print_line(caution)


def _measure(args: argparse.Namespace, settings: "Settings") -> Answer:
    from duskhold.app.bag import bag_of, calibration_body
    from duskhold.app.calibrating import MIDDLE, calibrate, from_files
    from duskhold.faces.filters_walk import named_in_bag, walk_at_camera
    from duskhold.frames.store import ensure_room

    name = _name(args)
    folders, times_s = folders_of(args, settings), _times(args)
    if args.files is None and args.camera is not None:
        known = named_in_bag(name, bag_of(settings, folders))
        walked, folders = walk_at_camera(args, settings, folders, known)
        (first, filtered, last), times_s = walked.files, times_s or walked.times_s
    else:
        hint = "With --camera they are taken now, and you are told what to fit when."
        first, filtered, last = _files(args, 3, "BARE FILTERED BARE", hint)
    with _saying_what_is_wrong():
        size = sum(path.stat().st_size for path in (first, filtered, last))
        ensure_room(folders.data, size, settings.limits.disk_reserve_mb * 1_000_000)
        found, files = calibrate(folders, name, from_files((first, filtered, last)), _area(args, MIDDLE), times_s)
    in_bag = name in {one.name for one in settings.filters}
    reason = None if in_bag else "the settings have no filter of this name: add it to use the measurement"
    if folders != folders_of(args, settings):
        reason = "measured at the simulated camera: kept apart, the bag does not take it"
    body = calibration_body(found) | {
        "in_settings": in_bag,
        "reason": reason,
        "evidence": [file.record() for file in files],
    }
    return Answer(body, 0, partial(_show_measured, body))


def _show_measured(body: dict[str, Any]) -> None:
    stops, cast = body["stops"], body["cast"]
    rows = [
        ["red", f"{stops['red']:.2f} stops", f"× {cast['red']:.3f} undoes the cast"],
        ["green", f"{stops['green']:.2f} stops", "counts for the whole filter"],
        ["blue", f"{stops['blue']:.2f} stops", f"× {cast['blue']:.3f} undoes the cast"],
        ["uncertain by", f"±{body['sigma_stops']:.3f} stop", ""],
        ["light meanwhile", wording.signed(body["drift_stops"], 3) + " stop", "between the bare frames, removed"],
    ]
    wording.print_table(f"{body['name']}, measured {body['measured_utc']}", ("", "", ""), rows)
    print(f"  Kept with its frames in {body['folder']}")
    if body["reason"]:
        wording.say(f"  {body['reason'][:1].upper()}{body['reason'][1:]}.")


def _check(args: argparse.Namespace, settings: "Settings") -> Answer:
    from duskhold.app.bag import bag_of
    from duskhold.app.calibrating import MIDDLE, check_pair

    name = _name(args)
    known = {one.name: one for one in bag_of(settings, folders_of(args, settings))}
    if name not in known:
        hint = f"In the bag: {', '.join(known) or 'none yet'}."
        raise Wrong("bad_input", f"There is no filter {name!r} in the bag.", field="--name", hint=hint)
    base, scout = _files(args, 2, "BASE FILTERED")
    with _saying_what_is_wrong():
        seen = check_pair(base, scout, known[name].glass.stops, _area(args, MIDDLE), args.drift)
    asked = seen.off_stops is not None
    body: dict[str, object] = {
        "name": name,
        "seen_stops": seen.seen_stops,
        "stored_stops": seen.stored_stops,
        "off_stops": seen.seen_stops - seen.stored_stops,
        "question": f"is this the filter {name}?" if asked else None,
    }
    return Answer(body, 3 if asked else 0, partial(_show_checked, body))


def _show_checked(body: dict[str, Any]) -> None:
    wording.say(f"{body['name']}: {body['seen_stops']:.2f} stops seen, {body['stored_stops']:.2f} stored.")
    if body["question"]:
        wording.say(f"  {wording.stops(body['off_stops'])} off: {body['question']}")


def _name(args: argparse.Namespace) -> str:
    name: str | None = args.which or args.name
    if not name or name.split() != [name]:
        raise Wrong("usage", "Which filter? One word is needed.", field="--name")
    return name


def _files(args: argparse.Namespace, count: int, order: str, hint: str | None = None) -> list[Path]:
    given = args.files or []
    if len(given) != count:
        raise Wrong("usage", f"{count} raw files are needed, in the order {order}.", field="--files", hint=hint)
    return [Path(each) for each in given]


def _area(args: argparse.Namespace, usual: "Area") -> "Area":
    return usual if args.area is None else read("--area", args.area, area_from)


def _times(args: argparse.Namespace) -> tuple[float, float, float] | None:
    if args.times is None:
        return None
    from duskhold.light.dials import SHUTTER

    parts = args.times.split(",")
    if len(parts) != 3:
        raise Wrong("bad_input", f"{args.times!r} is not three times.", field="--times")
    first, middle, last = (read("--times", part, SHUTTER.true_value) for part in parts)
    return first, middle, last


@contextmanager
def _saying_what_is_wrong() -> Iterator[None]:
    from duskhold.frames.measure import MeasureError
    from duskhold.frames.shooting import ExposureUnknown
    from duskhold.frames.store import StoreError
    from duskhold.light.density import NotMeasurable

    try:
        yield
    except FileNotFoundError as error:
        raise Wrong("bad_input", f"{error.filename} is not there.", field="--files") from error
    except ExposureUnknown as error:  # it begins with the file's name
        raise Wrong("not_measurable", f"{error}.", field="--files") from error
    except (NotMeasurable, MeasureError) as error:
        said = str(error).rstrip(".")
        raise Wrong("not_measurable", f"{said[:1].upper()}{said[1:]}.", field="--files") from error
    except StoreError as error:
        raise Wrong(error.code, str(error), field="--data", exit_status=3) from error
