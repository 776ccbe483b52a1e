"""The camera port on the simulated body, in simulated time and once in real time."""

import io
import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
import rawpy

from duskhold.camera.faults import Outage
from duskhold.camera.port import (
    BodyRefused,
    CameraBusy,
    CameraMissing,
    Closing,
    EventKind,
    LinkHung,
    LinkLost,
    NoCard,
    Setting,
)
from duskhold.camera.simulated import SimulatedCamera
from duskhold.camera.simulation import SimulationOptions, build_simulated, read_simulation

QUICK = SimulationOptions(start_utc="2026-03-20T18:30:00Z", profile={"width": 96, "height": 64, "latency_sigma_s": 0.0})
BLIND = replace(QUICK, profile={"render": False, "latency_sigma_s": 0.0})


class SteppedTime:
    """A clock that moves only when somebody sleeps."""

    def __init__(self, now_s: float = 5000.0) -> None:
        self.now_s = now_s

    def now(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        assert seconds >= 0
        self.now_s += seconds


def _camera(options: SimulationOptions = BLIND) -> tuple[SimulatedCamera, SteppedTime]:
    time = SteppedTime()
    camera = build_simulated(options, time.now, time.sleep)
    camera.connect()
    return camera, time


def _words(camera: SimulatedCamera) -> list[str]:
    return [line.word for line in camera.body.log if line.word in ("opened", "closed")]


def test_one_held_frame_from_connect_to_file() -> None:
    camera, _ = _camera(QUICK)
    camera.open_shutter()
    assert camera.wait(4.0) == []
    assert camera.close_shutter() is Closing.CLOSED
    events = camera.wait(5.0)
    assert [each.kind for each in events] == [EventKind.PICTURE_ADDED] * 2 + [EventKind.CAPTURE_COMPLETE]
    assert [each.picture.name for each in events if each.picture] == ["DSK_0001.DNG", "DSK_0001.JPG"]
    picture = camera.pictures()[0]
    pieces: list[bytes] = []
    assert camera.fetch(picture, pieces.append) == picture.size_bytes == sum(map(len, pieces))
    with rawpy.imread(io.BytesIO(b"".join(pieces))) as raw:
        assert raw.raw_image.shape == (64, 96)
    assert _words(camera) == ["opened", "closed"]


def test_waiting_takes_as_long_as_asked() -> None:
    camera, time = _camera()
    began = time.now_s
    camera.wait(3.0)
    assert time.now_s - began == pytest.approx(3.0, abs=1e-5)


def test_opening_sets_mode_and_dial_by_itself() -> None:
    camera, _ = _camera()
    camera.change(Setting.SHUTTER, "1/4")
    camera.expose_dial()
    camera.wait(2.0)
    camera.open_shutter()
    camera.wait(1.0)
    assert camera.settings()[Setting.SHUTTER] == "bulb"
    assert camera.close_shutter() is Closing.CLOSED


def test_settings_are_changed_by_what_they_mean() -> None:
    camera, _ = _camera()
    assert camera.change(Setting.APERTURE, "11") == "f/11"
    assert camera.change(Setting.ISO, "ISO 200") == "200"
    assert set(camera.settings()) == set(Setting)
    assert "raw+jpeg" in camera.choices(Setting.QUALITY)
    assert camera.choices(Setting.BATTERY) == ()
    with pytest.raises(BodyRefused):
        camera.change(Setting.ISO, "a lot")


def test_nothing_open_is_said() -> None:
    camera, _ = _camera()
    assert camera.close_shutter() is Closing.NOTHING_OPEN
    assert camera.close_shutter() is Closing.NOTHING_OPEN


def test_closed_and_busy_with_its_own_dark_frame() -> None:
    camera, time = _camera(replace(BLIND, dark_frame="on"))
    camera.open_shutter()
    camera.wait(20.0)
    began = time.now_s
    assert camera.close_shutter() is Closing.CLOSED_BUSY
    assert time.now_s - began == pytest.approx(5.0, abs=0.2)
    with pytest.raises(CameraBusy):
        camera.open_shutter()
    assert [each.kind for each in camera.wait(30.0)][-1] is EventKind.CAPTURE_COMPLETE


def test_still_open_when_the_stop_is_ignored() -> None:
    camera, _ = _camera(replace(BLIND, faults=("release_ignored=1",)))
    camera.open_shutter()
    camera.wait(2.0)
    assert camera.close_shutter() is Closing.STILL_OPEN
    assert camera.close_shutter() is Closing.CLOSED


def test_errors_that_hide_what_happened() -> None:
    camera, _ = _camera(replace(BLIND, faults=("open_error=1", "stop_error=1")))
    with pytest.raises(BodyRefused):
        camera.open_shutter()
    camera.wait(1.0)
    assert _words(camera) == ["opened"]
    assert camera.close_shutter() is Closing.NOTHING_OPEN
    camera.wait(1.0)
    assert _words(camera) == ["opened", "closed"]


def test_busy_and_refusing_bodies() -> None:
    camera, _ = _camera(replace(BLIND, faults=("press_busy=1", "press_refused=1")))
    with pytest.raises(CameraBusy):
        camera.open_shutter()
    with pytest.raises(BodyRefused):
        camera.open_shutter()
    camera.open_shutter()


def test_files_are_not_touched_while_open() -> None:
    camera, _ = _camera()
    camera.open_shutter()
    camera.wait(1.0)
    with pytest.raises(CameraBusy):
        camera.pictures()


def test_a_dropped_link_fails_every_call_until_connected_again() -> None:
    camera, time = _camera(replace(BLIND, faults=("link_drop=1", "link_drop_after_s=2", "link_return_after_s=3")))
    camera.open_shutter()
    began = time.now_s
    with pytest.raises(LinkLost):
        camera.wait(10.0)
    assert time.now_s - began == pytest.approx(2.06, abs=1e-4)
    with pytest.raises(CameraMissing):
        camera.connect()
    time.sleep(3.5)
    with pytest.raises(LinkLost):
        camera.close_shutter()
    assert camera.body.shutter_is_open(time.now_s - 5000.0)
    camera.connect()
    assert camera.close_shutter() is Closing.CLOSED
    assert len(camera.pictures()) == 2


def test_a_drop_that_nobody_saw_still_costs_the_session() -> None:
    camera, time = _camera()
    camera.interrupt("dropped", 1.0)
    time.sleep(2.0)
    with pytest.raises(LinkLost):
        camera.settings()
    camera.connect()
    assert camera.settings()


def test_a_hung_link_is_quiet_to_waiting_and_costs_each_call_its_limit() -> None:
    camera, time = _camera()
    camera.open_shutter()
    camera.wait(1.0)
    camera.interrupt("hung", 6.0)
    began = time.now_s
    assert camera.wait(0.1) == []
    assert time.now_s - began == pytest.approx(2.5)
    with pytest.raises(LinkHung):
        camera.close_shutter()
    assert time.now_s - began == pytest.approx(5.0)
    assert _words(camera) == ["opened"]
    with pytest.raises(LinkHung):
        camera.connect()
    camera.connect()
    assert camera.close_shutter() is Closing.CLOSED


def test_a_link_that_hangs_while_closing() -> None:
    camera, time = _camera(replace(BLIND, dark_frame="on"))
    camera.open_shutter()
    camera.wait(4.0)
    began_s = time.now_s - 5000.0
    camera.outages.append(Outage("hung", began_s + 1.0, math.inf))
    with pytest.raises(LinkHung):
        camera.close_shutter()
    assert _words(camera) == ["opened", "closed"]


def test_without_a_card_the_session_stands_for_closing() -> None:
    time = SteppedTime()
    camera = build_simulated(BLIND, time.now, time.sleep)
    camera.body.card.present = False
    with pytest.raises(NoCard):
        camera.connect()
    assert camera.close_shutter() is Closing.NOTHING_OPEN
    with pytest.raises(BodyRefused):
        camera.open_shutter()


def test_connecting_makes_the_card_the_target_and_leaves_an_open_shutter_alone() -> None:
    camera, _ = _camera(replace(BLIND, profile={"render": False, "settings": {"target": "memory"}}))
    assert camera.settings()[Setting.TARGET] == "card"
    camera.open_shutter()
    camera.wait(1.0)
    camera.body.card.present = False
    camera.connect()
    assert _words(camera) == ["opened"]
    assert camera.close_shutter() is Closing.CLOSED


def test_a_lost_event_does_not_lose_the_picture() -> None:
    camera, _ = _camera(replace(BLIND, faults=("event_lost=1",)))
    camera.open_shutter()
    camera.wait(1.0)
    camera.close_shutter()
    assert [each.kind for each in camera.wait(2.0)] == [EventKind.CAPTURE_COMPLETE]
    assert len(camera.pictures()) == 2


def test_light_comes_from_a_rate_or_from_the_sky() -> None:
    fading, _ = _camera(replace(BLIND, rate_stops_per_min=-0.2))
    assert fading.body.stage.light.level(300.0) == pytest.approx(0.5)
    sky, _ = _camera(replace(BLIND, place="57.35,-5.55"))
    assert sky.body.stage.light.level(0.0) == pytest.approx(1.0)
    assert sky.body.stage.light.level(900.0) < 0.6


def test_options_by_themselves_meter_four_seconds() -> None:
    stage = build_simulated(SimulationOptions(profile={"render": False})).body.stage
    assert stage.plain_s(8.0, 100.0, 0.0) == pytest.approx(4.0)


def test_options_from_json() -> None:
    options = read_simulation(json.loads('{"seed": 3, "filters": "d3.0", "faults": ["press_busy=1"]}'))
    assert (options.seed, options.faults) == (3, ("press_busy=1",))
    with pytest.raises(ValueError, match="moonshine"):
        read_simulation({"moonshine": 1})
    with pytest.raises(ValueError, match="colour"):
        build_simulated(SimulationOptions(profile={"colour": "black"}))
    with pytest.raises(ValueError, match="offset"):
        build_simulated(SimulationOptions(start_utc="2026-03-20T18:30:00"))


def test_card_and_log_on_disk_outlive_the_camera(tmp_path: Path) -> None:
    options = replace(QUICK, card=str(tmp_path / "card"), log=str(tmp_path / "body.jsonl"))
    for _ in range(2):
        camera, _ = _camera(options)
        camera.open_shutter()
        camera.wait(2.0)
        camera.close_shutter()
    lines = [json.loads(line) for line in (tmp_path / "body.jsonl").read_text().splitlines()]
    opened = [line["now_mono"] for line in lines if line["word"] == "opened"]
    assert opened == pytest.approx([5000.06, 5000.06])
    names = [each.name for each in camera.pictures()]
    assert names == ["DSK_0001.DNG", "DSK_0001.JPG", "DSK_0002.DNG", "DSK_0002.JPG"]


def test_in_real_time() -> None:
    camera = build_simulated(replace(BLIND, profile={"render": False, "storing_s": 0.05}))
    camera.connect()
    camera.open_shutter()
    camera.wait(0.2)
    assert camera.close_shutter() is Closing.CLOSED
    opened, closed = (line.now_s for line in camera.body.log if line.word in ("opened", "closed"))
    assert 0.1 < closed - opened < 0.6
