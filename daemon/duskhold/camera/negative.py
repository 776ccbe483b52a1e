"""The files that the simulated body makes of one shot: a raw file (DNG 1.4, uncompressed) and a JPEG, with Exif.

Colour: the sensor's primaries are those of sRGB times the sensor's own sensitivities, so the DNG's matrix is the
XYZ to sRGB matrix of IEC 61966-2-1 with its rows scaled. The JPEG's tone is the sRGB curve on scene light,
mid-tone 0.18 to about 118 (the standard output level of ISO 12232), with a shoulder above half of full scale
that bends exponentially to white.
"""

from __future__ import annotations

import io
import math
import struct
from datetime import datetime
from fractions import Fraction
from functools import cached_property

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image, TiffImagePlugin

from duskhold.camera.faults import PictureFault
from duskhold.camera.landscape import MID_TONE, look
from duskhold.camera.sensor import NEUTRAL, Gathering, Raw, Sensor, expose
from duskhold.camera.shot import BodyProfile, Shot
from duskhold.camera.spoiling import spoil

_XYZ_TO_SRGB = (
    (3.2404542, -1.5371385, -0.4985314),
    (-0.9692660, 1.8760108, 0.0415560),
    (0.0556434, -0.2040259, 1.0572252),
)
_D65 = 21
_EXIF_POINTER = 34665
_PLACEHOLDER = _EXIF_POINTER - 1
_SHOULDER = 0.5
_UNSIGNED_RATIONAL, _ASCII, _SHORT, _LONG, _UNDEFINED = 5, 2, 3, 4, 7


class Negative:
    """One shot; it is exposed on the simulated sensor when the first of its files is asked for."""

    def __init__(self, shot: Shot, profile: BodyProfile, fault: PictureFault) -> None:
        self.shot = shot
        self.profile = profile
        self.fault = fault
        self.sensor = Sensor(pixel_seed=shot.seed)

    @cached_property
    def raw(self) -> Raw:
        """The mosaic of raw numbers, red first."""
        shot = self.shot
        radiance = look(self.profile.width, self.profile.height, shot.opened_s, shot.open_s)
        if shot.spoiled:
            radiance = spoil(radiance, self.fault, shot.seed)
        gathering = Gathering(shot.exposure_rgb, shot.open_s, shot.iso, shot.temperature_c, shot.dark_frame)
        return expose(self.sensor, radiance, gathering, (shot.seed, shot.number))

    def dng(self) -> bytes:
        out = io.BytesIO()
        tifffile.imwrite(
            out,
            self.raw,
            photometric="CFA",
            software=False,
            metadata=None,
            byteorder="<",
            datetime=self.shot.taken,
            rowsperstrip=self.profile.height,
            extratags=self._dng_tags(),
        )
        return _with_exif_folder(out.getvalue(), self._exif_fields())

    def jpeg(self) -> bytes:
        exif = Image.Exif()
        exif[0x010F], exif[0x0110], exif[0x0112] = "Duskhold", self.profile.model, 1
        exif[0x0132] = _exif_time(self.shot.taken)
        folder = exif.get_ifd(_EXIF_POINTER)
        folder.update({tag: value for tag, (_, value) in self._exif_fields().items()})
        out = io.BytesIO()
        Image.fromarray(self._picture()).save(out, "JPEG", quality=90, exif=exif)
        return out.getvalue()

    def _picture(self) -> NDArray[np.uint8]:
        full = cv2.cvtColor(self.raw, cv2.COLOR_BayerRGGB2RGB)
        curves = np.stack([_tone_curve(self.sensor, sensitivity) for sensitivity in NEUTRAL])
        picture = [curves[channel][full[..., channel]] for channel in range(3)]
        return np.asarray(np.stack(picture, axis=-1), dtype=np.uint8)

    def _dng_tags(self) -> list[tuple[int, str, int, object, bool]]:
        matrix = [
            _signed(row[column] * NEUTRAL[channel]) for channel, row in enumerate(_XYZ_TO_SRGB) for column in range(3)
        ]
        neutral = [(round(each * 10000), 10000) for each in NEUTRAL]
        return [
            (254, "I", 1, 0, True),
            (271, "s", 0, "Duskhold", True),
            (272, "s", 0, self.profile.model, True),
            (274, "H", 1, 1, True),
            (33421, "H", 2, (2, 2), True),
            (33422, "B", 4, bytes((0, 1, 1, 2)), True),
            (_PLACEHOLDER, "I", 1, 0, True),
            (50706, "B", 4, bytes((1, 4, 0, 0)), True),
            (50707, "B", 4, bytes((1, 1, 0, 0)), True),
            (50708, "s", 0, self.profile.model, True),
            (50714, "H", 1, self.sensor.black_level, True),
            (50717, "H", 1, self.sensor.white_level, True),
            (50721, "2i", 9, [number for pair in matrix for number in pair], True),
            (50728, "2I", 3, [number for pair in neutral for number in pair], True),
            (50735, "s", 0, self.profile.serial, True),
            (50778, "H", 1, _D65, True),
        ]

    def _exif_fields(self) -> dict[int, tuple[int, object]]:
        """Tags of the Exif folder with their types (CIPA DC-008)."""
        shot = self.shot
        taken, zone = _exif_time(shot.taken), _exif_zone(self.profile.zone_offset_min)
        return {
            0x829A: (_UNSIGNED_RATIONAL, _rational(exif_exposure_s(shot, self.profile.exif_step_s))),
            0x829D: (_UNSIGNED_RATIONAL, _rational(float(shot.aperture_mark.removeprefix("f/")))),
            0x8822: (_SHORT, 1),
            0x8827: (_SHORT, round(shot.iso)),
            0x9000: (_UNDEFINED, b"0232"),
            0x9003: (_ASCII, taken),
            0x9004: (_ASCII, taken),
            0x9011: (_ASCII, zone),
            0x9291: (_ASCII, f"{shot.taken.microsecond // 1000:03d}"),
            0xA431: (_ASCII, self.profile.serial),
        }


def warm(profile: BodyProfile) -> None:
    """Paint the scene once, about a second at the usual size, before a picture is waited for."""
    look(profile.width, profile.height, 0.0, 1.0)


def exif_exposure_s(shot: Shot, step_s: float) -> float:
    """What the body writes as ExposureTime: the dial's true time, or the held time rounded to its step."""
    if shot.dial_s is not None:
        return shot.dial_s
    return max(step_s, math.floor(shot.open_s / step_s + 0.5) * step_s)


def _tone_curve(sensor: Sensor, sensitivity: float) -> NDArray[np.uint8]:
    numbers = np.arange(sensor.white_level + 1, dtype=np.float64) - sensor.black_level
    per_mid_tone = sensor.mid_tone_e() * sensor.numbers_per_electron(100) * sensitivity
    light = np.clip(numbers, 0, None) / per_mid_tone * MID_TONE
    room = 1 - _SHOULDER
    bent = np.where(light < _SHOULDER, light, 1 - room * np.exp(-(light - _SHOULDER) / room))
    curve = np.where(bent <= 0.0031308, 12.92 * bent, 1.055 * np.maximum(bent, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(np.clip(curve, 0, 1) * 255), dtype=np.uint8)


def _with_exif_folder(content: bytes, fields: dict[int, tuple[int, object]]) -> bytes:
    """Append an Exif folder and turn the placeholder into its pointer: the writer has no way to nest folders."""
    start = len(content) + len(content) % 2
    folder = TiffImagePlugin.ImageFileDirectory_v2(prefix=b"II")
    for tag, (kind, value) in fields.items():
        folder.tagtype[tag] = kind
        folder[tag] = value
    with tifffile.TiffFile(io.BytesIO(content)) as read:
        entry = read.pages[0].aspage().tags[_PLACEHOLDER].offset
    whole = bytearray(content.ljust(start, b"\0")) + folder.tobytes(start)
    struct.pack_into("<HHII", whole, entry, _EXIF_POINTER, _LONG, 1, start)
    return bytes(whole)


def _rational(value: float) -> TiffImagePlugin.IFDRational:
    exact = Fraction(value).limit_denominator(1_000_000 if value < 1 else 10_000)
    return TiffImagePlugin.IFDRational(exact.numerator, exact.denominator)


def _signed(value: float) -> tuple[int, int]:
    return round(value * 10000), 10000


def _exif_time(taken: datetime) -> str:
    return taken.strftime("%Y:%m:%d %H:%M:%S")


def _exif_zone(offset_min: int) -> str:
    hours, minutes = divmod(abs(offset_min), 60)
    return f"{'-' if offset_min < 0 else '+'}{hours:02d}:{minutes:02d}"
