"""What the bench sees of a body's habits: its own dark frame, and what a lost lead does. Real calls, real time."""

from __future__ import annotations

import pytest
from rig import Rig

from duskhold.app.benching import learn_habits, pull_lead
from duskhold.app.bodies import habits_of, pulled_of
from duskhold.app.check import ask_facts
from duskhold.app.exposing import Watch
from duskhold.app.folders import folders_for
from duskhold.app.learning import LearningFailed
from duskhold.app.settings import Settings
from duskhold.app.station import at_station

WATCH = Watch(lambda state: None, lambda: False)


def silent(line: str) -> None:
    """Nobody is at the camera."""


@pytest.mark.parametrize("bench", [("--set", "dark_frame=on")], indirect=True)
def test_a_dark_frame_of_the_bodys_own_is_seen_and_the_check_knows_of_it(bench: Rig) -> None:
    folders = folders_for(str(bench.folder / "data"), bench.environment)
    with at_station(bench.body.address, Settings(), folders) as station:
        habits = learn_habits(station, WATCH, silent)
        identity = station.identity()
        assert identity is not None
        assert habits_of(station.folders, identity) == habits
        assert ask_facts(station, None).dark_frame_share == habits.dark_frame_share
    assert habits.dark_frame_share == pytest.approx(1.0, abs=0.15)
    assert habits.busy_s == pytest.approx(5.0, abs=1.0)
    assert habits.files == 2


def test_a_lead_that_is_pulled_leaves_this_body_open_and_that_is_written_down(bench: Rig) -> None:
    folders = folders_for(str(bench.folder / "data"), bench.environment)

    def person(line: str) -> None:
        bench.body.order("drop" if "PULL" in line else "return")

    with at_station(bench.body.address, Settings(), folders) as station:
        pulled = pull_lead(station, WATCH, person, hold_s=14.0, pull_at_s=2.0)
        identity = station.identity()
        assert identity is not None
        assert pulled_of(station.folders, identity) == pulled
    opened_s, closed_s = bench.one_opening()
    assert pulled.word == "stays_open"
    assert pulled.lost_after_s == pytest.approx(2.5, abs=1.0)
    assert pulled.back_after_s == pytest.approx(closed_s - opened_s, abs=1.0)
    assert bench.pictures_home()


def test_a_lead_that_nobody_pulled_teaches_nothing(bench: Rig) -> None:
    folders = folders_for(str(bench.folder / "data"), bench.environment)
    with at_station(bench.body.address, Settings(), folders) as station:
        with pytest.raises(LearningFailed, match="not lost"):
            pull_lead(station, WATCH, silent, hold_s=1.0, pull_at_s=0.5)
        identity = station.identity()
        assert identity is not None
        assert pulled_of(station.folders, identity) is None
