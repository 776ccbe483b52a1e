"""The holder: the process that owns the camera handle, and nothing else.

It outlives whoever asked. Its first act and its last act are the safe state.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import threading
import traceback
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path

from duskhold.camera.address import Way, parse_address
from duskhold.camera.plugged import watch_plugs
from duskhold.camera.port import Camera
from duskhold.camera.usb_reset import Reset, reset_camera
from duskhold.shutter.blackbox import BlackBox, BoxLine
from duskhold.shutter.camera_thread import CameraThread
from duskhold.shutter.clock import boot_id
from duskhold.shutter.control import Control, obey_signals
from duskhold.shutter.desk import Desk
from duskhold.shutter.errands import Errands
from duskhold.shutter.events import Box
from duskhold.shutter.hands import Hands
from duskhold.shutter.leftover import left_over
from duskhold.shutter.log import say
from duskhold.shutter.machine import Machine
from duskhold.shutter.places import Places, holder_lock
from duskhold.shutter.priority import lock_memory
from duskhold.shutter.recycling import FRAMES_MAX, Wear
from duskhold.shutter.stock import Stock

RELEASED = 0
OCCUPIED = 75  # another holder of this camera lives
RECYCLED = 69  # released between frames, for its successor to start at once
DIED = 70  # ended by itself, for its successor to close the shutter

Builder = Callable[[str, Path, Mapping[str, object]], Camera]


def hold(
    camera: Camera,
    places: Places,
    wear: Wear,
    nap: Callable[[float], None] | None = None,
    reset: Callable[[], Reset] | None = None,
    stay_in_memory: Callable[[], str | None] | None = None,
    address: str | None = None,
) -> int:
    """Own `camera` until it is released; returns the exit status. The process must be the camera's only owner.

    `nap` is the pause between two looks for a camera that is lost; `reset` resets the device behind the lead;
    `stay_in_memory` keeps this process from being swapped out, or says what is missing for it; `address` is what
    whoever asks is told of the camera.
    """
    lock = holder_lock(places)
    if not lock.take():
        return OCCUPIED
    box = BlackBox(places.black_box)
    die = _dying(box)
    _die_of_any_surprise(die)
    desk = Desk(Machine(), address=address)
    notice = None if stay_in_memory is None else stay_in_memory()
    if notice is not None:
        desk.notices.append(notice)
    errands = Errands(camera, Stock(places.stock), desk.seen)
    begin = left_over(_lines_of(box, desk), boot_id())
    if desk.past_unread is None and begin.frame is None and not begin.reports and not begin.latched:
        _shorten(box)
    control = Control(desk, box, errands, places.socket, die, wear)
    obey_signals(control, desk)
    write = partial(_write, box)
    hands = Hands(camera, desk, errands, write, die, nap=nap, reset=reset)
    CameraThread(hands, desk, begin).start()
    control.serve()
    box.close()
    return RECYCLED if desk.machine.recycled else RELEASED


def main(build: Builder, arguments: Sequence[str] | None = None) -> None:
    """Entry of the process. Never returns: `os._exit` leaves no camera destructor to run over a dead link."""
    parser = argparse.ArgumentParser(prog="duskhold-holder")
    parser.add_argument("--camera", required=True)
    parser.add_argument("--runtime", type=Path, required=True)
    parser.add_argument("--state", type=Path, required=True)
    parser.add_argument("--simulation", type=json.loads, default={})
    parser.add_argument("--recycle-after", type=int, default=FRAMES_MAX, help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    places = Places(options.runtime, options.state)
    places.ensure_there()
    camera = build(options.camera, options.state, options.simulation)
    address = parse_address(options.camera)
    is_usb = address.way is Way.USB
    watch = watch_plugs() if is_usb else None
    nap, reset = None if watch is None else watch.nap, partial(reset_camera, address.serial) if is_usb else None
    # The simulated body draws its pictures in this process, with 30 times the memory that holding a shutter takes.
    stay = None if address.way is Way.SIMULATED else lock_memory
    status = hold(camera, places, Wear(frames_max=options.recycle_after), nap, reset, stay, options.camera)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)


def _write(box: BlackBox, line: Box) -> None:
    box.write(line.word, line.frame_id, line.detail)


def _lines_of(box: BlackBox, desk: Desk) -> list[BoxLine]:
    """What the box has, or nothing where the disk does not give it: the shutter is closed all the same."""
    try:
        return box.lines()
    except OSError as error:
        desk.past_unread = f"the black box cannot be read, and what it says of earlier frames is not known: {error}"
        desk.notices.append(desk.past_unread)
        say(desk.past_unread)
        return []


def _shorten(box: BlackBox) -> None:
    try:
        box.shorten()
    except OSError as error:
        say(f"the black box cannot be shortened: {error}")


def _dying(box: BlackBox) -> Callable[[str], None]:
    def die(reason: str) -> None:
        try:
            box.write("died", None, {"reason": reason})
        except OSError as error:
            say(f"dying ({reason}), and the black box cannot be written: {error}")
        finally:
            os._exit(DIED)

    return die


def _die_of_any_surprise(die: Callable[[str], None]) -> None:
    """A thread that ends by a programmer's error would leave the shutter to nobody: end the process instead."""

    def surprised(kind: type[BaseException], error: BaseException, trace: object) -> None:
        traceback.print_exception(error)
        sys.stderr.flush()
        die(f"{kind.__name__}: {error}")

    def in_thread(hook: threading.ExceptHookArgs) -> None:
        surprised(hook.exc_type, hook.exc_value or hook.exc_type(), None)

    threading.excepthook = in_thread
    sys.excepthook = surprised
