"""A device reset, by error number; the number of the order is the kernel's own."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from duskhold.camera import usb_reset
from duskhold.camera.usb_bus import UsbCamera
from duskhold.camera.usb_reset import Reset, reset_camera, reset_device


@pytest.mark.parametrize(("serial", "reset"), [("", None), ("B2", "/dev/bus/usb/001/005"), ("C3", None)])
def test_only_the_meant_camera_is_reset(monkeypatch: pytest.MonkeyPatch, serial: str, reset: str | None) -> None:
    there = [UsbCamera(1, 4, "A1", "one"), UsbCamera(1, 5, "B2", "other")]
    monkeypatch.setattr(usb_reset, "list_cameras", lambda: there)
    asked: list[Path] = []

    def note(device: Path) -> Reset:
        asked.append(device)
        return Reset(True, "reset")

    monkeypatch.setattr(usb_reset, "reset_device", note)
    answer = reset_camera(serial)
    assert [str(device) for device in asked] == ([reset] if reset else [])
    assert answer.done == (reset is not None)
    assert answer.done or "cameras" in answer.told or "no camera" in answer.told


def test_the_kernel_is_asked_once_with_its_own_number(tmp_path: Path) -> None:
    device = tmp_path / "014"
    device.touch()
    asked: list[int] = []
    answer = reset_device(device, lambda descriptor, order: asked.append(order))
    assert answer.done
    assert asked == [(ord("U") << 8) | 20]  # _IO('U', 20): linux/usbdevice_fs.h


@pytest.mark.parametrize(
    ("number", "said"),
    [(errno.EACCES, "udev rule"), (errno.EPERM, "udev rule"), (errno.ENODEV, "went away"), (errno.EIO, "Input/output")],
)
def test_what_stood_in_the_way_is_said(tmp_path: Path, number: int, said: str) -> None:
    device = tmp_path / "014"
    device.touch()

    def refuse(descriptor: int, order: int) -> None:
        raise OSError(number, os.strerror(number))

    answer = reset_device(device, refuse)
    assert not answer.done
    assert said in answer.told


def test_a_device_that_is_gone_is_said_to_be(tmp_path: Path) -> None:
    assert "went away" in reset_device(tmp_path / "gone").told
