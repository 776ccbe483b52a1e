"""How late the shutter process opens and closes, beside a bare libgphoto2 loop on the same served body, in one run.

    .venv/bin/python tests/bench/shutter_lateness.py [--frames 20]

The body's own log is the clock of both: opening is from the order to `pressed`, closing is what the time from `pressed`
to `released` has over the time that was asked for. Idle, while frames are measured by one process a core at the lowest
priority, and with one busy process on every core.

The bare loop's openings carry two pauses of about 43 ms that TCP makes on loopback (delayed acknowledgements; there are
none over USB); our adapter turns them off on the library's sockets. Compare the closings.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from duskhold.camera.serving import ServedBody
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.launch import ensure_holder
from duskhold.shutter.places import Places
from duskhold.shutter.report import Exposure, Kind

HOLD_S = 0.4
BODY = ("--profile", "width=96", "--profile", "height=64", "--profile", "storing_s=0.05", "--filters", "none")
BARE = """
import sys, time, gphoto2
frames, hold_s, address = int(sys.argv[1]), float(sys.argv[2]), sys.argv[3]
ports = gphoto2.PortInfoList(); ports.load()
abilities = gphoto2.CameraAbilitiesList(); abilities.load()
camera = gphoto2.Camera()
camera.set_abilities(abilities.get_abilities(abilities.lookup_model("PTP/IP Camera")))
camera.set_port_info(ports.get_info(ports.lookup_path(address)))
camera.init()
widget = camera.get_single_config("bulb")
for _ in range(frames):
    print(time.clock_gettime(time.CLOCK_BOOTTIME), flush=True)
    widget.set_value(1)
    camera.set_single_config("bulb", widget)
    time.sleep(hold_s)
    widget.set_value(0)
    camera.set_single_config("bulb", widget)
    time.sleep(0.3)
"""


@dataclass(frozen=True, slots=True)
class Lateness:
    """Milliseconds, one of each a frame."""

    opening_ms: list[float]
    closing_ms: list[float]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=20)
    frames = parser.parse_args().frames
    print(f"{frames} frames of {HOLD_S} s each way; ms, median and largest")
    print(f"{'':12}{'opening':>26}{'closing':>26}")
    cores = os.cpu_count() or 1
    for name, work, processes in (("idle", _spin, 0), ("measuring", _measure, cores), ("busy cores", _spin, cores)):
        with _busy(work, processes):
            bare, ours = _bare(frames), _ours(frames)
        _row(f"{name}, bare", bare)
        _row(f"{name}, ours", ours)
        _ratio(bare, ours)


def _bare(frames: int) -> Lateness:
    with _body() as body:
        line = [sys.executable, "-c", BARE, str(frames), str(HOLD_S), body.address]
        environment = os.environ | {"HOME": str(body.card.parent), "XDG_CONFIG_HOME": str(body.card.parent)}
        ran = subprocess.run(line, capture_output=True, text=True, check=True, env=environment, timeout=600)
        return _lateness(body, [float(word) for word in ran.stdout.split()])


def _ours(frames: int) -> Lateness:
    with _body() as body:
        folder = body.card.parent
        link = ensure_holder(body.address, Places(folder / "run", folder / "state"), {}, patience_s=5.0)
        ordered = []
        for number in range(frames):
            ordered.append(mono_now_s())
            link.expose(Exposure(f"f{number}", Kind.HELD, HOLD_S, HOLD_S + 5.0, 0.0, 0.0, "bench"))
            while not (state := link.state())["reports"] or state["phase"] != "ready":
                time.sleep(0.05)
            link.collected(f"f{number}")
            time.sleep(0.3)
        for notice in link.state()["notices"] if frames else ():  # type: ignore[attr-defined]
            print(f"  note: {notice}")
        link.release()
        link.close()
        return _lateness(body, ordered)


def _lateness(body: ServedBody, ordered: Sequence[float]) -> Lateness:
    pressed = [line.now_mono for line in body.lines("pressed")]
    released = [line.now_mono for line in body.lines("released") if line.detail.get("result") == "closed"]
    assert len(ordered) == len(pressed) == len(released), "every order is one opening and one closing"
    return Lateness(
        [(at - asked) * 1000 for asked, at in zip(ordered, pressed, strict=True)],
        [(end - at - HOLD_S) * 1000 for at, end in zip(pressed, released, strict=True)],
    )


@contextmanager
def _body() -> Iterator[ServedBody]:
    with tempfile.TemporaryDirectory(prefix="dh-") as folder, ServedBody(Path(folder), BODY) as body:
        yield body


@contextmanager
def _busy(work: Callable[[], None], processes: int) -> Iterator[None]:
    busy = [multiprocessing.Process(target=work, daemon=True) for _ in range(processes)]
    for process in busy:
        process.start()
    try:
        yield
    finally:
        for process in busy:
            process.kill()
            process.join()


def _spin() -> None:
    until_s = time.monotonic() + 600.0  # bounded, should nobody end it
    while time.monotonic() < until_s:
        pass


def _measure() -> None:
    """Two noisy pictures of 12 million pixels compared again and again, by the process that measures frames."""
    import cv2
    import numpy as np

    from duskhold.frames.worker import Question, Worker

    until_s = time.monotonic() + 600.0
    rng = np.random.default_rng(1)
    scene = cv2.resize(rng.integers(40, 200, (375, 500, 3)).astype(np.uint8), (4000, 3000))
    with tempfile.TemporaryDirectory(prefix="dh-") as folder:
        names = [f"{folder}/{name}.jpg" for name in ("base", "long")]
        for name in names:
            cv2.imwrite(name, scene)
        with Worker() as worker:
            while time.monotonic() < until_s:
                worker.ask(Question(names[0], names[1]))


def _row(name: str, measured: Lateness) -> None:
    cells = (f"{statistics.median(one):11.2f} {max(one):13.2f}" for one in (measured.opening_ms, measured.closing_ms))
    print(f"{name:18}" + "".join(cells))


def _ratio(bare: Lateness, ours: Lateness) -> None:
    for word, one, other in (
        ("opening", bare.opening_ms, ours.opening_ms),
        ("closing", bare.closing_ms, ours.closing_ms),
    ):
        first, second = statistics.median(one), statistics.median(other)
        print(f"  {word}: ours over bare {second / first:.2f}, {second - first:+.2f} ms in the median")


if __name__ == "__main__":
    main()
