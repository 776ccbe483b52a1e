"""A device found and reset, by error number, on a tree of files; the number of the order is the kernel's own."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from duskhold.camera.usb_reset import find_still_image_device, reset_device


def plug(root: Path, name: str, number: int, interface: tuple[str, str, str]) -> None:
    device, part = root / "sys" / name, root / "sys" / f"{name}:1.0"
    for folder in (device, part):
        folder.mkdir(parents=True)
    (device / "busnum").write_text("1\n")
    (device / "devnum").write_text(f"{number}\n")
    for word, value in zip(("Class", "SubClass", "Protocol"), interface, strict=True):
        (part / f"bInterface{word}").write_text(f"{value}\n")


def found(root: Path) -> Path | None:
    return find_still_image_device(root / "sys", root / "dev")


def test_the_only_still_image_device_is_found(tmp_path: Path) -> None:
    assert found(tmp_path) is None
    plug(tmp_path, "1-1", 4, ("03", "01", "01"))
    assert found(tmp_path) is None
    plug(tmp_path, "1-2", 14, ("06", "01", "01"))
    assert found(tmp_path) == tmp_path / "dev" / "001" / "014"
    plug(tmp_path, "1-3", 15, ("06", "01", "01"))
    assert found(tmp_path) is None


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
