"""Latency from levels: the arithmetic against made-up bodies whose latency is known."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.plan.latency import HeldFrame, NotLearnable, interleave, learn_latency


def frames(latency_s: float, dial_s: float, jitter_s: list[float], rate: float) -> list[HeldFrame]:
    """Held frames between dial frames in light that changes by a factor `rate` from frame to frame."""
    light = 1000.0
    dials, held = [light * dial_s], []
    for jitter in jitter_s:
        light *= rate
        held.append((light * (dial_s + latency_s + jitter), dial_s))
        light *= rate
        dials.append(light * dial_s)
    return interleave(dials, held)


@given(st.floats(-0.2, 0.2), st.sampled_from([0.5, 1.0, 2.0]), st.floats(0.97, 1.03))
def test_the_latency_comes_out_whatever_the_steady_drift(latency_s: float, dial_s: float, rate: float) -> None:
    learnt = learn_latency(frames(latency_s, dial_s, [0.0] * 4, rate), dial_s)
    assert learnt.latency_s == pytest.approx(latency_s, abs=1e-9)


def test_the_spread_is_the_doubt_of_one_later_frame() -> None:
    learnt = learn_latency(frames(-0.025, 1.0, [0.004, -0.004, 0.004, -0.004], 1.0), 1.0)
    # Sample standard deviation of +-4 ms is 4.619 ms; times sqrt(1 + 1/4).
    assert learnt.sigma_s == pytest.approx(0.004619 * 1.25**0.5, rel=1e-3)
    assert learnt.latency_s == pytest.approx(-0.025)


def test_light_that_jumps_is_refused() -> None:
    with pytest.raises(NotLearnable, match="steadier"):
        learn_latency(frames(0.0, 1.0, [0.0] * 4, 1.06), 1.0)


def test_too_few_frames_are_refused() -> None:
    with pytest.raises(NotLearnable, match="too few"):
        learn_latency(frames(0.0, 1.0, [0.0] * 2, 1.0), 1.0)


def test_a_black_frame_is_refused() -> None:
    with pytest.raises(NotLearnable, match="no light"):
        learn_latency([HeldFrame(10.0, 0.0, 10.0, 1.0)] * 3, 1.0)
