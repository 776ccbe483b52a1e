"""A process that has served long enough ends between frames, and nowhere else."""

from __future__ import annotations

from dataclasses import replace

import pytest
from paper import PaperCamera

from duskhold.camera.port import Closing
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.events import (
    Box,
    CaptureCompleted,
    CloseAnswered,
    Collected,
    Connected,
    End,
    Event,
    ExposeAsked,
    HoldEnded,
    OpenAnswered,
    RecycleAsked,
    Refused,
    Started,
)
from duskhold.shutter.machine import Machine
from duskhold.shutter.phase import Phase
from duskhold.shutter.recycling import FRAMES_MAX, GROWTH_MAX_BYTES, Wear, resident_bytes
from duskhold.shutter.report import Exposure, Kind, Outcome
from duskhold.shutter.stepped import SteppedShutter

PLAN = Exposure("f1", Kind.HELD, 5.0, 10.0, 0.0, 0.005, "here")
STORY: tuple[Event, ...] = (
    Started(),
    Connected(),
    CloseAnswered(Closing.CLOSED, 0.0),
    ExposeAsked(PLAN, 0.0),
    OpenAnswered(1.0, 1.0),
    HoldEnded(6.0),
    CloseAnswered(Closing.CLOSED, 6.0),
    CaptureCompleted(),
    Collected("f1"),
)
ASKED = RecycleAsked("enough")


@pytest.mark.parametrize("taken", range(len(STORY) + 1))
def test_it_ends_only_with_nothing_open_untold_or_uncollected(taken: int) -> None:
    machine = Machine()
    for number, event in enumerate(STORY[:taken]):
        machine.step(event, float(number))
    effects = machine.step(ASKED, 10.0)
    if taken in (3, len(STORY)):
        frames = 0 if taken == 3 else 1
        assert effects == [Box("recycled", None, {"reason": "enough", "frames": frames}), End()]
        assert machine.recycled
        assert isinstance(machine.step(ExposeAsked(PLAN, 0.0), 11.0)[0], Refused)
    else:
        assert effects == []
        assert machine.phase is not Phase.RELEASED


def test_every_third_frame_a_new_life_begins_and_no_frame_is_lost() -> None:
    clock = SimulatedClock(1000.0)
    camera = PaperCamera(clock)
    shutter = SteppedShutter(camera, clock.as_clock(), 1.7e9, slice_s=0.1, wear=Wear(frames_max=3))
    for number in range(8):
        report = shutter.expose(replace(PLAN, frame_id=f"f{number}"))
        assert report.outcome is Outcome.COMPLETE
        shutter.idle(1.0)
        shutter.collect(report.frame_id)
    words = [line.word for line in shutter.lines if line.word in ("started", "collected", "recycled", "died")]
    third = ["collected"] * 3
    assert words == ["started", *third, "recycled", "started", *third, "recycled", "started", "collected", "collected"]
    assert len(camera.openings) == 8
    assert all(closed_s is not None for _, closed_s in camera.openings)


def test_frames_and_memory_wear_it_out() -> None:
    wear = Wear()
    assert wear.reason(FRAMES_MAX - 1, GROWTH_MAX_BYTES) is None
    assert wear.reason(FRAMES_MAX, 0) == "200 frames in one process"
    assert wear.reason(0, GROWTH_MAX_BYTES + 1) == "its memory grew by 200 MB"


def test_the_memory_of_this_process_is_seen_to_grow() -> None:
    before = resident_bytes()
    kept = bytearray(b"x") * 50_000_000
    assert 40_000_000 < resident_bytes() - before < 80_000_000
    assert len(kept) == 50_000_000
