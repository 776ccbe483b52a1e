"""A control family that was never seen at work exposes nothing alone before the bench has passed."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path
from typing import cast

import pytest

from duskhold.app.bodies import Habits, Latency, Told, keep
from duskhold.app.folders import Folders
from duskhold.app.readiness import unproven
from duskhold.app.settings import Settings
from duskhold.app.station import Station
from duskhold.camera.port import Identity
from duskhold.journal.journal import Journal
from duskhold.shutter.holder_link import HolderLink

BODY = Identity("Body", "S1", 0x0011, "bulb toggle", "2.5.34", proven=False)


class PaperLink:
    """Answers who the body is, and nothing else."""

    def __init__(self, identity: Identity | None) -> None:
        self._identity = identity

    def state(self) -> dict[str, object]:
        return {"identity": None if self._identity is None else asdict(self._identity)}


def station(folder: Path, identity: Identity | None) -> Station:
    folders = Folders(folder / "data", folder / "state", folder / "run")
    link = cast(HolderLink, PaperLink(identity))
    return Station("usb", folders, cast(Journal, None), link, Settings(), {})


def test_an_unproven_family_waits_for_the_bench(tmp_path: Path) -> None:
    there = station(tmp_path, BODY)
    refused = unproven(there)
    assert refused is not None
    assert refused.code == "unproven"
    assert "body bench" in refused.reason
    keep(there.folders, BODY, Latency(0.0, 0.01, 8, "2026-10-14T17:21:10.000Z", "levels"))
    assert unproven(there) is not None
    keep(there.folders, BODY, Habits((Told(2.0, 2.0), Told(5.0, 5.0)), 1.0, 0.0, 1, 9, 9.0, "2026-10-14T17:21:10.000Z"))
    assert unproven(there) is None


@pytest.mark.parametrize("identity", [None, replace(BODY, proven=True)])
def test_a_proven_family_and_a_body_that_does_not_answer_are_not_held_up_here(
    tmp_path: Path, identity: Identity | None
) -> None:
    assert unproven(station(tmp_path, identity)) is None
