"""Dark signal and its noise: what warmth does, and what taking off dark frames costs.

Doubles every 6.5 degrees C (a published test of one camera, 0 to 40 degrees C, 300 s; rule of thumb 6 to 8). With S
electrons of signal, D of dark signal a second and R of read noise, noise^2 = S + D t + R^2; one dark frame taken off
S + 2 D t + 2 R^2; a master of n darks S + (1 + 1/n)(D t + R^2).
"""

import math
from typing import Final

DOUBLING_C: Final = 6.5


def warmth_factor(warmer_c: float, doubling_c: float = DOUBLING_C) -> float:
    """How many times the dark signal for so many degrees more."""
    return math.exp2(warmer_c / doubling_c)


def noise_e(signal_e: float, dark_e_per_s: float, open_s: float, read_e: float) -> float:
    """Standard deviation in electrons without dark frames."""
    return math.sqrt(signal_e + dark_e_per_s * open_s + read_e**2)


def noise_with_darks_e(signal_e: float, dark_e_per_s: float, open_s: float, read_e: float, darks: int) -> float:
    """The same with the mean of so many dark frames taken off."""
    assert darks > 0, "a dark frame is taken off"
    return math.sqrt(signal_e + (1.0 + 1.0 / darks) * (dark_e_per_s * open_s + read_e**2))
