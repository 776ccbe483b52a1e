"""Which files a body's settings promise for one frame, and how what is on the card differs from that."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePosixPath

from duskhold.camera.port import Setting
from duskhold.camera.words import meaning

_PROMISED = {
    "raw+jpeg": ("raw", "jpeg"),
    "raw+heif": ("raw", "heif"),
    "raw": ("raw",),
    "jpeg": ("jpeg",),
    "heif": ("heif",),
}
_KINDS = {".jpg": "jpeg", ".jpeg": "jpeg", ".hif": "heif", ".heif": "heif", ".heic": "heif"}


def promised_files(quality: str | None) -> tuple[str, ...]:
    """The kinds of files of one frame: "raw", "jpeg", "heif"; none where nothing is said, or in unknown words."""
    said = None if quality is None else meaning(Setting.QUALITY, quality)
    return _PROMISED.get(said, ()) if isinstance(said, str) else ()


def missing_files(promised: Sequence[str], names: Sequence[str]) -> list[str]:
    """The kinds that were promised and are not among `names`."""
    came = {_kind(name) for name in names}
    return [kind for kind in promised if kind not in came]


def differs(promised: Sequence[str], names: Sequence[str]) -> str:
    """What is missing or too much among the files of one frame, as a sentence; "" when they are as promised."""
    if not promised:
        return ""
    missing = missing_files(promised, names)
    more = len(names) - len(promised) + len(missing)
    said = [f"the {kind} file that the settings promise never came" for kind in missing]
    if more > 0:
        said.append(f"{more} more than the {len(promised)} that the settings promise")
    return "; ".join(said)


def _kind(name: str) -> str:
    return _KINDS.get(PurePosixPath(name).suffix.lower(), "raw")
