"""Which of a frame's files is measured: the raw one, which knows more of the light, or else the developed one."""

from collections.abc import Mapping, Sequence
from pathlib import Path

_DEVELOPED = (".jpg", ".jpeg")


def picture_among(files: Sequence[Mapping[str, object]]) -> Path | None:
    """The file to measure by; None where there is none."""
    paths = [Path(str(file["path"])) for file in files]
    return min(paths, key=lambda path: (path.suffix.lower() in _DEVELOPED, path.name), default=None)
