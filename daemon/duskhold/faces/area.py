"""What of a picture counts, as it is asked for: a rectangle in shares of its width and height, or a weight map."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from duskhold.faces.answer import Wrong
from duskhold.faces.inputs import read

if TYPE_CHECKING:
    from duskhold.frames.measure import Area

_MAPS = (".png", ".jpg", ".jpeg", ".tif", ".tiff")


def add_area_option(parser: argparse.ArgumentParser | argparse._ArgumentGroup) -> None:
    """Declare `--area`."""
    parser.add_argument(
        "--area", metavar="L,T,R,B|MAP",
        help="where light is measured: a rectangle as shares, or a grey picture of the same view, black not counting",
    )  # fmt: skip


def area_of(args: argparse.Namespace) -> "Area | Path":
    """The whole picture without the option. Raises `Wrong`."""
    from duskhold.frames.measure import WHOLE

    text: str | None = args.area
    if text is None:
        return WHOLE
    if not text.lower().endswith(_MAPS):
        return read("--area", text, area_from)
    from duskhold.frames.measure import AreaTooSmall
    from duskhold.frames.reading import ensure_map

    try:
        ensure_map(Path(text))
    except (AreaTooSmall, OSError) as error:
        said = error.strerror if isinstance(error, OSError) else str(error).rstrip(".")
        raise Wrong("bad_input", f"{text} is no map: {said}.", field="--area") from error
    return Path(text)


def area_from(text: str) -> "Area":
    """`0.2,0.1,0.8,0.5` as a rectangle. Raises `ValueError`."""
    from duskhold.frames.measure import Area

    try:
        left, top, right, bottom = (float(part) for part in text.split(","))
    except ValueError:
        raise ValueError(f"{text!r} is not LEFT,TOP,RIGHT,BOTTOM as shares of the picture") from None
    if not (0.0 <= left < right <= 1.0 and 0.0 <= top < bottom <= 1.0):
        raise ValueError(f"{text!r} is no rectangle within the picture: shares from 0 to 1, left before right")
    return Area(left, top, right, bottom)
