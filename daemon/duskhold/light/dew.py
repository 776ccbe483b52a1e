"""When glass grows wet: the dew point of the air around it.

Magnus' formula over water with the constants of the Guide to Instruments and Methods of Observation (WMO-No. 8,
annex on formulae for the computation of humidity measures), without its factor for pressure, which is below 0.5 %.
"""

import math
from typing import Final

_PER_C: Final = 17.62
_AT_C: Final = 243.12
MARGIN_C: Final = 3.0
"""Glass under a clear sky falls 2 to 4 degrees below the air: with less than this left, dew is to be expected. Common
practice, no source."""


def dew_point_c(air_c: float, humidity_percent: float) -> float:
    """The dew point in degrees C of air of this temperature and relative humidity (above 0, to 100)."""
    assert 0.0 < humidity_percent <= 100.0 and air_c > -_AT_C
    share = math.log(humidity_percent / 100.0) + _PER_C * air_c / (_AT_C + air_c)
    return _AT_C * share / (_PER_C - share)
