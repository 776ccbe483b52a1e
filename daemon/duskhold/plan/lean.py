"""On which side to err while the light changes."""

from dataclasses import dataclass
from typing import Final

STEADY_STOPS_PER_MIN: Final = 0.01
"""Light that changes less than this is neither dusk nor dawn."""


@dataclass(frozen=True, slots=True)
class Lean:
    """On which side to err, in stops: fading light asks for more, brightening light for less (0: neither).

    Dusk errors cost noise and can be repaired; clipped highlights of a dawn cannot.
    """

    dusk_longer_stops: float = 0.0
    dawn_shorter_stops: float = 0.0

    def __post_init__(self) -> None:
        assert self.dusk_longer_stops >= 0.0 and self.dawn_shorter_stops >= 0.0, "which way to lean is not negotiable"

    def stops(self, rate_stops_per_min: float) -> float:
        """What to add to a frame while the light changes like this."""
        if abs(rate_stops_per_min) < STEADY_STOPS_PER_MIN:
            return 0.0
        return self.dusk_longer_stops if rate_stops_per_min < 0.0 else -self.dawn_shorter_stops


UPRIGHT: Final = Lean()
