"""Dew points, against the psychrometric table of a handbook and the formula's other side."""

import math

import pytest

from duskhold.light.dew import dew_point_c


@pytest.mark.parametrize(
    ("air_c", "humidity_percent", "dew_c"),
    [
        # Published worked values to a tenth of a degree: 12 degrees and 80 %, 8 and 85, 5 and 90.
        (12.0, 80.0, 8.7), (8.0, 85.0, 5.6), (5.0, 90.0, 3.5),
        # Common tables of humid air, from memory: 20 degrees and 50 %, 30 and 70.
        (20.0, 50.0, 9.3), (30.0, 70.0, 23.9),
    ],
)  # fmt: skip
def test_as_tables_have_it(air_c: float, humidity_percent: float, dew_c: float) -> None:
    assert dew_point_c(air_c, humidity_percent) == pytest.approx(dew_c, abs=0.06)


@pytest.mark.parametrize("air_c", [-20.0, 0.0, 8.0, 35.0])
def test_it_is_where_the_vapour_saturates(air_c: float) -> None:
    assert dew_point_c(air_c, 100.0) == pytest.approx(air_c)
    # Against another published fit of the saturation pressure (Buck 1981, over water), within its difference.
    dew_c = dew_point_c(air_c, 70.0)
    share = _buck_hpa(dew_c) / _buck_hpa(air_c)
    assert share == pytest.approx(0.70, abs=0.004)


def _buck_hpa(at_c: float) -> float:
    return 6.1121 * math.exp(17.502 * at_c / (240.97 + at_c))
