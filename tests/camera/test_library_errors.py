"""The library's error numbers by stage, as it was seen to use them with a body that misbehaves to order."""

from __future__ import annotations

import gphoto2
import pytest

from duskhold.camera.address import Way
from duskhold.camera.library_errors import Code, read_beginning, read_closing, read_error
from duskhold.camera.port import (
    CameraBusy,
    CameraClaimed,
    CameraError,
    CameraMissing,
    Closing,
    LinkHung,
    LinkLost,
    PermissionMissing,
)


def test_the_numbers_are_the_librarys_own() -> None:
    names = {
        Code.GENERAL: gphoto2.GP_ERROR,
        Code.BAD_PARAMETERS: gphoto2.GP_ERROR_BAD_PARAMETERS,
        Code.NOT_SUPPORTED: gphoto2.GP_ERROR_NOT_SUPPORTED,
        Code.IO: gphoto2.GP_ERROR_IO,
        Code.TIMEOUT: gphoto2.GP_ERROR_TIMEOUT,
        Code.IO_READ: gphoto2.GP_ERROR_IO_READ,
        Code.NO_SUCH_DEVICE: gphoto2.GP_ERROR_IO_USB_FIND,
        Code.CLAIMED: gphoto2.GP_ERROR_IO_USB_CLAIM,
        Code.BUSY: gphoto2.GP_ERROR_CAMERA_BUSY,
        Code.OK: gphoto2.GP_OK,
    }
    assert set(names) == set(Code)
    assert all(ours == theirs for ours, theirs in names.items())


@pytest.mark.parametrize(
    ("code", "way", "expected"),
    [
        (-7, Way.USB, PermissionMissing),
        (-7, Way.PTPIP, CameraMissing),
        (-53, Way.USB, CameraClaimed),
        (-52, Way.USB, CameraMissing),
        (-105, Way.USB, CameraMissing),
        (-10, Way.PTPIP, LinkHung),
        (-1, Way.PTPIP, CameraMissing),
    ],
)
def test_a_session_that_does_not_begin(code: int, way: Way, expected: type[CameraError]) -> None:
    assert type(read_beginning(code, way, "there")) is expected


@pytest.mark.parametrize(
    ("code", "took_s", "expected"),
    [
        (-7, 0.0, LinkLost),
        (-52, 0.0, LinkLost),
        (-10, 2.5, LinkHung),
        (-2, 2.5, LinkHung),
        (-110, 0.1, CameraBusy),
        (-110, 5.2, CameraBusy),
        (-1, 0.01, type(None)),
        (-2, 0.01, type(None)),
    ],
)
def test_a_session_that_fails(code: int, took_s: float, expected: type[object]) -> None:
    assert type(read_error(code, took_s)) is expected


@pytest.mark.parametrize(
    ("code", "took_s", "expected"),
    [
        (-110, 5.15, Closing.CLOSED_BUSY),
        (-1, 5.2, Closing.STILL_OPEN),
        (-1, 0.003, Closing.NOTHING_OPEN),
        (-2, 0.003, Closing.STILL_OPEN),
    ],
)
def test_a_closing_call_that_fails_says_how_the_shutter_is(code: int, took_s: float, expected: Closing) -> None:
    assert read_closing(code, took_s) is expected


@pytest.mark.parametrize(("code", "expected"), [(-7, LinkLost), (-10, LinkHung)])
def test_a_closing_call_over_a_lost_link_says_nothing_of_the_shutter(code: int, expected: type[CameraError]) -> None:
    assert isinstance(read_closing(code, 0.0), expected)
