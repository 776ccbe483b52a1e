"""A place on the Earth, as given by a person or by the settings."""

import math
from dataclasses import dataclass


class BadPlace(ValueError):
    """The text or the numbers do not name a place on the Earth; the message says what is allowed."""


@dataclass(frozen=True, slots=True)
class Place:
    """Geodetic latitude and longitude in degrees, north and east positive, at sea level."""

    latitude_deg: float
    longitude_deg: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.latitude_deg) and abs(self.latitude_deg) <= 90.0):
            raise BadPlace(f"latitude {self.latitude_deg:g} is not between -90 and 90 degrees")
        if not (math.isfinite(self.longitude_deg) and abs(self.longitude_deg) <= 180.0):
            raise BadPlace(f"longitude {self.longitude_deg:g} is not between -180 and 180 degrees")


def parse_place(text: str) -> Place:
    """Read "LAT,LON" in decimal degrees, such as "-33.9,18.4".

    Errors: BadPlace.
    """
    parts = text.split(",")
    if len(parts) != 2:
        raise BadPlace(f"{text!r} is not LAT,LON in decimal degrees")
    try:
        latitude_deg, longitude_deg = (float(part) for part in parts)
    except ValueError:
        raise BadPlace(f"{text!r} is not LAT,LON in decimal degrees") from None
    return Place(latitude_deg, longitude_deg)
