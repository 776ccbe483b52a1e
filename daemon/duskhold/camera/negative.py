"""The files that the simulated body makes of one shot."""

from __future__ import annotations

from duskhold.camera.faults import PictureFault
from duskhold.camera.shot import BodyProfile, Shot


class Negative:
    """One shot, developed when first asked for."""

    def __init__(self, shot: Shot, profile: BodyProfile, spoil: PictureFault) -> None:
        self.shot = shot
        self.profile = profile
        self.spoil = spoil

    def dng(self) -> bytes:
        return b""

    def jpeg(self) -> bytes:
        return b""
