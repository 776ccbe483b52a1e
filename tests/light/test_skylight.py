"""Light of the sky against the almanac's table and three independent sources."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.polynomial import chebyshev

from duskhold.light import exposure, skylight
from duskhold.light.skybodies import MoonFace
from duskhold.light.skylight import (
    MOON_ROWS,
    SUN_ROWS,
    moon_illuminance_lx,
    moon_slope_stops_per_deg,
    sun_illuminance_lx,
    sun_slope_stops_per_deg,
)

FULL = MoonFace(phase_angle_deg=0.0, parallax_deg=0.951)

# USNO 1996: Chebyshev fit to Brown 1952, Natural Illumination Charts, BuShips Rep. 374-1, -20 to +90 degrees.
BROWN = [
    2.936506136978837, 3.627326327566490, -2.233214447344062, 1.015115465301055, -0.1898083125016442,
    -0.2620601965183225, 0.3829581829851666, -0.2879683995474197, 0.1134487130232542, 0.03092492471913735,
    -0.09853820413978147, 0.08976982948378892, -0.04151839367722814, -0.005982465090666525, 0.02913731978265127,
    -0.02832367750489338, 0.01326901081959582, 0.003365892788214903, -0.01123578761200569, 0.009862218049840636,
    -0.003690281457418281, -0.001338196406378107, 0.005060420921563732, -0.003079727252974708, 0.002969002584378676,
]  # fmt: skip


def brown_lx(altitude_deg: float) -> float:
    return float(10.0 ** chebyshev.chebval((altitude_deg - 35.0) / 55.0, BROWN))


@pytest.mark.parametrize(
    ("altitude_deg", "lux", "stops_per_deg"),
    # Explanatory Supplement to the Astronomical Almanac, 3rd ed. 2013, table 12.8, evaluated
    [
        (10, 11120, 0.201),
        (5, 4538, 0.324),
        (3, 2689, 0.438),
        (1, 1268, 0.665),
        (0, 758.6, 0.822),
        (-0.8333, 453.5, 0.973),
        (-2, 189.4, 1.181),
        (-3, 79.07, 1.335),
        (-4, 29.93, 1.464),
        (-5, 10.44, 1.570),
        (-6, 3.412, 1.639),
        (-7, 1.086, 1.655),
        (-9, 0.1164, 1.532),
        (-12, 0.00806, 0.958),
    ],
)
def test_almanac_table(altitude_deg: float, lux: float, stops_per_deg: float) -> None:
    assert sun_illuminance_lx(altitude_deg) == pytest.approx(lux, rel=5e-4)
    assert sun_slope_stops_per_deg(altitude_deg) == pytest.approx(stops_per_deg, abs=6e-4)


def test_below_minus_18_the_last_value_holds() -> None:  # same table
    assert sun_illuminance_lx(-18.0) == pytest.approx(6.45e-4, rel=5e-4)
    for altitude_deg in (-18.001, -30.0, -90.0):
        assert sun_illuminance_lx(altitude_deg) == sun_illuminance_lx(-18.0)
        assert sun_slope_stops_per_deg(altitude_deg) == 0.0


@pytest.mark.parametrize("rows", [SUN_ROWS, MOON_ROWS[:2]])
def test_rows_join_within_a_small_step(rows: tuple[skylight.Row, ...]) -> None:
    for upper, lower in pairwise(rows):
        step_stops = abs(upper.dex(upper.from_deg) - lower.dex(upper.from_deg)) / math.log10(2.0)
        assert step_stops <= 0.0145


@given(st.floats(min_value=-17.9, max_value=89.9))
def test_the_slope_is_the_derivative_of_its_row(altitude_deg: float) -> None:
    row, small = SUN_ROWS[skylight.sun_row(altitude_deg)], 1e-4
    difference = row.dex(altitude_deg + small) - row.dex(altitude_deg - small)
    slope = difference / (2.0 * small) / math.log10(2.0)
    assert sun_slope_stops_per_deg(altitude_deg) == pytest.approx(slope, abs=1e-6)


@given(st.floats(min_value=-18.0, max_value=89.0), st.floats(min_value=0.1, max_value=60.0))
def test_a_higher_sun_is_brighter(altitude_deg: float, higher_by_deg: float) -> None:
    higher_deg = min(90.0, altitude_deg + higher_by_deg)
    assert sun_illuminance_lx(higher_deg) > sun_illuminance_lx(altitude_deg)


def test_ams_glossary_ranges() -> None:  # AMS Glossary of Meteorology, civil and astronomical twilight
    assert 410.0 <= sun_illuminance_lx(-0.8333) <= 585.0
    assert 2.0 <= sun_illuminance_lx(-6.0) <= 3.5
    assert sun_illuminance_lx(-12.0) == pytest.approx(0.008, rel=0.05)
    assert sun_illuminance_lx(-18.0) == pytest.approx(6e-4, rel=0.1)


def test_koomen_tenfold_per_two_degrees() -> None:  # Koomen et al. 1952, JOSA 42, 353: -3 to -11 degrees
    fall_stops = math.log2(sun_illuminance_lx(-3.0) / sun_illuminance_lx(-11.0))
    assert fall_stops / 8.0 == pytest.approx(math.log2(10.0) / 2.0, rel=0.1)


@pytest.mark.parametrize(
    ("altitude_deg", "lux"),
    [(0, 756.8), (-0.8333, 451.6), (-3, 81.04), (-6, 3.472), (-9, 0.1214), (-12, 0.00843)],
)
def test_the_second_curve_is_read_rightly(altitude_deg: float, lux: float) -> None:  # USNO 1996 fit, its values
    assert brown_lx(altitude_deg) == pytest.approx(lux, rel=5e-4)


def test_the_second_curve_agrees() -> None:  # USNO 1996 fit to Brown 1952: within 0.11 stop over -12 to +20
    for tenths in range(-120, 201):
        altitude_deg = tenths / 10.0
        off_stops = math.log2(brown_lx(altitude_deg) / sun_illuminance_lx(altitude_deg))
        assert abs(off_stops) < 0.1105, altitude_deg


def test_sunset_sky_is_not_the_land() -> None:
    # ANSI PH2.7 gives the bright sky at sunset EV100 12; the table gives level ground 7.5. Two things.
    assert exposure.ev100_from_illuminance(sun_illuminance_lx(-0.8333)) == pytest.approx(7.5, abs=0.05)


def test_moon_rows_and_phases() -> None:
    # Full moon overhead at mean distance: table 12.8 summed, 10^(-1.95 + 4.06 - 4.24 + 1.56) lx.
    assert moon_illuminance_lx(90.0, FULL) == pytest.approx(10.0**-0.57)
    # ANSI PH2.7, landscape by moonlight: full -3 to -2, quarter -6, so 3 to 4 stops between them.
    quarter = MoonFace(phase_angle_deg=90.0, parallax_deg=0.951)
    assert 3.0 <= math.log2(moon_illuminance_lx(50.0, FULL) / moon_illuminance_lx(50.0, quarter)) <= 4.0
    # L2 of the same table at 90 degrees: 8.68e-3 x 90 + 2.2e-9 x 90^4 = 0.9255 dex.
    assert math.log10(moon_illuminance_lx(50.0, FULL) / moon_illuminance_lx(50.0, quarter)) == pytest.approx(
        0.92554, abs=1e-5
    )


def test_a_near_moon_is_brighter_by_the_square() -> None:
    near = MoonFace(phase_angle_deg=0.0, parallax_deg=0.951 * 1.1)
    assert moon_illuminance_lx(30.0, near) / moon_illuminance_lx(30.0, FULL) == pytest.approx(1.21)


def test_under_its_last_row_the_moon_gives_nothing() -> None:
    assert moon_illuminance_lx(-0.8, FULL) > 0.0
    assert moon_illuminance_lx(-0.81, FULL) == 0.0
    assert moon_slope_stops_per_deg(-0.81) == 0.0
    assert moon_slope_stops_per_deg(2.0) > 0.0
