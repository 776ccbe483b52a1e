"""Copies made from frames on request: a dark subtracted. The frames stay as they are."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from duskhold.frames.darks import Conditions, DarkUnsuited, average_darks, mismatch, subtract_dark
from duskhold.frames.shooting import ExposureUnknown, shooting_of

COPIES_FOLDER = "derived"


def place_of_copy(frame: Path, word: str) -> Path:
    """Where a copy of a frame lies when nobody says where: in a folder of its own, under a name that tells."""
    return frame.parent / COPIES_FOLDER / f"{frame.stem}-{word}.tif"


def clean_copy(light: Path, darks: Sequence[Path], light_c: float | None, dark_c: float | None, place: Path) -> Path:
    """Average the darks and write a copy of the frame without their signal; lengths and ISO as the files tell.

    Raises `DarkUnsuited` for darks that do not match the frame or each other, `PictureUnread`, `OSError`.
    """
    wanted = conditions_of(light, light_c)
    found = [conditions_of(dark, dark_c) for dark in darks]
    for path, conditions in zip(darks, found, strict=True):
        reason = mismatch(conditions, wanted)
        if reason is not None:
            raise DarkUnsuited(f"{path.name} is no dark for {light.name}: {reason}.")
    return subtract_dark(light, wanted, average_darks(darks, found[0]), place)


def conditions_of(path: Path, temperature_c: float | None) -> Conditions:
    """Length and ISO as the file tells. Raises `DarkUnsuited` when it does not."""
    try:
        told = shooting_of(path)
    except ExposureUnknown as error:
        raise DarkUnsuited(f"{error}; a dark is matched by length and ISO.") from error
    return Conditions(told.open_s, told.iso, temperature_c)
