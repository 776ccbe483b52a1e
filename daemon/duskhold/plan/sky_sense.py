"""Whether measured light can be that of a clear sky at a place and time, or a clock or a place is wrong."""

import math
from typing import Final

from duskhold.light.reading import Reading
from duskhold.light.skylight import sun_illuminance_lx
from duskhold.light.skyshape import Shape

APART_MAX_STOPS: Final = 4.0
"""Cloud, direction of view and lamps make less than this. Common practice, no source."""
HORIZON_EV: Final = math.log2(2.0**7 / 0.1)
"""A view towards the light, the sun on the sea's horizon: 1/10 s at f/11 and ISO 100. Common practice, no source."""


LAMPS_LX: Final = 10.0
"""What street lamps give; a darker sky says nothing of a town or a lit quay. Common practice, no source."""


def apart_stops(shape: Shape, reading: Reading) -> float:
    """How much brighter a reading in EV is than a clear sky would be; `shape` is log2 of illuminance in lux.

    Where lamps may give more light than the sky, only what is brighter than both counts.
    """
    sky, lamps = shape.stops(reading.taken_utc), math.log2(LAMPS_LX)
    apart = reading.level_stops - HORIZON_EV - max(sky, lamps) + math.log2(sun_illuminance_lx(0.0))
    return apart if sky >= lamps else max(0.0, apart)
