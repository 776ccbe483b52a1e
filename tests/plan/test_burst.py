"""Stacks of short frames: the waterfall worked by hand, and pacing against a fluid model of buffer and lead."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.plan.burst import BurstKit, noise_without, plan_burst

KIT = BurstKit(gap_s=0.9, picture_bytes=52e6, lead_bytes_per_s=25e6, buffer_frames=20)


def test_at_the_waterfall() -> None:
    found = plan_burst(1 / 32, 3.1, 64, KIT)
    assert found.frame_s == pytest.approx(0.268, abs=0.0005)
    assert found.open_s == pytest.approx(17.15, abs=0.005)
    assert found.equals_stops == pytest.approx(9.1)
    assert found.noise_divided_by == 8.0 and noise_without(64, 1) == pytest.approx(7.94, abs=0.005)
    assert found.needed_bytes == pytest.approx(3.33e9, rel=0.001)
    assert KIT.transfer_s == pytest.approx(2.08)
    assert found.unpaced_s == pytest.approx(74.7, abs=0.05) and found.backlog_frames == 28
    assert found.full_after_s == pytest.approx(53, abs=1.0) and found.full_at_frame in (45, 46)
    assert found.shot_s == pytest.approx(91.5, abs=1.0)
    assert found.home_s == pytest.approx(133, abs=1.33)


def test_a_fast_lead_never_waits() -> None:
    found = plan_burst(0.5, 0.0, 30, BurstKit(1.0, 10e6, 25e6, 4))
    assert found.full_at_frame is None and found.full_after_s is None
    assert found.shot_s == pytest.approx(found.unpaced_s) and found.backlog_frames == 0


@given(st.integers(2, 200), st.floats(0.05, 3.0), st.floats(0.1, 3.0), st.floats(0.3, 6.0), st.integers(1, 40))
def test_pacing_is_that_of_a_tank(frames: int, frame_s: float, gap_s: float, transfer_s: float, buffer: int) -> None:
    """A tank filled by the camera and drained by the lead is full when the difference is the buffer."""
    found = plan_burst(frame_s, 0.0, frames, BurstKit(gap_s, transfer_s * 1e6, 1e6, buffer))
    cycle_s = frame_s + gap_s
    slower_s = max(cycle_s, transfer_s)
    assert found.home_s == pytest.approx(frames * slower_s, abs=2.0 * max(slower_s, cycle_s))
    if transfer_s <= cycle_s:
        assert found.full_at_frame is None
    elif found.full_at_frame is not None:
        tank_frames = buffer / (1.0 - cycle_s / transfer_s)
        assert found.full_at_frame == pytest.approx(tank_frames, abs=1.0 + 2.0 * tank_frames / buffer)
