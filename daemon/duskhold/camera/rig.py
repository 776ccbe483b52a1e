"""Start-up: from an address to the concrete camera behind it. The only module that names the adapters."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from duskhold.camera.address import Way, parse_address
from duskhold.camera.port import Camera
from duskhold.camera.target_found import FOLDER


def build_camera(address: str, state: Path, simulation: Mapping[str, object]) -> Camera:
    """The camera at `address`; nothing is opened yet. `state` is a folder that it may keep things in.

    Raises `ValueError` for an address or a simulation that cannot be read.
    """
    where = parse_address(address)
    if where.way is Way.SIMULATED:
        from duskhold.camera.simulation import build_simulated, read_simulation

        return build_simulated(read_simulation(simulation))
    from duskhold.camera.gphoto import GphotoCamera

    return GphotoCamera(where, state / FOLDER)
