"""Dark signal against warmth: factors of a published test of one camera (doubles every 6.5 degrees C)."""

import numpy as np
import pytest

from duskhold.light.darksignal import subtraction_noise_factor, warmth_factor


@pytest.mark.parametrize(("warmer_c", "times"), [(2.0, 1.24), (3.0, 1.38), (5.0, 1.70), (6.5, 2.0), (-6.5, 0.5)])
def test_warmth(warmer_c: float, times: float) -> None:
    assert warmth_factor(warmer_c) == pytest.approx(times, abs=0.006)  # 2^(dT / 6.5), worked by hand


def test_a_cooled_sensor() -> None:
    assert warmth_factor(12.6, 6.3) == pytest.approx(4.0)  # a published test of a cooled sensor: every 6.3 degrees


def test_what_taking_a_dark_off_costs() -> None:
    # Noise^2 = S + D t + R^2, one dark taken off S + 2 D t + 2 R^2, a master of n darks S + (1 + 1/n)(D t + R^2)
    assert subtraction_noise_factor(1) == pytest.approx(1.4142, abs=5e-5)
    assert subtraction_noise_factor(4) == pytest.approx(1.118, abs=5e-4)
    # At 1000 electrons of signal and 0.1 to 0.5 electrons a second it costs 1.01 to 1.10 times up to 480 s
    costs = [subtraction_noise_factor(1, 1000.0, each * s, 5.0) for each in (0.1, 0.5) for s in (30.0, 240.0, 480.0)]
    assert min(costs) == pytest.approx(1.01, abs=0.005) and max(costs) == pytest.approx(1.10, abs=0.005)


def test_the_same_by_counting() -> None:
    """Frames and darks of photon, dark and read noise, taken off one from the other."""
    chance, size = np.random.default_rng(3), 200_000
    signal_e, dark_e, read_e, darks = 40.0, 25.0, 3.0, 3

    def seen(light_e: float) -> np.ndarray:
        return chance.poisson(light_e + dark_e, size) + chance.normal(0.0, read_e, size)

    light, master = seen(signal_e), np.mean([seen(0.0) for _ in range(darks)], axis=0)
    factor = float(np.std(light - master) / np.std(light))
    assert subtraction_noise_factor(darks, signal_e, dark_e, read_e) == pytest.approx(factor, rel=0.01)
