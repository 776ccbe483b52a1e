"""The painted landscape: repeatable, metered as grey, and moving where water and cloud move."""

import numpy as np

from duskhold.camera.landscape import MID_TONE, Image, look

WIDTH, HEIGHT = 192, 128
_WATER = slice(75, 95)
_SKY = slice(0, 40)
_ROCKS = (slice(119, 126), slice(114, 134))


def _roughness(part: Image) -> float:
    """How much neighbouring rows differ, which smooth water does not."""
    return float(np.abs(np.diff(part[..., 1], axis=0)).mean())


def test_it_is_the_same_from_the_same_seed() -> None:
    first = look(WIDTH, HEIGHT, 0.0, 1.0)
    assert first.shape == (HEIGHT, WIDTH, 3)
    assert np.array_equal(first, look(WIDTH, HEIGHT, 0.0, 1.0))
    assert not np.array_equal(first, look(WIDTH, HEIGHT, 0.0, 1.0, seed=1))


def test_a_meter_takes_it_for_grey_whatever_the_open_time() -> None:
    for open_s in (0.1, 4.0, 240.0):
        mean = look(WIDTH, HEIGHT, 0.0, open_s)[..., 1].mean()
        assert abs(np.log2(mean / MID_TONE)) < 0.05


def test_it_fits_under_saturation() -> None:
    scene = look(WIDTH, HEIGHT, 0.0, 1.0)
    assert scene.min() >= 0.0
    assert np.quantile(scene[..., 1], 0.999) < MID_TONE * 2**3.0


def test_water_smooths_with_open_time() -> None:
    short, long = look(WIDTH, HEIGHT, 0.0, 0.1)[_WATER], look(WIDTH, HEIGHT, 0.0, 240.0)[_WATER]
    assert _roughness(long) < 0.5 * _roughness(short)


def test_cloud_drifts_and_is_drawn_out() -> None:
    now, later = look(WIDTH, HEIGHT, 0.0, 0.1)[_SKY], look(WIDTH, HEIGHT, 120.0, 0.1)[_SKY]
    assert np.abs(now - later).max() > 0.02
    steady = look(WIDTH, HEIGHT, 0.0, 240.0)[_SKY]
    assert np.abs(np.diff(steady[..., 0], axis=1)).mean() < 0.7 * np.abs(np.diff(now[..., 0], axis=1)).mean()


def test_rocks_stand_still() -> None:
    short, long = look(WIDTH, HEIGHT, 0.0, 0.1)[_ROCKS], look(WIDTH, HEIGHT, 900.0, 240.0)[_ROCKS]
    assert np.abs(short - long).max() < 1e-5
    assert short[..., 1].std() > 0.01
