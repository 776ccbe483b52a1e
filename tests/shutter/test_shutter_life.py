"""Any order of exposures, faults, stops, deaths and waits: the truth on paper never breaks the shutter's rules."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from paper import CLOSE_FAULTS, OPEN_FAULTS, PaperCamera, true_open_s

from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.holder_link import HolderRefused
from duskhold.shutter.phase import Phase
from duskhold.shutter.report import Exposure, Kind, Outcome, ShutterReport
from duskhold.shutter.stepped import SteppedShutter


class ShutterLife(RuleBasedStateMachine):
    """One camera on paper, one shutter, and whatever comes."""

    @initialize(open_latency=st.floats(0, 0.2), close_latency=st.floats(0, 0.2))
    def begin(self, open_latency: float, close_latency: float) -> None:
        self.clock = SimulatedClock(1000.0)
        self.camera = PaperCamera(self.clock, open_latency, close_latency)
        self.latency_s = close_latency - open_latency
        self.shutter = SteppedShutter(self.camera, self.clock.as_clock(), 1.7e9, slice_s=0.1)
        self.count = 0
        self.lead_is_loose = False  # a pull that was set for one frame may come in the next
        self.last: ShutterReport | None = None

    @precondition(lambda self: self.last is None)
    @rule(
        open_s=st.floats(0.5, 20.0),
        opening=st.lists(st.sampled_from(OPEN_FAULTS), max_size=1),
        closing=st.lists(st.sampled_from(CLOSE_FAULTS), max_size=4),
        stop_after=st.none() | st.floats(0, 25),
        drop_after=st.none() | st.floats(0, 25),
        away_s=st.floats(0.1, 120),
        body_closes=st.booleans(),
    )
    def expose(
        self,
        open_s: float,
        opening: list[str],
        closing: list[str],
        stop_after: float | None,
        drop_after: float | None,
        away_s: float,
        body_closes: bool,
    ) -> None:
        if not self.shutter.ready():
            return
        self.count += 1
        now_s = self.clock.now_s()
        self.camera.closes_when_link_goes = body_closes
        if stop_after is not None:
            self.clock.at(now_s + stop_after, self.shutter.ask_to_close)
        if drop_after is not None:
            self.clock.at(now_s + drop_after, self.camera.drop)
            self.clock.at(now_s + drop_after + away_s, self.camera.plug_in)
        unheard = any(fault.startswith(("lost", "hung")) for fault in closing)
        if drop_after is not None or self.lead_is_loose or unheard or "opened_then_no" in opening:
            # A body that answers a closing wrongly after something else went wrong is taken at its word.
            closing = [fault for fault in closing if fault != "closed_then_no"]
        self.lead_is_loose |= drop_after is not None
        faults = bool(opening or closing or self.lead_is_loose)
        self.camera.open_faults, self.camera.close_faults = opening, closing
        before = len(self.camera.openings)
        plan = Exposure(f"f{self.count}", Kind.HELD, open_s, open_s + 2, self.latency_s, 0.002, "here")
        report = self.shutter.expose(plan)
        self.last = report
        opened = len(self.camera.openings) - before
        assert opened <= 1, "one opening for one intent"
        if not report.settled:
            return
        assert not self.camera.is_open
        self._true(report, opened, plan, faults)

    def _true(self, report: ShutterReport, opened: int, plan: Exposure, faults: bool) -> None:
        truth = true_open_s(self.camera) if opened else 0.0
        if report.outcome is Outcome.REFUSED:
            assert opened == 0
        if report.outcome is Outcome.COMPLETE:
            assert opened == 1
            assert truth == pytest.approx(plan.open_s, abs=max(0.6, 0.02 * plan.open_s))
        if report.open_s is not None and report.open_s_range is None:
            assert report.open_s == pytest.approx(truth, abs=0.01)
        if report.open_s_range is not None:
            assert report.open_s_range[0] - 0.21 <= truth <= report.open_s_range[1] + 0.21
        if not faults:
            assert truth <= plan.cap_s + 0.01

    @precondition(lambda self: self.last is not None)
    @rule()
    def collect(self) -> None:
        assert self.last is not None
        self.shutter.collect(self.last.frame_id)
        self.last = None

    @rule(seconds=st.floats(0.5, 90))
    def idle(self, seconds: float) -> None:
        self.shutter.idle(seconds)

    @rule()
    def killed(self) -> None:
        openings = len(self.camera.openings)
        self.shutter.live_again()
        assert len(self.camera.openings) == openings

    @precondition(lambda self: self.shutter.machine.latched)
    @rule()
    def look_and_clear(self) -> None:
        openings = len(self.camera.openings)
        try:
            self.shutter.clear_latch()
        except HolderRefused:
            assert self.shutter.machine.phase not in (Phase.READY, Phase.STORING)
        assert len(self.camera.openings) == openings

    @invariant()
    def every_opening_was_written_first(self) -> None:
        opening = [line for line in self.shutter.lines if line.word == "opening"]
        assert len(opening) == self.count >= len(self.camera.openings)

    @invariant()
    def ready_means_closed(self) -> None:
        if self.shutter.machine.phase in (Phase.READY, Phase.STORING):
            assert not self.camera.is_open

    def teardown(self) -> None:
        if not hasattr(self, "camera"):
            return
        self.camera.close_faults = []
        self.camera.plug_in()
        self.shutter.idle(200.0)
        assert not self.camera.is_open, "the shutter is closed in the end, whatever happened"


ShutterLife.TestCase.settings = settings(
    max_examples=150, stateful_step_count=12, deadline=None, suppress_health_check=list(HealthCheck)
)
TestShutterLife = ShutterLife.TestCase
