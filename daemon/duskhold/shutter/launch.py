"""Start-up of the shutter processes: the only place that knows both the processes and the concrete cameras."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping

from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder_link import HolderLink, HolderSilent
from duskhold.shutter.places import Places, keeper_lock

READY_MAX_S = 30.0


class NotStarted(Exception):
    """The shutter processes did not come up."""


def ensure_holder(camera: str, places: Places, simulation: Mapping[str, object], patience_s: float) -> HolderLink:
    """A link to the holder of this camera, whose keeper is started where there is none.

    `patience_s` is how long the link waits for a holder that is being replaced. Raises `NotStarted`.
    """
    places.ensure_there()
    lock = keeper_lock(places)
    if lock.owner() is None:
        _start_keeper(camera, places, simulation)
    lock.close()
    link = HolderLink(places.socket, patience_s=0.5)
    give_up_s = mono_now_s() + READY_MAX_S
    while True:
        try:
            link.state()
        except HolderSilent as error:
            if mono_now_s() > give_up_s:
                link.close()
                raise NotStarted(f"no shutter process after {READY_MAX_S:g} s; its log is {places.log}") from error
        else:
            link.close()
            return HolderLink(places.socket, patience_s)


def find_holder(places: Places) -> HolderLink | None:
    """A link to a holder that lives already, or None; starts nothing."""
    return HolderLink(places.socket, patience_s=0.0) if places.socket.exists() else None


def _start_keeper(camera: str, places: Places, simulation: Mapping[str, object]) -> None:
    shared = ["--runtime", str(places.runtime), "--state", str(places.state)]
    holder = [sys.executable, "-m", "duskhold.shutter.holding", "--camera", camera, *shared]
    if simulation:
        holder += ["--simulation", json.dumps(simulation)]
    keeper = [sys.executable, "-m", "duskhold.shutter.keeper", *shared, "--", *holder]
    with places.log.open("ab") as log:
        subprocess.run(keeper, stdin=subprocess.DEVNULL, stdout=log, stderr=log, check=True)
