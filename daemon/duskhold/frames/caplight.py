"""Light that gets in with the cap on: a capped frame taken in the sun, tile by tile over a dark of the night.

What comes in beside the lens or through the finder grows with the open time, so the worst tile is told for the longest
frame that is planned, as a share of a mid-tone. Starting limit: 0.5 %. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from duskhold.frames.picture import MID_TONE_RAW, Mosaic

Floats = NDArray[np.float64]

SHARE_LIMIT = 0.005
_ACROSS, _DOWN = 48, 32
_LEAST_SIDE = 16
_COLOURS = ("red", "green", "blue")


@dataclass(frozen=True, slots=True)
class CapLight:
    """Raw numbers (DN) over the dark: `worst_dn` in the tested frame, `longest_dn` in the longest planned one.

    `even_dn` is what half of the tiles have at least: a sensor that was warmer than at the dark, or light everywhere.
    `place` is x and y as shares, `channel` the colour that is worst, `mid_tone_dn` over black.
    """

    worst_dn: float
    even_dn: float
    longest_dn: float
    mid_tone_dn: float
    share: float
    limit: float
    place: tuple[float, float]
    edge: str
    channel: str

    @property
    def good(self) -> bool:
        return self.share <= self.limit

    @property
    def limit_dn(self) -> float:
        """In the longest frame."""
        return self.limit * self.mid_tone_dn


def measure_cap_light(
    capped: Mosaic,
    dark: Mosaic,
    open_s: float,
    longest_s: float,
    mid_tone_dn: float | None = None,
    limit: float = SHARE_LIMIT,
) -> CapLight:
    """Compare frames of equal size, ISO and length; `mid_tone_dn` by itself is that of the file's own full scale."""
    assert capped.numbers.shape == dark.numbers.shape and capped.pattern == dark.pattern, "of one body"
    mid_tone = mid_tone_dn or MID_TONE_RAW * (capped.white - float(np.mean(capped.black)))
    over = {place: _tiles(capped, place) - _tiles(dark, place) for place in ((0, 0), (0, 1), (1, 0), (1, 1))}
    worst = max(over, key=lambda place: float(over[place].max()))
    row, column = np.unravel_index(int(over[worst].argmax()), over[worst].shape)
    rows, columns = over[worst].shape
    place = ((float(column) + 0.5) / columns, (float(row) + 0.5) / rows)
    worst_dn = float(over[worst].max())
    longest_dn = max(0.0, worst_dn) * longest_s / open_s
    return CapLight(
        worst_dn=worst_dn,
        even_dn=float(np.median(np.stack(list(over.values())))),
        longest_dn=longest_dn,
        mid_tone_dn=mid_tone,
        share=longest_dn / mid_tone,
        limit=limit,
        place=place,
        edge=_edge(place),
        channel=_COLOURS[capped.pattern[worst[0]][worst[1]]],
    )


def _tiles(mosaic: Mosaic, place: tuple[int, int]) -> Floats:
    """Level of each tile of one colour of the pattern: the median of its lines' means, which hot pixels do not move."""
    plane = mosaic.numbers[place[0] :: 2, place[1] :: 2]
    down = max(1, min(_DOWN, plane.shape[0] // _LEAST_SIDE))
    across = max(1, min(_ACROSS, plane.shape[1] // _LEAST_SIDE))
    height, width = plane.shape[0] // down, plane.shape[1] // across
    cut = plane[: down * height, : across * width].reshape(down, height, across, width)
    return np.asarray(np.median(cut.mean(axis=3, dtype=np.float64), axis=1), dtype=np.float64)


def _edge(place: tuple[float, float]) -> str:
    away: dict[str, float] = {"left": place[0], "right": 1 - place[0], "top": place[1], "bottom": 1 - place[1]}
    nearest: Callable[[str], float] = away.__getitem__
    return min(away, key=nearest)
