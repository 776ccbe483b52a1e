"""The leak test of a calibration afternoon, with made-up sensors: numbers, limits, what is no light."""

import numpy as np
import pytest
from numpy.typing import NDArray

from duskhold.frames.caplight import measure_cap_light
from duskhold.frames.picture import Mosaic

SHAPE = (384, 576)
MID_TONE_DN = 2500.0


def night(seed: int, level_dn: float = 2.0) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    numbers = 512 + level_dn + rng.normal(0, 4, SHAPE)
    hot = rng.integers(0, SHAPE[0] * SHAPE[1], 200)
    numbers.ravel()[hot] += 6000
    return numbers


def mosaic(numbers: NDArray[np.float64]) -> Mosaic:
    return Mosaic(np.rint(numbers).astype(np.uint16), ((0, 1), (1, 2)), (512.0,) * 4, 16383.0)


def leaking(dn: float) -> NDArray[np.float64]:
    """Light low in the middle, as through a finder."""
    rows, columns = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    away = ((columns / SHAPE[1] - 0.5) / 0.5) ** 2 + ((rows / SHAPE[0] - 1) / 0.7) ** 2
    return np.asarray(dn * np.exp(-away))


def test_an_open_finder_fails_and_a_covered_one_passes() -> None:
    # Worked example: 46 DN over the night dark in 120 s are 92 DN in 240 s, 3.7 % of a mid-tone of 2500; limit 12 DN.
    opened = measure_cap_light(mosaic(night(1) + leaking(46.0)), mosaic(night(2)), 120.0, 240.0, MID_TONE_DN)
    assert opened.worst_dn == pytest.approx(46, abs=2)
    assert opened.longest_dn == pytest.approx(92, abs=4)
    assert opened.share == pytest.approx(0.037, abs=0.0015)
    assert opened.limit_dn == pytest.approx(12.5)
    assert (opened.good, opened.edge) == (False, "bottom")
    assert opened.even_dn < 0.5 * opened.worst_dn
    covered = measure_cap_light(mosaic(night(3)), mosaic(night(2)), 120.0, 240.0, MID_TONE_DN)
    assert covered.good
    assert covered.worst_dn < 3


def test_the_worst_colour_is_named_and_the_mid_tone_is_that_of_the_file() -> None:
    numbers = night(1)
    numbers[1::2, 1::2] += leaking(46.0)[1::2, 1::2]
    found = measure_cap_light(mosaic(numbers), mosaic(night(2)), 120.0, 120.0)
    assert found.channel == "blue"
    # ISO 2720 and ISO 12232: a mid-tone lies 3.263 stops under full scale.
    assert found.mid_tone_dn == pytest.approx((16383 - 512) * 2**-3.263, rel=0.005)
    assert found.longest_dn == found.worst_dn


def test_a_warmer_sensor_raises_every_tile() -> None:
    found = measure_cap_light(mosaic(night(1, 32.0)), mosaic(night(2, 2.0)), 120.0, 240.0, MID_TONE_DN)
    assert found.even_dn == pytest.approx(30, abs=1)
    assert found.even_dn > 0.8 * found.worst_dn
