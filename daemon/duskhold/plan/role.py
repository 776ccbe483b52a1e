"""What a frame is to its evening, and a file to its frame."""

from enum import StrEnum


class Role(StrEnum):
    """`BASE` is short and without the strong filter, `SCOUT` short behind it, `LONG` the picture, `DARK` capped."""

    BASE = "base"
    SCOUT = "scout"
    LONG = "long"
    DARK = "dark"
