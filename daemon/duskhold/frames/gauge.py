"""The level of one picture over an evening's area, in a process of its own at the lowest priority.

    python -m duskhold.frames.gauge PICTURE [BASE]

The area is that of the base frame, without its lamps, so that every frame of an evening is measured over the same
one. One line of JSON on standard output; a picture of a large sensor fills much memory, which goes with the process.
"""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

from duskhold.frames.worker import step_back

PATIENCE_S = 50.0


class GaugeFailed(Exception):
    """The picture could not be measured."""


@dataclass(frozen=True, slots=True)
class Gauged:
    """Mean of the area in shares of a mid-tone (0 for no light above black), and its uncertainty in stops."""

    share: float
    sigma_stops: float
    at_least: bool


def gauge_apart(picture: Path, base: Path | None, patience_s: float = PATIENCE_S) -> Gauged:
    """Measured in its own process, which is ended after so long. Raises `GaugeFailed`."""
    line = [sys.executable, "-m", "duskhold.frames.gauge", str(picture), *([] if base is None else [str(base)])]
    try:
        done = subprocess.run(
            line, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=patience_s, start_new_session=True
        )
    except subprocess.TimeoutExpired:
        raise GaugeFailed(f"measuring {picture.name} took more than {patience_s:.0f} s") from None
    if done.returncode != 0 or not done.stdout:
        last = (done.stderr.strip().splitlines() or ["no word of why, perhaps for want of memory"])[-1]
        raise GaugeFailed(f"measuring {picture.name} ended with {done.returncode}: {last}")
    answer = json.loads(done.stdout)
    if "error" in answer:
        raise GaugeFailed(str(answer["error"]))
    return Gauged(**answer)


def gauge(picture_path: Path, base_path: Path | None) -> Gauged:
    """The level over the base frame's area, or over the picture's own where they are not alike.

    Raises `PictureUnread`, `MeasureError` or `OSError`.
    """
    from duskhold.frames.measure import NoLight
    from duskhold.frames.picture_file import read_picture
    from duskhold.frames.reading import area_weights, measure_area, without_lamps

    picture = read_picture(picture_path)
    weights = without_lamps(picture, area_weights(picture))
    if base_path is not None:
        base = read_picture(base_path)
        if base.small.shape == picture.small.shape:
            weights = without_lamps(base, area_weights(base))
    try:
        level = measure_area(picture, weights)
    except NoLight:
        return Gauged(0.0, 1.0, False)
    return Gauged(level.rgb[1] / picture.mid_tone, level.sigma_stops, level.at_least)


def main() -> None:
    """Answer for the pictures on the command line; what is wrong with them is an answer too."""
    step_back()
    from duskhold.frames.measure import MeasureError
    from duskhold.frames.picture_file import PictureUnread

    paths = [Path(word) for word in sys.argv[1:]]
    answer: dict[str, object]
    try:
        answer = asdict(gauge(paths[0], paths[1] if len(paths) > 1 else None))
    except (PictureUnread, MeasureError, OSError) as error:
        answer = {"error": str(error)}
    sys.stdout.write(json.dumps(answer, allow_nan=False) + "\n")


if __name__ == "__main__":
    main()
