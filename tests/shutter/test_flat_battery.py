"""A body whose battery dies in the frame closes by itself: nobody can say when, and no record says so."""

from collections.abc import Mapping

import pytest

from duskhold.camera.body import SimulatedBody
from duskhold.camera.card import MemoryCard
from duskhold.camera.faults import Faults, Strike
from duskhold.camera.shot import BodyProfile
from duskhold.camera.simulated import SimulatedCamera
from duskhold.camera.stage import Stage
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.report import Exposure, Kind, Outcome, ShutterReport
from duskhold.shutter.stepped import SteppedShutter

OPEN_S = 30.0
FLAT_S = 12.0


def report_of(faults: Faults, settings: Mapping[str, str] | None = None) -> tuple[ShutterReport, float]:
    """What is told of one frame, and how long the shutter was truly open."""
    clock = SimulatedClock()
    body = SimulatedBody(BodyProfile(render=False, settings=settings or {}), Stage(), MemoryCard(), faults)
    camera = SimulatedCamera(body, clock.now_s, lambda seconds: clock.sleep_until(clock.now_s() + seconds))
    shutter = SteppedShutter(camera, clock.as_clock(), 0.0, 1.0)
    report = shutter.expose(Exposure("f1", Kind.HELD, OPEN_S, OPEN_S + 5.0, -0.025, 0.003, "here"))
    shutter.close()
    opened, closed = (next(line for line in body.log if line.word == word) for word in ("opened", "closed"))
    return report, closed.now_s - opened.now_s


def test_the_record_bounds_what_nobody_can_know() -> None:
    report, true_s = report_of(Faults(battery_flat_at_s=FLAT_S))
    assert true_s == pytest.approx(FLAT_S, abs=0.5)
    assert report.outcome is Outcome.CUT_SHORT
    assert report.open_s is None
    assert report.open_s_range is not None
    assert report.open_s_range[0] <= true_s <= report.open_s_range[1]


def test_behind_a_dark_frame_of_its_own_only_the_picture_can_tell_and_the_report_says_that_it_denied() -> None:
    report, true_s = report_of(Faults(battery_flat_at_s=FLAT_S), {"dark_frame": "on"})
    assert true_s == pytest.approx(FLAT_S, abs=0.5)
    assert report.denied
    assert ShutterReport.from_message(report.as_message()).denied


def test_a_closing_that_was_answered_with_an_error_is_still_told_exactly() -> None:
    report, true_s = report_of(Faults(stop_error=Strike.first(1)))
    assert report.outcome is Outcome.COMPLETE
    assert report.open_s == pytest.approx(true_s, abs=0.05)
