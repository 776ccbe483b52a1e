"""Dark signal against warmth: factors of a published test of one camera (doubles every 6.5 degrees C)."""

import pytest

from duskhold.light.darksignal import warmth_factor


@pytest.mark.parametrize(("warmer_c", "times"), [(2.0, 1.24), (3.0, 1.38), (5.0, 1.70), (6.5, 2.0), (-6.5, 0.5)])
def test_warmth(warmer_c: float, times: float) -> None:
    assert warmth_factor(warmer_c) == pytest.approx(times, abs=0.006)  # 2^(dT / 6.5), worked by hand


def test_a_cooled_sensor() -> None:
    assert warmth_factor(12.6, 6.3) == pytest.approx(4.0)  # a published test of a cooled sensor: every 6.3 degrees
