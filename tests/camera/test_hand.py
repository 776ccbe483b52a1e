"""The file that stands for the hand of a person at the simulated camera."""

from pathlib import Path

import pytest

from duskhold.camera.hand import Hand, write_fitted
from duskhold.camera.simulated import SimulatedCamera
from duskhold.camera.simulation import SimulationOptions, build_simulated
from duskhold.light.filters import NO_FILTER, BadFilter, Filter
from duskhold.shutter.clock import SimulatedClock


def camera_with(path: Path, clock: SimulatedClock) -> SimulatedCamera:
    options = SimulationOptions(filters="6", fitted_file=str(path), profile={"render": False})
    camera = build_simulated(options, clock.now_s, lambda seconds: clock.sleep_until(clock.now_s() + seconds))
    camera.connect()
    return camera


def test_what_the_file_says_is_fitted_before_the_next_thing_the_camera_does(tmp_path: Path) -> None:
    path, clock = tmp_path / "fitted.txt", SimulatedClock()
    camera = camera_with(path, clock)
    assert camera.body.stage.fitted(clock.now_s()) == (6.0, 6.0, 6.0)
    for glass, stops in (
        (NO_FILTER, (0.0, 0.0, 0.0)),
        (Filter("strong", 10.2, (10.0, 10.2, 10.3)), (10.0, 10.2, 10.3)),
    ):
        clock.sleep_until(clock.now_s() + 5.0)
        write_fitted(path, glass)
        camera.settings()
        assert camera.body.stage.fitted(clock.now_s()) == pytest.approx(stops)
    write_fitted(path, None)
    camera.settings()
    assert camera.body.stage.fitted(clock.now_s()) == (6.0, 6.0, 6.0)
    assert [line.word for line in camera.body.log].count("fitted") == 3


def test_nothing_changes_while_the_file_does_not(tmp_path: Path) -> None:
    hand = Hand(tmp_path / "fitted.txt", (1.0, 1.0, 1.0))
    assert hand.changed() is None
    write_fitted(tmp_path / "fitted.txt", Filter("light", 3.0))
    assert hand.changed() == (3.0, 3.0, 3.0)
    assert hand.changed() is None


def test_a_file_that_is_no_filter_is_no_silence(tmp_path: Path) -> None:
    (tmp_path / "fitted.txt").write_text("dark", encoding="utf-8")
    with pytest.raises(BadFilter):
        Hand(tmp_path / "fitted.txt", (0.0, 0.0, 0.0)).changed()
