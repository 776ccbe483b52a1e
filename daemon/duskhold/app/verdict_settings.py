"""The settings of verdicts: past which limits a frame is not good, and the rig that turns pixels into millimetres."""

from __future__ import annotations

from pydantic import Field

from duskhold.app.document import Part
from duskhold.frames.standards import FrameLimits, Rig

_USUAL = FrameLimits()


class VerdictSettings(Part):
    """Past these a frame is not good. Starting values: common practice, no source."""

    level_stops: float = Field(default=_USUAL.level_stops, gt=0, le=5)
    clipped_share: float = Field(default=_USUAL.clipped_share, ge=0, le=1)
    corner_px: float = Field(default=_USUAL.corner_px, gt=0, le=100)
    sharpness_ratio: float = Field(default=_USUAL.sharpness_ratio, ge=0, le=1)
    contrast_ratio: float = Field(default=_USUAL.contrast_ratio, ge=0, le=1)
    leak_share: float = Field(default=_USUAL.leak_share, gt=0, le=1)
    lamp_stops: float = Field(default=_USUAL.lamp_stops, gt=0, le=5)
    spots: int = Field(default=int(_USUAL.spots), ge=0, le=1000)
    corner_stops: float = Field(default=_USUAL.corner_stops, gt=0, le=5)
    cast_stops: float = Field(default=_USUAL.cast_stops, gt=0, le=5)
    step_height: float = Field(default=_USUAL.step_height, gt=0, le=1)
    scale_change: float = Field(default=_USUAL.scale_change, gt=0, le=0.1)
    hot_per_megapixel: float = Field(default=_USUAL.hot_per_megapixel, gt=0, le=1e6)
    dark_share: float = Field(default=_USUAL.dark_share, gt=0, le=0.5)

    def limits(self) -> FrameLimits:
        """As the measuring has them."""
        return FrameLimits(**self.model_dump())


class RigSettings(Part):
    """Sensor, tripod, and the lens where it does not tell its focal length to the camera."""

    pixel_um: float = Field(ge=0.5, le=50)
    leg_spread_m: float = Field(ge=0.05, le=10)
    lens_mm: float | None = Field(default=None, ge=1, le=5000)

    def rig(self, told_mm: float | None) -> Rig | None:
        """With the focal length that the picture tells, or else that of the settings; None when neither is known."""
        focal_length_mm = told_mm or self.lens_mm
        return None if focal_length_mm is None else Rig(focal_length_mm, self.pixel_um, self.leg_spread_m)
