"""One camera ready to be used by one program: its shutter process, its journal and its folders."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from duskhold.app.folders import SIMULATED, Folders, ensure_private
from duskhold.camera.port import Identity
from duskhold.journal.entry import Stamp
from duskhold.journal.journal import Journal
from duskhold.shutter.clock import boot_id, mono_now_s, utc_now
from duskhold.shutter.launch import ensure_holder, ensure_keeper
from duskhold.shutter.phase import Phase

if TYPE_CHECKING:
    from duskhold.app.settings import Settings
    from duskhold.shutter.holder_link import HolderLink

BACK_S = 5.0
"""A radio link that stumbles, or a session begun anew after a stall, is back sooner; a lead that was pulled is not."""
PATIENCE_S = 2.0  # of one question; `exposing` asks on as long as it takes

_COMING_BACK = {phase.value for phase in (Phase.STARTING, Phase.CLOSING, Phase.LOST)}


@dataclass(frozen=True, slots=True)
class Station:
    """What an exposure needs. `folders` are those of real or of simulated frames, as the camera is."""

    camera: str
    folders: Folders
    journal: Journal
    link: HolderLink
    settings: Settings
    simulation: Mapping[str, object]

    @property
    def origin(self) -> str:
        """Names this data folder to the shutter process, for frames that nobody collects."""
        return str(self.folders.data)

    def ensure_kept(self) -> None:
        """Start a keeper where there is none: whoever died, the shutter is to be closed."""
        ensure_keeper(self.camera, self.folders.places(self.camera), self.simulation)

    def await_body(self) -> None:
        """Wait up to `BACK_S` for a body that has answered and is being connected again. Raises `HolderSilent`.

        With a frame in hand, or where no body has answered yet, there is nothing to wait for.
        """
        give_up_s = mono_now_s() + BACK_S
        while mono_now_s() < give_up_s:
            state = self.link.state()
            if state["identity"] is None or state["frame_id"] is not None or state["phase"] not in _COMING_BACK:
                return
            time.sleep(0.1)

    def identity(self) -> Identity | None:
        """Who the body is, or None while none answers. Raises `HolderSilent`."""
        said = self.link.state().get("identity")
        return Identity(**said) if isinstance(said, dict) else None

    def why_nobody(self) -> str:
        """Why nobody says who the body is. Raises `HolderSilent`."""
        refusal = self.link.state().get("refusal")
        return str(refusal["reason"]) if isinstance(refusal, dict) else "no camera answers"


@contextmanager
def at_station(camera: str, settings: Settings, folders: Folders) -> Iterator[Station]:
    """Start what is not running and open the journal.

    Raises `FolderUnsafe`, `NotStarted`, `JournalError` or `OSError`.
    """
    own = folders.of(camera)
    ensure_private(folders.runtime)
    with Journal.open(own.journal) as journal:
        places = folders.places(camera)
        simulation = _simulation(camera, settings, places.state)
        link = ensure_holder(camera, places, simulation, PATIENCE_S)
        try:
            yield Station(camera, own, journal, link, settings, simulation)
        finally:
            link.close()


def stamp_now() -> Stamp:
    """The instant, as the journal keeps it."""
    return Stamp(utc_now(), mono_now_s(), boot_id())


def _simulation(camera: str, settings: Settings, state: object) -> Mapping[str, object]:
    if camera != SIMULATED:
        return {}
    chosen = settings.simulated_camera
    return {
        "card": f"{state}/simulated-card",
        "log": f"{state}/simulated-body.jsonl",
        "seed": chosen.seed,
        "filters": chosen.filters,
        "fitted_file": f"{state}/simulated-fitted.txt",
        "rate_stops_per_min": chosen.rate_stops_per_min,
    }
