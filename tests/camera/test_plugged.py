"""A nap that ends when a camera is plugged in, on a monitor made of a pipe; without one it is a plain nap."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import pytest

from duskhold.camera.plugged import PlugWatch, watch_plugs

# As systemd's udev writes it, colons at both ends; 060101 is USB-IF's still image class, subclass and protocol.
CAMERA = {"ID_USB_INTERFACES": ":060101:"}
KEYBOARD = {"ID_USB_INTERFACES": ":030101:"}


@dataclass
class PaperPlug:
    action: str | None
    words: Mapping[str, str]

    def get(self, name: str) -> str | None:
        return self.words.get(name)


@dataclass
class PaperMonitor:
    """Events in a list, and a pipe that can be waited for."""

    pipe: tuple[int, int] = field(default_factory=os.pipe)
    plugs: list[PaperPlug] = field(default_factory=list)
    is_broken: bool = False

    def add(self, action: str, words: Mapping[str, str]) -> None:
        self.plugs.append(PaperPlug(action, words))
        os.write(self.pipe[1], b".")

    def fileno(self) -> int:
        return self.pipe[0]

    def poll(self, timeout: float | None = None) -> PaperPlug | None:
        if self.is_broken:
            raise OSError("no buffer space available")
        os.read(self.pipe[0], 1)
        return self.plugs.pop(0)


@pytest.fixture
def monitor() -> Iterator[PaperMonitor]:
    made = PaperMonitor()
    yield made
    for descriptor in made.pipe:
        os.close(descriptor)


def napped_s(watch: PlugWatch, seconds: float) -> float:
    began_s = time.monotonic()
    watch.nap(seconds)
    return time.monotonic() - began_s


def test_a_camera_that_is_plugged_in_ends_the_nap(monitor: PaperMonitor) -> None:
    monitor.add("add", CAMERA)
    assert napped_s(PlugWatch(monitor), 5.0) < 1.0


@pytest.mark.parametrize(("action", "words"), [("remove", CAMERA), ("add", KEYBOARD), ("add", {}), ("bind", CAMERA)])
def test_nothing_else_does(monitor: PaperMonitor, action: str, words: Mapping[str, str]) -> None:
    monitor.add(action, words)
    assert napped_s(PlugWatch(monitor), 0.2) >= 0.2


def test_without_the_systems_word_every_nap_has_its_length(monitor: PaperMonitor) -> None:
    watch = PlugWatch(monitor)
    monitor.is_broken = True
    monitor.add("add", CAMERA)
    assert napped_s(watch, 0.1) >= 0.1
    monitor.is_broken = False
    assert napped_s(watch, 0.1) >= 0.1


def test_this_systems_own_monitor_can_be_waited_for() -> None:
    watch = watch_plugs()
    assert watch is not None
    assert napped_s(watch, 0.05) >= 0.05
