"""`duskhold stack`: the mean of many frames as one, knocked ones left out."""

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.dark import already_there, file_named

if TYPE_CHECKING:
    from duskhold.frames.stacks import Stack


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "stack",
        help="the mean of many frames of one view, as one long frame",
        description="Averages raw frames of one set-up into a 16-bit TIFF, marked as derived. A frame whose corner "
        "went more than 1 px, or that cannot be read, is left out and listed. No frame is touched.",
    )
    parser.add_argument("frames", metavar="FRAME", nargs="+", help="raw frames; the first is what others are laid on")
    parser.add_argument("--out", metavar="FILE", help="where to; otherwise into `derived` beside the first frame")


def run(args: argparse.Namespace) -> Answer:
    """What was averaged, and what was left out."""
    from duskhold.app.copies import place_of_copy
    from duskhold.frames.picture_file import PictureUnread
    from duskhold.frames.stacks import StackUnmade, stack_frames

    paths = [file_named("FRAME", name) for name in args.frames]
    place = Path(args.out).expanduser() if args.out else place_of_copy(paths[0], f"mean-of-{len(paths)}")
    if len(paths) < 2:
        raise Wrong("usage", "One frame is its own mean; at least two are needed.", field="FRAME")
    try:
        stack = stack_frames(paths, place)
    except FileExistsError as error:
        raise already_there(place) from error
    except StackUnmade as error:
        raise Wrong(error.code, str(error), field="FRAME", exit_status=3) from error
    except PictureUnread as error:
        raise Wrong(error.code, str(error), field="FRAME", exit_status=4) from error
    return Answer(_body(stack), 0, partial(_show, stack))


def _body(stack: "Stack") -> dict[str, object]:
    return {
        "path": str(stack.path),
        "role": "derived",
        "used": list(stack.used),
        "scaled": list(stack.scaled),
        "left_out": [{"file": name, "reason": reason} for name, reason in stack.left_out],
        "noise_factor": stack.noise_factor,
    }


def _show(stack: "Stack") -> None:
    wording.say(f"The mean of {len(stack.used)} frames, noise {stack.noise_factor:.1f} times less: {stack.path}")
    for name, reason in stack.left_out:
        wording.say(f"  left out: {name}, {reason}")
