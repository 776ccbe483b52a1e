"""What warmth does to a sensor's dark signal.

It doubles every 6.5 degrees C (a published test of one camera, 0 to 40 degrees C, 300 s; a cooled sensor 6.3; rule of
thumb 6 to 8).
"""

import math
from typing import Final

DOUBLING_C: Final = 6.5


def warmth_factor(warmer_c: float, doubling_c: float = DOUBLING_C) -> float:
    """How many times the dark signal for so many degrees more."""
    return math.exp2(warmer_c / doubling_c)
