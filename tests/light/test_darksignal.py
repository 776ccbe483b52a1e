"""Dark signal: published factors, and noise against drawn numbers."""

import math

import numpy as np
import pytest

from duskhold.light.darksignal import noise_e, noise_with_darks_e, warmth_factor


@pytest.mark.parametrize(("warmer_c", "times"), [(2.0, 1.24), (3.0, 1.38), (5.0, 1.70), (6.5, 2.0), (-6.5, 0.5)])
def test_warmth(warmer_c: float, times: float) -> None:
    assert warmth_factor(warmer_c) == pytest.approx(times, abs=0.006)  # 2^(dT / 6.5), worked by hand


def test_what_a_dark_frame_costs() -> None:
    # In black sqrt 2; at 1,000 electrons and 0.1 to 0.5 e/s by 1 to 10 % up to 480 s
    assert noise_with_darks_e(0, 0.2, 240, 3, 1) / noise_e(0, 0.2, 240, 3) == pytest.approx(math.sqrt(2.0))
    costs = [noise_with_darks_e(1000, d, t, 3, 1) / noise_e(1000, d, t, 3) for d in (0.1, 0.5) for t in (120.0, 480.0)]
    assert min(costs) > 1.009 and max(costs) < 1.105
    assert noise_with_darks_e(1000, 0.5, 480, 3, 16) < noise_with_darks_e(1000, 0.5, 480, 3, 1)


def test_noise_against_drawn_numbers() -> None:
    chance = np.random.default_rng(1)
    signal, dark, read, count = 40.0, 0.3 * 100.0, 3.0, 200_000
    light = chance.poisson(signal + dark, count) + chance.normal(0, read, count)
    darks = np.mean([chance.poisson(dark, count) + chance.normal(0, read, count) for _ in range(4)], axis=0)
    assert noise_e(signal, 0.3, 100.0, read) == pytest.approx(float(light.std()), rel=0.01)
    assert noise_with_darks_e(signal, 0.3, 100.0, read, 4) == pytest.approx(float((light - darks).std()), rel=0.01)
