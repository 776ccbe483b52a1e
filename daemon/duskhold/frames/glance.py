"""A picture looked at for the report of its evening: something small to show, and how much light it holds."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Glancing:
    """A question to the measuring process; `sha256` is what the file had when it came home, None if nobody knows."""

    glance: str
    sha256: str | None = None


@dataclass(frozen=True, slots=True)
class Glanced:
    """A JPEG in base64, and the mean of green in shares of a mid-tone."""

    thumbnail: str
    green_share: float

    def thumbnail_jpeg(self) -> bytes:
        return base64.b64decode(self.thumbnail)


def glance(question: Glancing) -> Glanced:
    """Raises `PictureUnread` (`PictureChanged` for a file that is not what came home) or `OSError`."""
    import numpy as np

    from duskhold.frames.evening import thumbnail_of
    from duskhold.frames.picture_file import ensure_unchanged, read_picture_soon

    path = Path(question.glance)
    picture = read_picture_soon(path)  # first, since it says more of what is wrong
    if question.sha256 is not None:
        ensure_unchanged(path, question.sha256)
    green = float(picture.small[..., 1].mean(dtype=np.float64)) / picture.mid_tone
    return Glanced(base64.b64encode(thumbnail_of(picture)).decode(), green)
