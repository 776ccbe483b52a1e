"""What was learnt of a body is used for that body and that version of the library, and for nothing else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from duskhold.app.bodies import NOT_LEARNT, Latency, ProfileDamaged, keep_latency, latency_of
from duskhold.app.folders import Folders
from duskhold.camera.port import Identity

BODY = Identity("Body", "S1", 0x000A, "bulb toggle", "2.5.34")
LEARNT = Latency(-0.0257, 0.0025, 6, "2026-10-14T17:21:10.000Z", "levels")


@pytest.fixture
def folders(tmp_path: Path) -> Folders:
    return Folders(tmp_path / "data", tmp_path / "state", tmp_path / "run")


def test_what_was_learnt_is_known_afterwards(folders: Folders) -> None:
    assert latency_of(folders, BODY) == NOT_LEARNT
    keep_latency(folders, BODY, LEARNT)
    assert latency_of(folders, BODY) == LEARNT
    keep_latency(folders, BODY, replace(LEARNT, seconds=-0.03))
    assert latency_of(folders, BODY).seconds == -0.03


@pytest.mark.parametrize(
    "other",
    [replace(BODY, serial="S2"), replace(BODY, library="2.5.35"), replace(BODY, family="press and hold")],
)
def test_another_body_or_library_learns_for_itself(folders: Folders, other: Identity) -> None:
    keep_latency(folders, BODY, LEARNT)
    assert latency_of(folders, other) == NOT_LEARNT


def test_a_simulated_run_teaches_no_real_body(folders: Folders) -> None:
    keep_latency(folders.simulated(), BODY, LEARNT)
    assert latency_of(folders, BODY) == NOT_LEARNT


def test_a_damaged_profile_is_named_and_not_guessed(folders: Folders) -> None:
    path = keep_latency(folders, BODY, LEARNT)
    path.write_text("{", encoding="utf-8")
    with pytest.raises(ProfileDamaged, match=path.name):
        latency_of(folders, BODY)
