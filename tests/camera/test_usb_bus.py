"""Which of several cameras on USB is meant, on a tree of files like sysfs (Linux, Documentation/ABI)."""

from __future__ import annotations

from pathlib import Path

import pytest

from duskhold.camera.port import CameraMissing
from duskhold.camera.usb_bus import UsbCamera, list_cameras, pick_camera, pick_detected

STILL_IMAGE = ("06", "01", "01")
ONE = UsbCamera(1, 14, "00601277", "Body one")
OTHER = UsbCamera(1, 5, "AB31-7", "Body two")
MUTE = UsbCamera(2, 3, "", "")


def plug(root: Path, name: str, number: str, interface: tuple[str, str, str], **told: str) -> None:
    device, part = root / name, root / f"{name}:1.0"
    for folder in (device, part):
        folder.mkdir(parents=True)
    for word, value in {"busnum": "1", "devnum": number, **told}.items():
        (device / word).write_text(f"{value}\n")
    for word, value in zip(("Class", "SubClass", "Protocol"), interface, strict=True):
        (part / f"bInterface{word}").write_text(f"{value}\n")


def test_still_image_devices_are_listed_with_what_they_say(tmp_path: Path) -> None:
    plug(tmp_path, "1-1", "4", ("03", "01", "01"), serial="keyboard")
    plug(tmp_path, "1-2", "14", STILL_IMAGE, serial="00601277", product="Body one")
    plug(tmp_path, "1-3", "5", STILL_IMAGE)
    plug(tmp_path, "1-4", "going", STILL_IMAGE)
    assert list_cameras(tmp_path) == [UsbCamera(1, 5, "", ""), ONE]
    assert ONE.port == "usb:001,014"


@pytest.mark.parametrize(
    ("there", "serial", "meant"),
    [
        ([], "", None),
        ([ONE], "", ONE),
        ([ONE, OTHER, MUTE], "601277", ONE),
        ([ONE, OTHER, MUTE], "ab31-7", OTHER),
    ],
)
def test_the_meant_one_is_picked(there: list[UsbCamera], serial: str, meant: UsbCamera | None) -> None:
    assert pick_camera(there, serial) == meant


@pytest.mark.parametrize(
    ("there", "serial", "says"),
    [
        ([ONE, OTHER], "", "2 cameras on USB.*usb:00601277 .Body one., usb:AB31-7 .Body two."),
        ([ONE, MUTE], "", "usb:00601277 .Body one., one that tells no serial number"),
        ([ONE], "77", "no camera with serial number 77.*usb:00601277"),
        ([MUTE], "0", "no camera with serial number 0"),
        ([], "77", "there is: none"),
        ([ONE, UsbCamera(1, 15, "601277", "Twin")], "601277", "2 cameras with serial number"),
    ],
)
def test_what_is_not_clear_is_said_with_what_is_there(there: list[UsbCamera], serial: str, says: str) -> None:
    with pytest.raises(CameraMissing, match=says):
        pick_camera(there, serial)


def test_the_library_has_to_know_the_picked_one() -> None:
    detected = [("Model A", ONE.port), ("Model B", OTHER.port)]
    assert pick_detected(detected, OTHER, OTHER.serial) == ("Model B", OTHER.port)
    assert pick_detected(detected[:1], None, "") == ("Model A", ONE.port)  # a device of a class that is nobody's
    for known, picked, serial, says in (
        (detected, None, "", "2 cameras on USB.*Model A, Model B"),
        ([], None, "", "no camera on the USB lead"),
        (detected, MUTE, "7", "knows no way in"),
    ):
        with pytest.raises(CameraMissing, match=says):
            pick_detected(known, picked, serial)


def test_the_only_still_image_device_is_not_taken_where_the_library_knows_another_camera() -> None:
    detected = [("Telephone", ONE.port), ("Model of no class", "usb:003,009")]
    with pytest.raises(CameraMissing, match="2 cameras on USB"):
        pick_detected(detected, ONE, "")
    assert pick_detected(detected, ONE, ONE.serial) == detected[0]


def test_storage_that_looks_like_a_camera_is_none() -> None:
    card = ("Mass Storage Camera", "disk:/media/card")
    assert pick_detected([card, ("Model A", ONE.port)], ONE, "") == ("Model A", ONE.port)
    with pytest.raises(CameraMissing, match="no camera on the USB lead"):
        pick_detected([card], None, "")
