"""What warmth does to a sensor's dark signal, and what taking it off costs in noise.

It doubles every 6.5 degrees C (a published test of one camera, 0 to 40 degrees C, 300 s; a cooled sensor 6.3; rule of
thumb 6 to 8).
"""

import math
from typing import Final

DOUBLING_C: Final = 6.5


def warmth_factor(warmer_c: float, doubling_c: float = DOUBLING_C) -> float:
    """How many times the dark signal for so many degrees more."""
    return math.exp2(warmer_c / doubling_c)


def subtraction_noise_factor(darks: int, signal_e: float = 0.0, dark_e: float = 0.0, read_e: float = 1.0) -> float:
    """How many times the random noise after the mean of `darks` frames was taken off; without a signal, in black.

    Electrons a pixel: noise squared is S + D t + R^2 before, and (D t + R^2) / n more afterwards. `dark_e` is D t.
    """
    assert darks >= 1 and min(signal_e, dark_e, read_e) >= 0.0, "a dark frame has noise of its own"
    own = dark_e + read_e**2
    return math.sqrt(1.0 + own / darks / (signal_e + own))
