"""A few seconds held through the real camera library: a simulated body served over loopback, and the real processes.

Nothing of the user's is touched: the shutter processes of this one camera meet in folders of the rehearsal's own,
and both they and the body have ended when this returns.
"""

from __future__ import annotations

import os
import secrets
import signal
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from duskhold.app.bodies import latency_of
from duskhold.app.exposing import Order, Watch, expose
from duskhold.app.folders import Folders
from duskhold.app.settings import Settings
from duskhold.app.station import Station, at_station
from duskhold.camera.serving import BodyLine, ServedBody
from duskhold.journal.entry import Outcome
from duskhold.plan.command import FrameId, ShutterCommand, authorize_hold
from duskhold.plan.limits import Limits
from duskhold.plan.role import Role
from duskhold.plan.stamp import mint_frame_id
from duskhold.shutter.clock import mono_now_s, utc_now
from duskhold.shutter.holder_link import HolderRefused, HolderSilent
from duskhold.shutter.places import Places, keeper_lock
from duskhold.shutter.report import Kind

HELD_S = 3.0
_BODY = ("--profile", "width=1152", "--profile", "height=768")
_RELEASE_WITHIN_S = 10.0
_LOOK_S = 0.05


@dataclass(frozen=True, slots=True)
class LibraryFrame:
    """What the journal has of the frame, and what the body itself noted of its shutter."""

    camera: str
    model: str
    library: str
    outcome: Outcome
    planned_s: float
    openings: int
    body_open_s: float | None


def hold_through_library(folders: Folders, folder: Path, seed: int, watch: Watch) -> LibraryFrame:
    """Hold one frame of `HELD_S`; `folder` keeps the body's card, its log and the black box.

    Frames and journal go to the data folder of `folders`. Raises `ServingFailed`, `FolderUnsafe`, `NotStarted`,
    `HolderSilent`, `JournalError` or `OSError`.
    """
    with (
        tempfile.TemporaryDirectory(prefix="duskhold-rehearsal-") as runtime,
        ServedBody(folder / "body", ["--seed", str(seed), *_BODY]) as body,
    ):
        own = Folders(folders.data, folder / "shutter", Path(runtime))
        with _releasing(own.places(body.address)), at_station(body.address, Settings(), own) as station:
            order = _order(station)
            outcome = expose(station, order, watch)
            identity = station.identity()
        openings, body_open_s = _noted(body.log())
        return LibraryFrame(
            camera=body.address,
            model="unknown" if identity is None else identity.model,
            library="unknown" if identity is None else identity.library,
            outcome=outcome,
            planned_s=order.open_s,
            openings=openings,
            body_open_s=body_open_s,
        )


def _order(station: Station) -> Order:
    identity = station.identity()
    frame_id = FrameId(mint_frame_id(utc_now(), secrets.token_hex(2)))
    command = authorize_hold(frame_id, HELD_S, Limits())
    assert isinstance(command, ShutterCommand) and identity is not None, "the usual limits allow it, and a body answers"
    latency = latency_of(station.folders, identity)
    return Order(
        frame_id=command.frame_id,
        kind=Kind.HELD,
        role=Role.LONG,
        open_s=command.open_s,
        cap_s=command.cap_s,
        latency_s=latency.seconds,
        latency_sigma_s=latency.sigma_s,
        decision={"asked": {"for_s": HELD_S}},
    )


def _noted(log: list[BodyLine]) -> tuple[int, float | None]:
    """How often the body's shutter opened, and for how long it was open when that was once."""
    opened = [line.now_mono for line in log if line.word == "opened"]
    closed = [line.now_mono for line in log if line.word == "closed"]
    return len(opened), closed[0] - opened[0] if len(opened) == len(closed) == 1 else None


@contextmanager
def _releasing(places: Places) -> Iterator[None]:
    """Whatever happens, the camera is let go in the end, and its processes are gone."""
    try:
        yield
    finally:
        _release(places)


def _release(places: Places) -> None:
    from duskhold.shutter.launch import find_holder

    give_up_s = mono_now_s() + _RELEASE_WITHIN_S
    while (keeper := _keeper(places)) is not None:
        link = find_holder(places)
        try:
            if link is not None:
                link.release()
        except (HolderRefused, HolderSilent):
            pass  # a frame is not finished, or it is ending just now: asked again
        finally:
            if link is not None:
                link.close()
        if mono_now_s() > give_up_s:
            os.kill(keeper, signal.SIGTERM)  # it closes the shutter before it ends
            return
        time.sleep(_LOOK_S)


def _keeper(places: Places) -> int | None:
    if not places.runtime.exists():
        return None
    lock = keeper_lock(places)
    owner = lock.owner()
    lock.close()
    return owner
