"""What a frame is held to, and what of the rig has to be known to say a shift in millimetres: plain numbers.

Limits are starting values of common practice, no source, to be set by whoever uses them.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FrameLimits:
    """Past these a frame is not good. Stops, pixels, ratios and shares as in `Measures`."""

    level_stops: float = 0.5
    clipped_share: float = 0.001
    corner_px: float = 1.0
    sharpness_ratio: float = 0.85
    contrast_ratio: float = 0.9
    leak_share: float = 0.03
    lamp_stops: float = 0.35
    spots: float = 0
    corner_stops: float = 0.5
    cast_stops: float = 0.4
    step_height: float = 0.01
    scale_change: float = 0.001
    hot_per_megapixel: float = 1000.0
    dark_share: float = 0.01


@dataclass(frozen=True, slots=True)
class Rig:
    """What is known of lens, sensor and tripod; with it a shift can be said as a leg that sank."""

    focal_length_mm: float
    pixel_um: float
    leg_spread_m: float
