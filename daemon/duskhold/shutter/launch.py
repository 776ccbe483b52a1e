"""Start-up of the shutter processes: the only place that knows both the processes and the concrete cameras."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping

from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder_link import HolderLink, HolderSilent
from duskhold.shutter.phase import Phase
from duskhold.shutter.places import Places, keeper_lock, log_of

READY_MAX_S = 30.0


class NotStarted(Exception):
    """The shutter processes did not come up."""


def ensure_holder(camera: str, places: Places, simulation: Mapping[str, object], patience_s: float) -> HolderLink:
    """A link to the holder of this camera, whose keeper is started where there is none.

    `patience_s` is how long the link waits for a holder that is being replaced. Raises `NotStarted`.
    """
    places.ensure_there()
    link = HolderLink(places.socket, patience_s=0.2)
    give_up_s = mono_now_s() + READY_MAX_S
    ensure_keeper(camera, places, simulation)
    while not _answers(link):
        ensure_keeper(camera, places, simulation)  # the one that had the lock may just have ended
        if mono_now_s() > give_up_s:
            link.close()
            raise NotStarted(f"no shutter process after {READY_MAX_S:g} s; its log, {places.log}, ends: {_end(places)}")
    link.close()
    return HolderLink(places.socket, patience_s, lambda: _is_kept(places))


def ensure_keeper(camera: str, places: Places, simulation: Mapping[str, object]) -> None:
    """Start a keeper where there is none; one that is just ending is no reason to wait for it. Raises `NotStarted`."""
    if not _is_kept(places):
        _start_keeper(camera, places, simulation)


def _is_kept(places: Places) -> bool:
    lock = keeper_lock(places)
    try:
        return lock.owner() is not None
    finally:
        lock.close()


def _answers(link: HolderLink) -> bool:
    """Whether a holder answers that has not let go of the camera already."""
    try:
        return link.state()["phase"] != Phase.RELEASED.value
    except HolderSilent:
        return False


def _end(places: Places) -> str:
    """The last line of the shutter processes' log."""
    lines = places.log.read_text(encoding="utf-8", errors="replace").split("\n") if places.log.exists() else []
    return next((line.strip() for line in reversed(lines) if line.strip()), "nothing")


def find_holder(places: Places) -> HolderLink | None:
    """A link to a holder that lives already, or None; starts nothing."""
    return HolderLink(places.socket, patience_s=0.0) if places.socket.exists() else None


def _start_keeper(camera: str, places: Places, simulation: Mapping[str, object]) -> None:
    shared = ["--runtime", str(places.runtime), "--state", str(places.state)]
    holder = [sys.executable, "-m", "duskhold.shutter.holding", "--camera", camera, *shared]
    if simulation:
        holder += ["--simulation", json.dumps(simulation)]
    keeper = [sys.executable, "-m", "duskhold.shutter.keeper", *shared, "--", *holder]
    with log_of(places) as log:
        status = subprocess.run(keeper, stdin=subprocess.DEVNULL, stdout=log, stderr=log).returncode
    if status != 0:
        raise NotStarted(f"the shutter process could not be started; its log, {places.log}, ends: {_end(places)}")
