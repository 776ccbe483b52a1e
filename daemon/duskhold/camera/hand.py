"""The hand that fits filters to the simulated camera: a small file beside its card says what is fitted now.

Whoever plays the person writes it; the camera, which lives in another process, looks before everything it does. While
there is no file, what was fitted from the start is fitted.
"""

from __future__ import annotations

from pathlib import Path

from duskhold.camera.stage import Channels
from duskhold.light.filters import Filter, parse_filters, stack


class Hand:
    """Looks at the file; `at_first` is what is fitted while there is none."""

    def __init__(self, path: Path, at_first: Channels) -> None:
        self._path, self._at_first = path, at_first
        self._seen_labels: str | None = None

    def changed(self) -> Channels | None:
        """What is fitted from now on, or None when that is what was fitted before. Raises `BadFilter`."""
        labels = read_fitted(self._path)
        if labels == self._seen_labels:
            return None
        self._seen_labels = labels
        return self._at_first if labels is None else channels_of(stack(parse_filters(labels)))


def channels_of(glass: Filter) -> Channels:
    """Stops per channel."""
    return glass.stops_rgb or (glass.stops, glass.stops, glass.stops)


def read_fitted(path: Path) -> str | None:
    """The labels in the file, or None where there is none."""
    try:
        return path.read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        return None


def write_fitted(path: Path, glass: Filter | None) -> None:
    """Fit `glass` in place of what is fitted; None goes back to what was fitted from the start. Raises `OSError`."""
    if glass is None:
        path.unlink(missing_ok=True)
        return
    fresh = path.with_suffix(".new")
    fresh.write_text("/".join(f"{stops:.6f}" for stops in channels_of(glass)), encoding="utf-8")
    fresh.replace(path)
