"""The simulated sensor against the standards and against photon transfer."""

import numpy as np
import pytest
from numpy.typing import NDArray

from duskhold.camera.faults import PictureFault
from duskhold.camera.landscape import MID_TONE
from duskhold.camera.sensor import NEUTRAL, Gathering, Raw, Sensor, expose
from duskhold.camera.spoiling import spoil
from duskhold.camera.stage import Stage

SENSOR = Sensor()
COLD = Sensor(hot_share=0.0)
SHAPE = (256, 384)
READ_AND_STEP_E2 = SENSOR.read_noise_e**2 + (1 / SENSOR.numbers_per_electron(100)) ** 2 / 12


def _flat(exposure: float, sensor: Sensor = COLD, seed: int = 0, **given: float) -> Raw:
    return expose(sensor, _grey(), _gathering(exposure, **given), (seed, 1))


def _grey() -> NDArray[np.float32]:
    return np.full((*SHAPE, 3), MID_TONE, np.float32)


def _gathering(
    exposure: float, open_s: float = 1.0, iso: float = 100.0, temperature_c: float = -60.0, dark: float = 0.0
) -> Gathering:
    return Gathering((exposure,) * 3, open_s, iso, temperature_c, dark_frame=bool(dark))


def _green_e(raw: Raw, iso: float = 100.0) -> NDArray[np.float64]:
    return (raw[0::2, 1::2].astype(np.float64) - SENSOR.black_level) / SENSOR.numbers_per_electron(iso)


def test_a_metered_mid_tone_sits_3_263_stops_under_saturation() -> None:
    # ISO 2720 (K = 12.5) with ISO 12232 (H_sat = 78/S, q = 0.65).
    share = (_flat(1.0)[0::2, 1::2].mean() - SENSOR.black_level) / (SENSOR.white_level - SENSOR.black_level)
    assert np.log2(share) == pytest.approx(-3.263, abs=0.003)


@pytest.mark.parametrize("iso", [100.0, 400.0])
def test_levels_double_with_light_and_iso(iso: float) -> None:
    levels = [_green_e(_flat(exposure, iso=iso), 100.0).mean() for exposure in (0.25, 0.5, 1.0)]
    assert levels[1] / levels[0] == pytest.approx(2.0, rel=0.005)
    assert levels[2] / levels[1] == pytest.approx(2.0, rel=0.005)
    doubled = _green_e(_flat(0.25, iso=2 * iso), 100.0).mean()
    assert doubled / levels[0] == pytest.approx(2.0, rel=0.005)


def test_levels_double_with_time_and_with_each_stop_of_aperture() -> None:
    stage = Stage(reference_s=1.0)
    one = stage.exposure_rgb(0.0, 1.0, 8.0)
    assert stage.exposure_rgb(0.0, 2.0, 8.0) == pytest.approx([2 * each for each in one])
    assert stage.exposure_rgb(0.0, 1.0, 8.0 / 2**0.5) == pytest.approx([2 * each for each in one])


def test_each_channel_has_its_sensitivity_and_its_filter() -> None:
    raw = expose(COLD, _grey(), Gathering((0.5, 1.0, 0.25), 1.0, 100.0, -60.0), (0, 1))
    green = raw[0::2, 1::2].mean() - SENSOR.black_level
    assert (raw[0::2, 0::2].mean() - SENSOR.black_level) / green == pytest.approx(0.5 * NEUTRAL[0], rel=0.005)
    assert (raw[1::2, 1::2].mean() - SENSOR.black_level) / green == pytest.approx(0.25 * NEUTRAL[2], rel=0.01)
    assert raw[1::2, 0::2].mean() == pytest.approx(raw[0::2, 1::2].mean(), rel=0.003)


@pytest.mark.parametrize("exposure", [0.002, 0.02, 0.1, 0.5, 2.0])
def test_photon_transfer(exposure: float) -> None:
    # Variance = mean + read noise^2 in electrons (Poisson statistics); 24,576 pixels give it to about 1 %.
    electrons = _green_e(_flat(exposure))
    assert electrons.mean() == pytest.approx(exposure * SENSOR.mid_tone_e(), rel=0.01)
    assert electrons.var() == pytest.approx(electrons.mean() + READ_AND_STEP_E2, rel=0.05)


def test_dark_signal_doubles_every_6_5_degrees() -> None:
    # A published test of one camera, 0 to 40 degrees C, 300 s.
    means = [_green_e(_flat(0.0, open_s=300.0, temperature_c=celsius)).mean() for celsius in (13.5, 20.0, 26.5)]
    assert means[1] == pytest.approx(300.0 * SENSOR.dark_e_per_s, rel=0.01)
    assert means[1] / means[0] == pytest.approx(2.0, rel=0.02)
    assert means[2] / means[1] == pytest.approx(2.0, rel=0.02)


def test_noise_with_dark_signal_and_with_one_dark_frame() -> None:
    # Noise^2 = S + D t + R^2; one dark frame subtracted: S + 2 D t + 2 R^2.
    dark_e = 600.0 * SENSOR.dark_e_per_s
    signal_e = 0.2 * SENSOR.mid_tone_e()
    plain = _green_e(_flat(0.2, open_s=600.0, temperature_c=20.0))
    taken_off = _green_e(_flat(0.2, open_s=600.0, temperature_c=20.0, dark=1))
    assert plain.mean() == pytest.approx(signal_e + dark_e, rel=0.005)
    assert plain.var() == pytest.approx(signal_e + dark_e + READ_AND_STEP_E2, rel=0.05)
    assert taken_off.mean() == pytest.approx(signal_e, rel=0.005)
    assert taken_off.var() == pytest.approx(signal_e + 2 * dark_e + 2 * READ_AND_STEP_E2, rel=0.05)


def test_in_black_one_subtraction_costs_the_root_of_two() -> None:
    plain = _green_e(_flat(0.0, open_s=600.0, temperature_c=20.0)).std()
    taken_off = _green_e(_flat(0.0, open_s=600.0, temperature_c=20.0, dark=1)).std()
    assert taken_off / plain == pytest.approx(2**0.5, rel=0.03)


def test_a_master_of_darks_costs_little() -> None:
    # A master of n darks: S + (1 + 1/n)(D t + R^2); one dark at 1,000 electrons and 0.1 to 0.5 e/s up to 480 s costs
    # 1.01 to 1.10 times the noise.
    darks = [_green_e(_flat(0.0, seed=seed, open_s=600.0, temperature_c=20.0)) for seed in range(1, 5)]
    cleaned = _green_e(_flat(0.2, open_s=600.0, temperature_c=20.0)) - np.mean(darks, axis=0)
    signal_e, dark_e = 0.2 * SENSOR.mid_tone_e(), 600.0 * SENSOR.dark_e_per_s
    assert cleaned.var() == pytest.approx(signal_e + 1.25 * (dark_e + READ_AND_STEP_E2), rel=0.05)
    exposure = 1000.0 / SENSOR.mid_tone_e()
    for rate, open_s, cost in ((0.1, 240.0, 1.02), (0.5, 480.0, 1.096)):
        slow = Sensor(hot_share=0.0, dark_e_per_s=rate)
        plain, taken_off = (
            _green_e(_flat(exposure, slow, open_s=open_s, temperature_c=20.0, dark=dark)).std() for dark in (0, 1)
        )
        assert taken_off / plain == pytest.approx(cost, abs=0.02)


def test_hot_pixels_stay_where_they_are_and_grow_with_time() -> None:
    def hot(open_s: float, noise: int) -> set[int]:
        raw = expose(SENSOR, _grey(), _gathering(0.0, open_s=open_s, temperature_c=20.0), (noise, 1))
        return set(np.flatnonzero(raw > np.median(raw) + 150).tolist())

    first, second = hot(600.0, 1), hot(600.0, 2)
    assert len(first) > 5
    assert len(first & second) >= 0.9 * len(first)
    assert len(hot(20.0, 1)) < len(first)
    other = Sensor(pixel_seed=9)
    assert not np.array_equal(
        expose(other, _grey(), _gathering(0.0, open_s=600.0, temperature_c=20.0), (1, 1)),
        expose(SENSOR, _grey(), _gathering(0.0, open_s=600.0, temperature_c=20.0), (1, 1)),
    )


def test_too_much_light_saturates_at_the_white_level() -> None:
    assert (_flat(20.0)[0::2, 1::2] == SENSOR.white_level).all()
    assert (_flat(3.0, iso=800.0) == SENSOR.white_level).all()


def test_the_same_seed_gives_the_same_frame() -> None:
    assert np.array_equal(_flat(0.3, seed=7), _flat(0.3, seed=7))
    assert not np.array_equal(_flat(0.3, seed=7), _flat(0.3, seed=8))


def _scene() -> NDArray[np.float32]:
    rows, columns = np.mgrid[0:128, 0:192].astype(np.float32)
    grey = (0.18 + 0.1 * np.sin(columns / 2) * np.cos(rows / 3)).astype(np.float32)
    return np.repeat(grey[..., None], 3, axis=2)


def test_picture_faults_do_what_their_names_say() -> None:
    scene = _scene()
    assert np.array_equal(spoil(scene, PictureFault(), 1), scene)
    moved = spoil(scene, PictureFault(shift_x=8 / 192), 1)
    assert np.allclose(moved[:, 20:180], scene[:, 12:172], atol=1e-5)
    assert spoil(scene, PictureFault(blur=0.02), 1).std() < 0.2 * scene.std()
    assert spoil(scene, PictureFault(dew=0.8), 1).std() < 0.8 * scene.std()
    leak = spoil(scene, PictureFault(leak=0.5), 1) - scene
    assert leak[-1, 86].max() > 0.08 and leak[0, 86].max() < 0.01
    glow = spoil(scene, PictureFault(hot_corner=0.5), 1) - scene
    assert glow[-1, -1].max() > 0.08 and glow[0, 0].max() < 0.001
    cast = spoil(scene, PictureFault(cast_stops_rgb=(0.5, 0.0, -0.5)), 1)
    assert np.log2(cast[..., 0].mean() / cast[..., 2].mean()) == pytest.approx(1.0, abs=0.001)
    drops = np.abs(spoil(scene, PictureFault(drops=4), 1) - scene).max(axis=2) > 0.005
    assert 0.001 < drops.mean() < 0.2
