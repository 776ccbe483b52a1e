"""Sun and moon of a frame's record: at its opening, its middle and its closing, as far as these are known."""

from datetime import UTC, datetime

import pytest

from duskhold.app.sky_record import sky_of
from duskhold.light.place import Place
from duskhold.light.skybodies import moon_position, sun_position

LOCH = Place(57.32, -5.61)
FRAME = {"opened_utc": "2026-10-14T17:20:00.000Z", "closed_utc": "2026-10-14T17:24:00.000Z", "open_s": 240.0}


def test_the_sun_sinks_and_goes_on_to_the_west_while_a_frame_is_open() -> None:
    sky = sky_of(FRAME, LOCH)
    assert sky is not None
    assert list(sky) == ["open", "middle", "close"]
    altitudes = [sky[moment]["sun_altitude_deg"] for moment in sky]
    azimuths = [sky[moment]["sun_azimuth_deg"] for moment in sky]
    assert altitudes == sorted(altitudes, reverse=True)
    # The sky turns by a degree in four minutes.
    assert azimuths[2] - azimuths[0] == pytest.approx(1.0 * 0.84, abs=0.05)
    middle = datetime(2026, 10, 14, 17, 22, tzinfo=UTC)
    assert sky["middle"]["sun_altitude_deg"] == pytest.approx(sun_position(LOCH, middle).altitude_deg, abs=5e-4)
    assert sky["middle"]["moon_azimuth_deg"] == pytest.approx(moon_position(LOCH, middle).azimuth_deg, abs=5e-4)


def test_what_is_not_known_is_left_out() -> None:
    assert sky_of(FRAME, None) is None
    assert sky_of({"opened_utc": None, "open_s": 0.0}, LOCH) is None
    lost = sky_of({"opened_utc": FRAME["opened_utc"], "closed_utc": None, "open_s": None}, LOCH)
    assert lost is not None and list(lost) == ["open"]
    by_length = sky_of({**FRAME, "closed_utc": None}, LOCH)
    assert by_length == sky_of(FRAME, LOCH)
