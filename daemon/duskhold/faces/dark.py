"""`duskhold dark`: a copy of a long frame with its averaged darks taken off."""

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import number_of


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "dark",
        help="a copy of a frame with its darks taken off",
        description="Averages raw dark frames and writes a 16-bit TIFF of the frame without their signal, marked as "
        "derived. Darks of another ISO, of a length more than 5 % or a temperature more than 2 degrees off are "
        "refused. No frame is touched.",
    )
    parser.add_argument("frame", metavar="FRAME", help="the raw frame")
    parser.add_argument("darks", metavar="DARK", nargs="+", help="raw dark frames, four or more for little noise")
    parser.add_argument("--temperature", metavar="C", type=float, help="of the sensor or air at the frame, degrees C")
    parser.add_argument(
        "--dark-temperature", metavar="C", type=float, help="at the darks; that of the frame if not said"
    )
    parser.add_argument("--out", metavar="FILE", help="where to; otherwise into `derived` beside the frame")


def run(args: argparse.Namespace) -> Answer:
    """Where the copy was written."""
    from duskhold.app.copies import clean_copy, place_of_copy
    from duskhold.frames.darks import DarkUnsuited
    from duskhold.frames.picture_file import PictureUnread
    from duskhold.light.darksignal import subtraction_noise_factor

    paths = [file_named(field, name) for field, name in (("FRAME", args.frame), *(("DARK", one) for one in args.darks))]
    light_c = _temperature("--temperature", args.temperature)
    dark_c = light_c if args.dark_temperature is None else _temperature("--dark-temperature", args.dark_temperature)
    place = Path(args.out).expanduser() if args.out else place_of_copy(paths[0], "cleaned")
    try:
        copy = clean_copy(paths[0], paths[1:], light_c, dark_c, place)
    except FileExistsError as error:
        raise already_there(place) from error
    except DarkUnsuited as error:
        hint = "--temperature C says that both were taken at it." if light_c is None else ""
        raise Wrong(error.code, str(error), field="DARK", hint=hint, exit_status=3) from error
    except PictureUnread as error:
        raise Wrong(error.code, str(error), exit_status=4) from error
    factor = subtraction_noise_factor(len(paths) - 1)
    body: dict[str, object] = {
        "path": str(copy),
        "role": "derived",
        "darks": [str(path) for path in paths[1:]],
        "noise_in_black_factor": factor,
    }
    noisier = f"in black {100.0 * (factor - 1.0):.0f} % noisier, in the light hardly; more darks cost less"
    darks = "one dark" if len(paths) == 2 else f"the mean of {len(paths) - 1} darks"
    return Answer(body, 0, partial(wording.say, f"A copy with {darks} taken off ({noisier}): {copy}"))


def file_named(field: str, name: str) -> Path:
    """A file that is there. Raises `Wrong`."""
    path = Path(name).expanduser()
    if not path.is_file():
        raise Wrong("picture_missing", f"There is no file {name}.", field=field)
    return path.absolute()


def already_there(place: Path) -> Wrong:
    """Nothing is ever written over."""
    return Wrong("exists", f"{place} is there already; nothing was written.", field="--out", exit_status=3)


def _temperature(field: str, given: float | None) -> float | None:
    return None if given is None else number_of(field, given, -60, 80, "degrees C")
