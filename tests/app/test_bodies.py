"""What was learnt of a body is used for that body and that version of the library, and for nothing else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from duskhold.app.bodies import (
    NOT_LEARNT,
    Habits,
    Latency,
    ProfileDamaged,
    Pulled,
    Told,
    habits_of,
    has_passed,
    keep,
    latency_of,
    pulled_of,
)
from duskhold.app.folders import Folders
from duskhold.camera.port import Identity

BODY = Identity("Body", "S1", 0x000A, "bulb toggle", "2.5.34")
LEARNT = Latency(-0.0257, 0.0025, 6, "2026-10-14T17:21:10.000Z", "levels")


@pytest.fixture
def folders(tmp_path: Path) -> Folders:
    return Folders(tmp_path / "data", tmp_path / "state", tmp_path / "run")


def test_what_was_learnt_is_known_afterwards(folders: Folders) -> None:
    assert latency_of(folders, BODY) == NOT_LEARNT
    keep(folders, BODY, LEARNT)
    assert latency_of(folders, BODY) == LEARNT
    keep(folders, BODY, replace(LEARNT, seconds=-0.03))
    assert latency_of(folders, BODY).seconds == -0.03


@pytest.mark.parametrize(
    "other",
    [replace(BODY, serial="S2"), replace(BODY, library="2.5.35"), replace(BODY, family="press and hold")],
)
def test_another_body_or_library_learns_for_itself(folders: Folders, other: Identity) -> None:
    keep(folders, BODY, LEARNT)
    assert latency_of(folders, other) == NOT_LEARNT


def test_a_simulated_run_teaches_no_real_body(folders: Folders) -> None:
    keep(folders.simulated(), BODY, LEARNT)
    assert latency_of(folders, BODY) == NOT_LEARNT


def test_a_damaged_profile_is_named_and_not_guessed(folders: Folders) -> None:
    path = keep(folders, BODY, LEARNT)
    path.write_text("{", encoding="utf-8")
    with pytest.raises(ProfileDamaged, match=path.name):
        latency_of(folders, BODY)


HABITS = Habits((Told(2.0, 2.0), Told(5.01, 5.0)), 5.2, 1.0, 2, 40_000_000, 21_000_000.0, "2026-10-14T17:21:10.000Z")
PULLED = Pulled("stays_open", 19.0, 10.2, 19.4, "2026-10-14T17:31:10.000Z")


def test_what_is_learnt_later_stands_beside_what_was_learnt_before(folders: Folders) -> None:
    keep(folders, BODY, LEARNT)
    assert habits_of(folders, BODY) is None
    assert pulled_of(folders, BODY) is None
    keep(folders, BODY, HABITS)
    keep(folders, BODY, PULLED)
    keep(folders, BODY, replace(LEARNT, seconds=-0.03))
    assert habits_of(folders, BODY) == HABITS
    assert pulled_of(folders, BODY) == PULLED
    assert latency_of(folders, BODY).seconds == -0.03


def test_only_a_body_whose_frames_were_seen_to_be_as_long_as_held_has_passed(folders: Folders) -> None:
    assert not has_passed(folders, BODY)
    keep(folders, BODY, LEARNT)
    assert not has_passed(folders, BODY)
    keep(folders, BODY, replace(HABITS, told=(Told(2.0, None), Told(5.0, 5.0))))
    assert not has_passed(folders, BODY)
    keep(folders, BODY, HABITS)
    assert has_passed(folders, BODY)
    assert not has_passed(folders, replace(BODY, library="2.5.35"))
