"""Pictures that this project did not make: those that come with scikit-image. And how to plant faults in them."""

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import skimage.data
from numpy.typing import NDArray

from duskhold.frames.motion import Motion

Image = NDArray[np.uint8]
Light = NDArray[np.float32]

NAMES = ("astronaut", "coffee", "chelsea", "rocket", "retina", "camera", "brick", "grass", "gravel")
_DATA: Any = skimage.data


def bundled(name: str, width: int | None = None) -> Image:
    """Red, green, blue; enlarged to `width` where that is given."""
    image = np.asarray(getattr(_DATA, name)(), dtype=np.uint8)
    if image.ndim == 2:
        image = np.repeat(image[..., None], 3, axis=2)
    if width is not None:
        image = np.asarray(
            cv2.resize(image, (width, round(image.shape[0] * width / image.shape[1])), interpolation=cv2.INTER_CUBIC),
            dtype=np.uint8,
        )
    return image


def light_of(image: Image) -> Light:
    """Linear light, after IEC 61966-2-1."""
    coded = image / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4).astype(np.float32)


def image_of(light: Light, noise: float = 1.5, seed: int = 0) -> Image:
    """Back to 8 bits, with Gaussian noise of that many of the 255 steps."""
    clipped = np.clip(light, 0, 1)
    coded = np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * clipped ** (1 / 2.4) - 0.055)
    noisy = coded * 255 + np.random.default_rng(seed).normal(0, noise, light.shape)
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)


def moved(light: Light, motion: Motion) -> Light:
    """The picture moved about its middle, by Lanczos's interpolation."""
    height, width = light.shape[:2]
    middle, matrix = np.array([width / 2 - 0.5, height / 2 - 0.5]), motion.matrix()
    warp = np.column_stack([matrix[:, :2], matrix[:, 2] + middle - matrix[:, :2] @ middle])
    found = cv2.warpAffine(light, warp, (width, height), flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(found, dtype=np.float32)


def veiled(change: Callable[[Light, Light], Light], light: Light) -> Light:
    """`change` applied with (rows, columns) as shares of height and width."""
    height, width = light.shape[:2]
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    return np.asarray(light * change(rows / height, columns / width)[..., None], dtype=np.float32)
