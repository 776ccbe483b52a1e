"""The still-image devices on USB, as the kernel shows them: looked at without opening, and disturbing, any."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from duskhold.camera.port import CameraMissing

_STILL_IMAGE = ("06", "01", "01")  # USB still image capture device definition: class, subclass, protocol
_USB = "usb:"  # the library detects storage that looks like a camera's as well, as "disk:"
NOBODY = "no camera on the USB lead: switch it on, and see that the lead is firm at both ends"


@dataclass(frozen=True, slots=True)
class UsbCamera:
    """One still-image device. `serial` is what its USB descriptor says, "" where it says nothing."""

    bus: int
    number: int
    serial: str
    product: str

    @property
    def port(self) -> str:
        """As the camera library writes it. Another one after every plugging in."""
        return f"usb:{self.bus:03d},{self.number:03d}"

    def __str__(self) -> str:
        name = self.product or "a camera"
        return f"usb:{self.serial} ({name})" if self.serial else f"one that tells no serial number ({name})"


def list_cameras(devices: Path = Path("/sys/bus/usb/devices")) -> list[UsbCamera]:
    """Every still-image device; one that goes while it is looked at is left out."""
    found = {_camera(devices / each.name.partition(":")[0]) for each in devices.glob("*:*") if _is_still_image(each)}
    return sorted((one for one in found if one is not None), key=lambda one: one.port)


def pick_camera(on_bus: Sequence[UsbCamera], serial: str) -> UsbCamera | None:
    """The one with this serial number, or without one the only one; None where the kernel shows none at all.

    Raises `CameraMissing`, with a sentence that lists those that are there, when it is not there or not clear which.
    """
    meant = [one for one in on_bus if not serial or _same_serial(one.serial, serial)]
    if len(meant) == 1:
        return meant[0]
    there = ", ".join(map(str, on_bus)) or "none"
    if serial:
        count = f"{len(meant)} cameras" if meant else "no camera"
        raise CameraMissing(f"{count} with serial number {serial} on USB; there is: {there}")
    if meant:
        raise CameraMissing(f"{len(meant)} cameras on USB, and it is not clear which; write one of: {there}")
    return None


def pick_detected(detected: Sequence[tuple[str, str]], picked: UsbCamera | None, serial: str) -> tuple[str, str]:
    """Model and port among those that the library detected: the picked one, or the only one. Raises `CameraMissing`.

    Without a serial number the library's own list counts, too: it knows cameras that are of no class on the bus.
    """
    on_usb = [each for each in detected if each[1].startswith(_USB)]
    if len(on_usb) > 1 and not serial:
        models = ", ".join(model for model, _ in on_usb)
        raise CameraMissing(f"{len(on_usb)} cameras on USB, and it is not clear which ({models}): leave one plugged in")
    known = [each for each in on_usb if picked is None or each[1] == picked.port]
    if not known:
        raise CameraMissing(NOBODY if picked is None else f"{picked} is on USB, and the camera library knows no way in")
    return known[0]


def _same_serial(one: str, other: str) -> bool:
    """Bodies pad theirs with noughts, and people read letters in either case."""
    return bool(one) and one.casefold().lstrip("0") == other.casefold().lstrip("0")


def _is_still_image(interface: Path) -> bool:
    names = ("bInterfaceClass", "bInterfaceSubClass", "bInterfaceProtocol")
    return tuple(_text(interface / name) for name in names) == _STILL_IMAGE


def _camera(device: Path) -> UsbCamera | None:
    with suppress(ValueError):
        bus, number = int(_text(device / "busnum")), int(_text(device / "devnum"))
        return UsbCamera(bus, number, _text(device / "serial"), _text(device / "product"))
    return None


def _text(path: Path) -> str:
    """What the kernel says there, or "": not every device says everything, and any may go at any time."""
    with suppress(OSError):
        return path.read_text(encoding="utf-8", errors="replace").strip()
    return ""
