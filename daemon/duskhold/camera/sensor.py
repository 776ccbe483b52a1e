"""The simulated sensor: light to electrons to numbers, with the noise of each step.

A mid-tone metered with K = 12.5 lies 3.263 stops under saturation (ISO 2720 and ISO 12232). Photons arrive after
Poisson; the dark signal doubles every 6.5 degrees C (a published test of one camera, 0 to 40 degrees C, 300 s); a dark
frame taken by the body costs its own dark and read noise. Quantities without a source (saturation, read
noise, dark signal at 20 degrees C, share of hot pixels) are those of a sensor of our own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from duskhold.camera.landscape import MID_TONE
from duskhold.camera.stage import Channels
from duskhold.light.darksignal import DOUBLING_C, warmth_factor
from duskhold.light.exposure import headroom_stops

Radiance = NDArray[np.float32]
Raw = NDArray[np.uint16]

NEUTRAL: Channels = (0.52, 1.0, 0.68)
"""What a grey gives in red, green and blue."""
MOSAIC = ((0, 1), (1, 2))
"""Which channel lies where in each square of four pixels."""
_POISSON_BELOW_E = 1000.0
_DARK_REFERENCE_C = 20.0


@dataclass(frozen=True, slots=True)
class Sensor:
    """Electrons and numbers at ISO 100; `hot_share` of the pixels leak up to a thousand times as much.

    The wells are deeper than the converter's range, so that the white level is where it saturates.
    """

    saturation_e: float = 60000.0
    black_level: int = 512
    white_level: int = 16383
    read_noise_e: float = 3.0
    dark_e_per_s: float = 0.15
    dark_doubling_c: float = DOUBLING_C
    hot_share: float = 1.5e-4
    pixel_seed: int = 0

    def numbers_per_electron(self, iso: float) -> float:
        return (self.white_level - self.black_level) / self.saturation_e * iso / 100

    def mid_tone_e(self) -> float:
        """Electrons of a metered mid-tone in green at ISO 100."""
        return float(self.saturation_e * 2.0 ** -headroom_stops())

    def dark_rate(self, temperature_c: float) -> float:
        """Dark signal of an ordinary pixel in electrons per second."""
        return float(self.dark_e_per_s * warmth_factor(temperature_c - _DARK_REFERENCE_C, self.dark_doubling_c))


@dataclass(frozen=True, slots=True)
class Gathering:
    """One exposure of the sensor: `exposure_rgb` 1.0 puts a mid-tone in its place at ISO 100."""

    exposure_rgb: Channels
    open_s: float
    iso: float
    temperature_c: float
    dark_frame: bool = False


def expose(sensor: Sensor, radiance: Radiance, gathering: Gathering, seed: tuple[int, int]) -> Raw:
    """The mosaic of raw numbers for a radiance of (height, width, 3); the same seed gives the same noise."""
    rng = np.random.Generator(np.random.SFC64(list(seed)))
    dark_e = _dark(sensor, radiance.shape[:2], gathering)
    electrons = _arrive(rng, _light(sensor, radiance, gathering.exposure_rgb) + dark_e)
    numbers = _read(sensor, rng, electrons, gathering.iso)
    if gathering.dark_frame:
        numbers = numbers - _read(sensor, rng, _arrive(rng, dark_e), gathering.iso) + sensor.black_level
    return np.clip(np.rint(numbers), 0, sensor.white_level).astype(np.uint16)


def _light(sensor: Sensor, radiance: Radiance, exposure_rgb: Channels) -> Radiance:
    found = np.empty(radiance.shape[:2], np.float32)
    for row, channels in enumerate(MOSAIC):
        for column, channel in enumerate(channels):
            scale = sensor.mid_tone_e() / MID_TONE * exposure_rgb[channel] * NEUTRAL[channel]
            found[row::2, column::2] = radiance[row::2, column::2, channel] * np.float32(scale)
    return found


def _dark(sensor: Sensor, shape: tuple[int, ...], gathering: Gathering) -> Radiance:
    hot = _hot_pixels(sensor, shape[0], shape[1])
    scale = sensor.dark_rate(gathering.temperature_c) * gathering.open_s
    return np.asarray(hot * np.float32(scale), dtype=np.float32)


@lru_cache(maxsize=4)
def _hot_pixels(sensor: Sensor, height: int, width: int) -> Radiance:
    """How many times the ordinary dark signal each pixel has."""
    rng = np.random.default_rng([sensor.pixel_seed, 30])
    times = np.ones(height * width, np.float32)
    count = round(sensor.hot_share * times.size)
    where = rng.choice(times.size, count, replace=False)
    times[where] = np.exp(rng.uniform(np.log(20), np.log(1000), count))
    return times.reshape(height, width)


def _arrive(rng: np.random.Generator, mean_e: Radiance) -> Radiance:
    """Poisson counts; a normal distribution of the same mean and variance where they are many."""
    counts = mean_e + np.sqrt(mean_e) * rng.standard_normal(mean_e.shape, dtype=np.float32)
    few = mean_e < _POISSON_BELOW_E
    counts[few] = rng.poisson(mean_e[few])
    return np.asarray(counts, dtype=np.float32)


def _read(sensor: Sensor, rng: np.random.Generator, electrons: Radiance, iso: float) -> Radiance:
    noise_e = np.float32(sensor.read_noise_e) * rng.standard_normal(electrons.shape, dtype=np.float32)
    numbers = (electrons + noise_e) * np.float32(sensor.numbers_per_electron(iso)) + np.float32(sensor.black_level)
    return np.asarray(np.clip(numbers, 0, sensor.white_level), dtype=np.float32)
