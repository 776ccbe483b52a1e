"""Movement in the picture: figures worked by hand, and geometry done the long way."""

import math

import pytest

from duskhold.light.looks import LOOKS, UnknownLook, find_look, looks_of
from duskhold.light.motion import (
    Lens,
    cloud_distance_m,
    cloud_px_per_s,
    flash_multiples_s,
    moon_px_per_s,
    moon_widths,
    nearest_flash_multiple_s,
    shift_px_per_s,
    star_loose_s,
    star_px_per_s,
    star_time_s,
    streak_share,
    time_for_streak_s,
    walker_share,
    wave_times_s,
)


@pytest.mark.parametrize(("focal_mm", "open_s"), [(16, 148), (24, 99), (35, 68), (70, 34)])
def test_cloud_by_wind_and_height(focal_mm: float, open_s: float) -> None:
    # Worked by hand: 10 m/s, base 1500 m, 20 degrees up (4390 m away), 15 % of 36 mm is 5.4 mm: 5.4 x 4390 / (f x 10)
    assert cloud_distance_m(1500.0, 20.0) == pytest.approx(4390, abs=5)
    lens = Lens(focal_mm, 36000.0 / 8256)
    rate = cloud_px_per_s(lens, 10.0, 1500.0, 20.0)
    assert time_for_streak_s(rate, 8256, 0.15) == pytest.approx(open_s, abs=0.6)
    assert time_for_streak_s(2.0 * rate, 8256, 0.15) == pytest.approx(open_s / 2, abs=0.6)


def test_cloud_from_two_pictures() -> None:
    rate = shift_px_per_s(-96.0, 20.0)
    assert rate == pytest.approx(4.8)
    assert time_for_streak_s(rate, 8256, 0.15) == pytest.approx(258.0)
    assert streak_share(rate, 8256, 268.1) == pytest.approx(0.156, abs=5e-4)


def test_stars_and_moon() -> None:
    lens = Lens(24.0, 4.36)
    assert star_px_per_s(lens) == pytest.approx(0.40, abs=0.005)
    assert star_time_s(lens, 3.0) == pytest.approx(3.0 / star_px_per_s(lens))
    # The long way: a star on the equator looked at squarely, through the tangent of a rectilinear lens.
    turned = 2.0 * math.pi * 10.0 / 86164.0905
    assert star_px_per_s(lens) * 10.0 == pytest.approx(24000.0 / 4.36 * math.tan(turned), rel=1e-6)
    assert star_px_per_s(lens, 60.0) == pytest.approx(star_px_per_s(lens) / 2.0)
    assert moon_widths(240.0) == pytest.approx(1.9, abs=0.05)
    assert 0.96 < moon_px_per_s(lens) / star_px_per_s(lens) < 0.97  # 24 h 50 min against 23 h 56 min


def test_times_of_waves_and_stars_by_habit() -> None:
    # 8 s from wave to wave, worked by hand: a tenth, up to half, one to two and four to ten periods
    times = wave_times_s(8.0)
    assert math.sqrt(math.prod(times["wash"])) == pytest.approx(0.8, abs=0.02)
    assert times["foam-streaks"][1] == 4.0
    assert (times["soft-water"], times["mist"]) == ((8.0, 16.0), (32.0, 80.0))
    assert set(times) <= {look.name for look in LOOKS}
    assert star_loose_s(24.0) == pytest.approx(20.8, abs=0.05)


def test_walkers_leave_a_trace() -> None:
    assert walker_share(30.0) == pytest.approx(0.012, abs=2e-4)
    assert walker_share(240.0) == pytest.approx(0.0015, abs=2e-5)
    assert walker_share(0.1) == 1.0


def test_flash_periods_are_whole() -> None:
    assert flash_multiples_s(15.0, 45.0, 120.0) == (45.0, 60.0, 75.0, 90.0, 105.0, 120.0)
    assert flash_multiples_s(20.0, 30.0, 35.0) == ()
    assert nearest_flash_multiple_s(15.0, 64.0) == 60.0
    assert nearest_flash_multiple_s(15.0, 2.0) == 15.0


def test_looks_are_found_and_their_bounds() -> None:
    streaks = find_look("Cloud-streaks")
    assert streaks.bounds_s(258.0) == pytest.approx((193.5, 322.5))
    assert streaks.wanted_s == pytest.approx(math.sqrt(30.0 * 300.0))
    assert {look.name for look in looks_of(0.5)} == {"wash", "veil"}
    with pytest.raises(UnknownLook, match="cloud-streaks"):
        find_look("sharp")
    assert all(0.0 < look.shortest_s <= look.longest_s for look in LOOKS)
    assert len({look.name for look in LOOKS}) == len(LOOKS)
