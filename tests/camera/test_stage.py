"""The light before the lens: every dose against an independent quadrature (scipy)."""

from datetime import UTC, datetime

import pytest
from scipy.integrate import quad

from duskhold.camera.stage import ConstantLight, FadingLight, Light, PassingCloud, SkyLight, Stage, TableLight
from duskhold.light.place import Place
from duskhold.light.skycurve import SkyCurve

_TABLE = TableLight(((0.0, 1.0), (60.0, 0.5), (90.0, 0.5), (200.0, 2.0)))
_DUSK = SkyCurve(Place(57.35, -5.55), datetime(2026, 3, 20, 18, 40, tzinfo=UTC))


@pytest.mark.parametrize(
    "light",
    [
        ConstantLight(0.7),
        FadingLight(-0.25),
        FadingLight(0.3, reference_s=100.0),
        FadingLight(0.0),
        _TABLE,
        SkyLight(_DUSK, _DUSK.level(0.0)),
        PassingCloud(FadingLight(-0.1), middle_s=90.0, spread_s=20.0, depth_stops=1.5),
    ],
)
@pytest.mark.parametrize(("from_s", "to_s"), [(0.0, 0.25), (10.0, 250.0), (-30.0, 95.0)])
def test_dose_is_the_integral_of_the_level(light: Light, from_s: float, to_s: float) -> None:
    joints = [0.0, 60.0, 90.0, 200.0]
    inside = [each for each in joints if from_s < each < to_s]
    expected, _ = quad(light.level, from_s, to_s, points=inside or None, limit=200)
    assert light.dose(from_s, to_s) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("rate", "plain_min", "open_min"),
    [(0.3, 0.5, 0.4757), (0.1, 4.0, 3.5305), (-0.1, 8.0, 11.6656), (-0.2, 2.0, 2.3422), (-0.3, 4.0, 8.5718)],
)
def test_fading_light_gathers_the_plain_dose_in_the_corrected_time(
    rate: float, plain_min: float, open_min: float
) -> None:
    # T = ln(1 + a T0)/a, the family of Tyson & Gal 1993 (AJ 105, 1206); values by quadrature, rounded to 1e-4 min.
    gathered_min = FadingLight(rate).dose(0.0, 60 * open_min) / 60
    assert gathered_min == pytest.approx(plain_min, rel=3e-4)


def test_table_runs_straight_in_stops() -> None:
    assert _TABLE.level(30.0) == pytest.approx(2**-0.5)
    assert _TABLE.level(-5.0) == 1.0
    assert _TABLE.level(500.0) == 2.0


def test_a_plate_dropped_in_half_way_splits_the_dose() -> None:
    stage = Stage(ConstantLight())
    stage.fit((3.0, 3.1, 3.2), 10.0)
    red, green, blue = stage.dose_rgb(8.0, 12.0)
    assert (red, green, blue) == pytest.approx((2 + 2 / 8, 2 + 2 * 2**-3.1, 2 + 2 * 2**-3.2))
    assert stage.fitted(9.0) == (0.0, 0.0, 0.0)


def test_reference_exposure_and_the_meter() -> None:
    stage = Stage(FadingLight(-1.0), reference_s=0.25)
    assert stage.plain_s(8.0, 100.0, 0.0) == pytest.approx(0.25)
    assert stage.plain_s(16.0, 200.0, 60.0) == pytest.approx(0.25 * 4 / 2 * 2)
    stage.fit((6.0, 6.0, 6.0))
    assert stage.plain_s(8.0, 100.0, 0.0) == pytest.approx(16.0)
    assert Stage(ConstantLight(), 0.5).exposure_rgb(0.0, 1.0, 8.0) == pytest.approx((2.0, 2.0, 2.0))


def test_sky_light_falls_after_sunset() -> None:
    light = SkyLight(_DUSK, _DUSK.level(0.0))
    assert light.level(0.0) == pytest.approx(1.0)
    assert light.level(1200.0) < 0.5
