"""What only the adapter of the library has to keep: its own folder, descriptor 0, and errors read by stage."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import gphoto2
import pytest

from duskhold.camera import gphoto
from duskhold.camera.address import Address, Way, parse_address
from duskhold.camera.gphoto import GphotoCamera
from duskhold.camera.port import BodyRefused, CameraBusy, CameraMissing, Closing, LinkHung, LinkLost, NoCard, Setting
from duskhold.camera.serving import ServedBody
from duskhold.camera.usb_bus import UsbCamera

QUICK = ["--profile", "render=false", "--profile", "storing_s=0.05", "--lifetime", "120"]


def count_descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedBody]:
    with ServedBody(tmp_path_factory.mktemp("served"), QUICK) as started:
        yield started


@pytest.fixture
def body(running: ServedBody) -> Iterator[ServedBody]:
    yield running
    for word in ("return", "resume", "insert"):
        running.order(word)


@pytest.fixture
def camera(body: ServedBody, tmp_path: Path) -> Iterator[GphotoCamera]:
    made = GphotoCamera(parse_address(body.address), tmp_path / "library")
    made.connect()
    yield made
    made.disconnect()
    # The next test wants to find a body that has stored what this one took.
    body.wait_for("ready", count=len(body.lines("opened")))


def test_descriptor_zero_survives_every_end_of_a_session(camera: GphotoCamera) -> None:
    for _ in range(3):
        camera.connect()
        camera.disconnect()
        os.fstat(0)


def test_a_session_leaves_no_socket_behind(camera: GphotoCamera) -> None:
    camera.disconnect()
    before = count_descriptors()
    camera.connect()
    camera.disconnect()
    assert count_descriptors() == before


def test_the_card_stays_the_target_in_the_librarys_own_file(body: ServedBody, tmp_path: Path) -> None:
    camera = GphotoCamera(parse_address(body.address), tmp_path / "own")
    camera.connect()
    camera.disconnect()
    assert (tmp_path / "own" / "gphoto").is_dir()


def test_nobody_there_is_a_missing_camera(tmp_path: Path) -> None:
    with pytest.raises(CameraMissing):
        GphotoCamera(Address(Way.PTPIP, "127.0.0.1", 9, 9), tmp_path / "library").connect()
    os.fstat(0)


@pytest.mark.parametrize(
    ("found", "serial", "words"),
    [
        ([], "", "no camera"),
        ([("a", "usb:001,004"), ("b", "usb:001,005")], "", "2 cameras on USB.*usb:A1 .one., usb:B2 .other."),
        ([("a", "usb:001,004"), ("b", "usb:001,005")], "C3", "no camera with serial number C3"),
    ],
)
def test_on_usb_exactly_one_camera_is_taken(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, found: list[tuple[str, str]], serial: str, words: str
) -> None:
    on_bus = [UsbCamera(1, 4, "A1", "one"), UsbCamera(1, 5, "B2", "other")]
    monkeypatch.setattr(gphoto, "list_cameras", lambda: on_bus if found else [])

    class Lead:
        @staticmethod
        def autodetect() -> dict[str, str]:
            return dict(found)

    monkeypatch.setattr(gphoto2, "Camera", Lead)
    with pytest.raises(CameraMissing, match=words):
        GphotoCamera(Address(Way.USB, serial=serial), tmp_path / "library").connect()


def test_a_link_that_ends_in_good_order_is_lost_all_the_same(body: ServedBody, camera: GphotoCamera) -> None:
    camera.open_shutter()
    body.order("orderly_end")
    with pytest.raises(LinkLost):
        camera.close_shutter()
    body.order("return")
    camera.connect()
    assert camera.close_shutter() is Closing.CLOSED


def test_a_stop_that_answers_with_an_error_has_closed(body: ServedBody, camera: GphotoCamera) -> None:
    closed = len(body.lines("closed"))
    body.order("strike", fault="stop_error", count=1)
    camera.open_shutter()
    time.sleep(0.1)
    assert camera.close_shutter() is Closing.NOTHING_OPEN
    body.wait_for("closed", count=closed + 1)


def test_an_opening_that_answers_with_an_error_can_be_closed(body: ServedBody, camera: GphotoCamera) -> None:
    opened = len(body.lines("opened"))
    body.order("strike", fault="open_error", count=1)
    with pytest.raises(BodyRefused):
        camera.open_shutter()
    body.wait_for("opened", count=opened + 1)
    assert camera.close_shutter() is Closing.CLOSED


def test_a_shutter_that_is_open_can_be_closed_whatever_became_of_the_card(
    body: ServedBody, camera: GphotoCamera
) -> None:
    camera.open_shutter()
    time.sleep(0.1)
    body.order("eject")
    with pytest.raises(NoCard):
        camera.connect()
    assert camera.close_shutter() is Closing.CLOSED


@pytest.mark.parametrize("asked", ["_has_card", "_aim_at_card"])
def test_a_body_that_shows_no_card_while_it_exposes_can_be_closed(
    camera: GphotoCamera, monkeypatch: pytest.MonkeyPatch, asked: str
) -> None:
    """Bodies have been seen to answer everything but the stop with "busy"."""

    def busy(*_given: object) -> bool:
        raise gphoto2.GPhoto2Error(gphoto2.GP_ERROR_CAMERA_BUSY)

    camera.open_shutter()
    time.sleep(0.1)
    monkeypatch.setattr(GphotoCamera, asked, busy)
    with pytest.raises(NoCard, match="busy"):
        camera.connect()
    assert camera.close_shutter() is Closing.CLOSED


def test_a_card_that_the_last_frame_filled_gives_its_pictures(body: ServedBody, camera: GphotoCamera) -> None:
    camera.open_shutter()
    time.sleep(0.1)
    camera.close_shutter()
    body.wait_for("ready", count=len(body.lines("opened")))
    body.order("fill", shots=0)
    try:
        last = camera.pictures()[-1]
        taken: list[bytes] = []
        assert camera.fetch(last, taken.append) == last.size_bytes
        body.order("eject")
        with pytest.raises(NoCard):
            camera.pictures()
    finally:
        body.order("fill", shots=2000)


def test_a_hung_session_ends_at_once(body: ServedBody, camera: GphotoCamera) -> None:
    body.order("hang")
    with pytest.raises(LinkHung):
        camera.settings()
    began_s = time.monotonic()
    camera.disconnect()
    assert time.monotonic() - began_s < 1.0  # its last words would take 2.5 s each


def test_waiting_lasts_its_slice_and_no_longer(camera: GphotoCamera) -> None:
    began_s = time.monotonic()
    assert not camera.wait(0.35)
    assert 0.34 < time.monotonic() - began_s < 0.7


def test_a_setting_that_comes_too_soon_is_busy(camera: GphotoCamera) -> None:
    camera.open_shutter()
    with pytest.raises(CameraBusy):
        camera.change(Setting.ISO, "200")
    assert camera.close_shutter() is Closing.CLOSED


def test_the_clock_is_told_and_set_in_the_bodys_own_time(camera: GphotoCamera) -> None:
    said = camera.change(Setting.CLOCK, "2026-06-20T22:10:05")
    assert said[:17] == "2026-06-20T22:10:"
