"""The evenings worked by hand once more, from the pixels of simulated frames: levels, steps and clipping.

The hand-worked figures follow from T = log2(1 + A r ln 2) / r, A = plain time x 2^(-r d); common practice of the trade.
"""

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from duskhold.camera import negative
from duskhold.camera.faults import PictureFault
from duskhold.camera.landscape import look
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.camera.stage import FadingLight, Stage
from duskhold.frames.measure import Level, measure_level
from duskhold.frames.picture_file import read_mosaic, read_picture
from duskhold.frames.reading import area_weights, measure_area, reading_of, without_lamps
from duskhold.frames.shooting import Shooting
from duskhold.light.bracket import Bracket, best_bracket
from duskhold.light.dials import SHUTTER
from duskhold.light.forecast import Forecast
from duskhold.light.reading import Reading
from duskhold.light.trend import Trend, fuse
from duskhold.plan.decision import Change, LightReading, SteadyDrift, TrendDrift, solve
from duskhold.plan.limits import Limits

PROFILE = BodyProfile(width=192, height=128)
EPOCH = datetime(2026, 10, 14, 17, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def a_scene_that_holds_still(monkeypatch: pytest.MonkeyPatch) -> None:
    """No cloud drifts and no ripple moves: what differs between frames is light and exposure."""
    still = look(PROFILE.width, PROFILE.height, 0.0, 300.0)
    monkeypatch.setattr(negative, "look", lambda *_: still)


class Tripod:
    """A simulated camera that takes one frame after the other of a scene."""

    def __init__(self, rate: float, mid_tone_s: float, folder: Path) -> None:
        """`mid_tone_s` is right for a mid-tone at f/8 and second 0."""
        self.stage = Stage(FadingLight(rate), mid_tone_s, EPOCH)
        self.folder, self.taken = folder, 0

    def take(self, opened_s: float, open_s: float, glass_stops: float = 0.0) -> Path:
        """A raw file."""
        self.taken += 1
        red, green, blue = (
            each * 2.0**-glass_stops for each in self.stage.exposure_rgb(opened_s, opened_s + open_s, 8.0)
        )
        shot = Shot(
            number=self.taken, opened_s=opened_s, closed_s=opened_s + open_s, taken=EPOCH.replace(tzinfo=None),
            exposure_rgb=(red, green, blue), f_number=8.0, iso=100.0, aperture_mark="f/8", dial_s=open_s,
            dark_frame=False, temperature_c=5.0, seed=7, spoiled=False,
        )  # fmt: skip
        path = self.folder / f"{self.taken}.dng"
        path.write_bytes(Negative(shot, PROFILE, PictureFault()).dng())
        return path


def reading_in(path: Path, opened_s: float, open_s: float) -> Reading:
    picture = read_picture(path)
    level = measure_area(picture, without_lamps(picture, area_weights(picture)))
    return reading_of(level, picture, Shooting(open_s, 8.0, 100.0, EPOCH + timedelta(seconds=opened_s)), 0.0, "base")


def stops_over(frame: Level, other: Level) -> float:
    return frame.stops_over(other)[1]


def test_dusk_on_a_sea_loch(tmp_path: Path) -> None:
    base_s = SHUTTER.true_value("1/6")
    tripod = Tripod(-0.18, base_s, tmp_path)
    first_s, second_s, opens_s = 0.0, 360.0, 430.0
    bases = [tripod.take(at_s, base_s) for at_s in (first_s, second_s)]
    readings = [reading_in(path, at_s, base_s) for path, at_s in zip(bases, (first_s, second_s), strict=True)]
    metered_utc, opens_utc = readings[-1].taken_utc, EPOCH + timedelta(seconds=opens_s)
    trend = fuse(readings, metered_utc, opens_utc, 900.0)
    assert isinstance(trend, Trend)
    found = solve(LightReading(base_s, metered_utc), Change(10.2), TrendDrift(trend), opens_utc, Limits())
    assert found.open_s is not None
    # 283.6 s by hand; half a percent of reading is 0.03 stop of this frame
    assert math.log2(found.open_s / 283.6) == pytest.approx(0.0, abs=0.03)
    long, second = measure_level(tripod.take(opens_s, found.open_s, 10.2)), measure_level(bases[1])
    assert stops_over(long, second) == pytest.approx(0.0, abs=0.05)
    plain = measure_level(tripod.take(opens_s, found.plain_s, 10.2))
    assert stops_over(plain, second) == pytest.approx(-0.48, abs=0.03)


def test_sunrise_headland_does_not_clip(tmp_path: Path) -> None:
    """The brightest thousandth of the base frame lies 0.30 stop under full scale."""
    tripod = Tripod(0.25, 1.0, tmp_path)
    mosaic = read_mosaic(tripod.take(0.0, 0.25))
    shares = (mosaic.numbers.astype(np.float64) - mosaic.black[0]) / (mosaic.white - mosaic.black[0])
    margin_stops = -math.log2(float(np.percentile(shares, 99.9)))
    tripod = Tripod(0.25, 2.0 ** (0.30 - margin_stops), tmp_path)
    metered_utc, opens_utc = EPOCH, EPOCH + timedelta(seconds=90.0)
    found = solve(LightReading(0.25, metered_utc), Change(9.8), SteadyDrift(0.25), opens_utc, Limits())
    assert found.open_s == pytest.approx(139.5, abs=0.5)
    assert found.open_s is not None
    corrected, plain = (measure_level(tripod.take(90.0, held_s, 9.8)) for held_s in (found.open_s, found.plain_s))
    assert corrected.clipped_share < 0.001 < plain.clipped_share
    assert stops_over(plain, corrected) == pytest.approx(0.86, abs=0.05)


def test_steps_of_a_bracket_while_the_light_fails(tmp_path: Path) -> None:
    bracket = best_bracket(Forecast.steady(0.0, 0.0, -0.15), 60.0, (-1, 0, 1), 30.0, 10.0)
    assert isinstance(bracket, Bracket)
    tripod = Tripod(-0.15, 0.25, tmp_path)
    glass = math.log2(60.0 / 0.25) + 1.0
    levels = {each.step_stops: measure_level(tripod.take(each.opens_s, each.open_s, glass)) for each in bracket.members}
    assert stops_over(levels[1], levels[0]) == pytest.approx(1.0, abs=0.05)
    assert stops_over(levels[0], levels[-1]) == pytest.approx(1.0, abs=0.05)
    plainly = [measure_level(tripod.take(at_s, held_s, glass)) for at_s, held_s in ((30, 30), (72.5, 60), (154.9, 120))]
    assert stops_over(plainly[2], plainly[0]) == pytest.approx(1.58, abs=0.05)
