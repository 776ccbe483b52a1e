"""Naming the program that holds a device, by the open files in /proc (proc(5))."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from duskhold.camera import claimant
from duskhold.camera.claimant import device_of, name_claimant, who_holds
from duskhold.camera.port import CameraClaimed, CameraMissing, LinkHung, PermissionMissing


def test_a_port_is_a_device_file() -> None:
    assert device_of("usb:001,014") == Path("/dev/bus/usb/001/014")
    assert device_of("usb:") is None
    assert device_of("ptpip:127.0.0.1:1:1") is None


def test_who_has_it_open_is_named(tmp_path: Path) -> None:
    device = tmp_path / "device"
    device.touch()
    assert who_holds(device) == []
    with device.open():
        (holder,) = who_holds(device)
    assert holder.endswith(f"({os.getpid()})")


def test_processes_that_may_not_be_looked_at_are_passed_over(tmp_path: Path) -> None:
    (tmp_path / "17").mkdir()
    assert who_holds(tmp_path / "device", tmp_path) == []


def test_the_error_names_the_holder_when_it_can_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(claimant, "who_holds", lambda device: ["monitor (17)"])
    assert "monitor (17)" in str(name_claimant(CameraClaimed("another program"), "usb:001,014"))
    missing = CameraMissing("none")
    assert name_claimant(missing, "usb:001,014") is missing
    monkeypatch.setattr(claimant, "who_holds", lambda device: [])
    assert str(name_claimant(CameraClaimed("another program"), "usb:001,014")) == "another program"


def test_one_of_our_own_is_told_with_its_address_and_is_not_to_be_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    device, process = tmp_path / "014", tmp_path / "proc" / "17"
    (process / "fd").mkdir(parents=True)
    (process / "fd" / "9").symlink_to(device)
    (process / "comm").write_text("python3\n")
    (process / "cmdline").write_text("python3\0-m\0duskhold.shutter.holding\0--camera\0usb\0--runtime\0/r\0")
    (holder,) = who_holds(device, tmp_path / "proc")
    assert holder == "duskhold itself, as usb (17)"
    monkeypatch.setattr(claimant, "who_holds", lambda device: ["monitor (3)", holder])
    said = str(name_claimant(CameraClaimed("another program"), "usb:001,014"))
    assert "as usb (17); it lets go a minute after" in said
    assert "end it" not in said


def test_a_device_that_may_be_opened_and_does_not_answer_is_no_matter_of_permission(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    device = tmp_path / "014"
    monkeypatch.setattr(claimant, "device_of", lambda port: device)
    missing = PermissionMissing("may not be opened")
    assert name_claimant(missing, "usb:001,014") is missing
    device.touch()
    assert isinstance(name_claimant(missing, "usb:001,014"), LinkHung)
