"""The rehearsal's evening: real frames of a simulated dusk, told by their pixels and by the light that truly fell."""

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from duskhold.app import rehearsal
from duskhold.app.exposing import Watch
from duskhold.app.folders import Folders, folders_for
from duskhold.app.rehearsal import Evening, rehearse, spend_evening
from duskhold.app.rehearsal_scene import FILTER, OPENING_S, SECOND_BASE_S, Scene, make_scene
from duskhold.app.rehearsal_tripod import RehearsalFailed
from duskhold.journal.entry import Intent
from duskhold.journal.journal import Journal
from duskhold.plan.limits import Limits

SEED = 5


def unheard(_line: str) -> None:
    """Nobody listens."""


def spent(folders: Folders, seed: int) -> Evening:
    folders.data.mkdir(parents=True)
    with Journal.open(folders.journal) as journal:
        return spend_evening(make_scene(seed), folders, journal, unheard)


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Folders:
    return folders_for(str(tmp_path_factory.mktemp("rehearsal")), {}).simulated()


@pytest.fixture(scope="module")
def evening(folders: Folders) -> Iterator[Evening]:
    yield spent(folders, SEED)


def true_error_stops(scene: Scene, open_s: float) -> float:
    """What an opening gathers against the second base frame, by the light itself."""
    plain_s = 0.125 * 2.0**FILTER.stops
    dose = scene.light.dose(OPENING_S, OPENING_S + open_s)
    return math.log2(dose / (plain_s * scene.light.level(SECOND_BASE_S)))


def test_drift_from_pixels_is_the_drift_of_the_light(evening: Evening) -> None:
    light = evening.scene.light
    true = math.log2(light.level(SECOND_BASE_S) / light.level(SECOND_BASE_S - 360.0)) / 6.0
    assert evening.measured_stops_per_min == pytest.approx(true, abs=0.005)
    assert abs(evening.measured_stops_per_min - evening.model_stops_per_min) > 0.02


def test_the_open_time_is_that_of_the_trade(evening: Evening) -> None:
    """T = log2(1 + A r ln 2) / r with A = Tc 2^(-r d); same family as Tyson and Gal 1993, AJ 105, 1206."""
    rate_per_s = evening.measured_stops_per_min / 60.0
    plain_s = 0.125 * 2.0**FILTER.stops
    delay_s = (evening.corrected.opened_utc - evening.second.opened_utc).total_seconds()
    frozen_s = plain_s * 2.0 ** (-rate_per_s * delay_s)
    open_s = math.log2(1.0 + frozen_s * rate_per_s * math.log(2.0)) / rate_per_s
    assert evening.corrected.open_s == pytest.approx(open_s, abs=0.1)
    assert evening.uncorrected.open_s == pytest.approx(plain_s, abs=0.1)


def test_the_corrected_frame_comes_out_like_the_base_frame_and_the_other_does_not(evening: Evening) -> None:
    for taken in (evening.corrected, evening.uncorrected):
        assert evening.error_stops(taken) == pytest.approx(true_error_stops(evening.scene, taken.open_s), abs=0.05)
    assert abs(evening.error_stops(evening.corrected)) < 0.1
    assert evening.error_stops(evening.uncorrected) < -1 / 3
    assert evening.decision.uncorrected_error_stops == pytest.approx(evening.error_stops(evening.uncorrected), abs=0.05)


def test_each_channel_shows_what_the_filter_takes_from_it(evening: Evening) -> None:
    """The filter counts with its green; red passes more and blue less, on a sky whose own colour changes a little."""
    red, green, blue = evening.corrected.level.stops_over(evening.second.level)
    assert FILTER.stops_rgb is not None
    assert red - green == pytest.approx(FILTER.stops_rgb[1] - FILTER.stops_rgb[0], abs=0.08)
    assert blue - green == pytest.approx(FILTER.stops_rgb[1] - FILTER.stops_rgb[2], abs=0.08)


def test_nothing_is_clipped(evening: Evening) -> None:
    frames = (evening.first, evening.second, evening.corrected, evening.uncorrected)
    assert [taken.level.clipped_share for taken in frames] == [0.0] * 4


def test_every_frame_is_in_the_journal_with_its_reasons(folders: Folders, evening: Evening) -> None:
    with Journal.open(folders.journal) as journal:
        assert journal.unfinished() == []
        frames = {frame.asked.frame_id: frame for frame in journal.frames(10)}
    assert set(frames) == {
        each.frame_id for each in (evening.first, evening.second, evening.corrected, evening.uncorrected)
    }
    asked, outcome = frames[evening.corrected.frame_id].asked, frames[evening.corrected.frame_id].outcome
    assert isinstance(asked, Intent) and outcome is not None
    assert asked.decision["rehearsal"] == "corrected"
    assert asked.decision["open_s"] == evening.decision.open_s
    assert outcome.outcome == "complete"
    assert [file["path"] for file in outcome.files] == [str(file.path) for file in evening.corrected.files]
    assert frames[evening.first.frame_id].asked.timing == "dial"


def test_the_same_seed_gives_the_same_evening(evening: Evening, tmp_path: Path) -> None:
    again = spent(folders_for(str(tmp_path / "again"), {}), SEED)
    for before, after in (
        (evening.first, again.first),
        (evening.second, again.second),
        (evening.corrected, again.corrected),
        (evening.uncorrected, again.uncorrected),
    ):
        assert [file.sha256 for file in before.files] == [file.sha256 for file in after.files]
    assert again.decision == evening.decision


@pytest.mark.parametrize("seed", range(40))
def test_every_seed_shows_the_point(seed: int) -> None:
    """By the light alone, without a picture: corrected within a tenth of a stop, the plain time a third or more off."""
    scene = make_scene(seed)
    rate_per_s = math.log2(scene.light.level(SECOND_BASE_S) / scene.light.level(SECOND_BASE_S - 360.0)) / 360.0
    plain_s = 0.125 * 2.0**FILTER.stops
    frozen_s = plain_s * 2.0 ** (-rate_per_s * (OPENING_S - SECOND_BASE_S))
    open_s = math.log2(1.0 + frozen_s * rate_per_s * math.log(2.0)) / rate_per_s
    assert abs(true_error_stops(scene, open_s)) < 0.1
    assert -1.0 < true_error_stops(scene, plain_s) < -1 / 3


def test_a_refusal_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rehearsal, "LIMITS", Limits(longest_s=60.0))
    with pytest.raises(RehearsalFailed, match="longer than longest_s allows"):
        spent(folders_for(str(tmp_path / "short"), {}), SEED)


def test_a_request_to_stop_is_heeded_between_frames(tmp_path: Path) -> None:
    said: list[str] = []
    watch = Watch(lambda state: None, lambda: len(said) >= 2)
    with pytest.raises(KeyboardInterrupt):
        rehearse(folders_for(str(tmp_path), {}), SEED, said.append, watch)
    with Journal.open(tmp_path / "simulated" / "journal.sqlite") as journal:
        assert [frame.asked.role for frame in journal.frames(10)] == ["base", "base"]
        assert journal.unfinished() == []
