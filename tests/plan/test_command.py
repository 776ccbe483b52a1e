"""Only `authorize` makes an order to the shutter, and it refuses what may not be opened."""

import ast
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import duskhold
from duskhold.plan.command import (
    FrameId,
    RefusalCode,
    Refused,
    ShutterCommand,
    authorize,
    authorize_hold,
    authorize_short,
)
from duskhold.plan.decision import Change, ExposureDecision, LightReading, SteadyDrift, solve
from duskhold.plan.limits import Limits

FRAME = FrameId("20261014-172110-3f2a")
METERED = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)
OPENS = METERED + timedelta(seconds=70)


def decided(base_s: float = 0.25, stops: float = 9.0, rate: float = -0.18) -> ExposureDecision:
    return solve(LightReading(base_s, METERED), Change(stops), SteadyDrift(rate), OPENS, Limits())


def test_a_good_decision_becomes_a_command_with_an_end() -> None:
    decision = decided()
    command = authorize(FRAME, decision, Limits(), OPENS)
    assert isinstance(command, ShutterCommand)
    assert command.frame_id == FRAME
    assert command.open_s == decision.open_s
    assert command.cap_s == command.open_s + Limits().cap_margin_s
    assert command.decision is decision


@pytest.mark.parametrize(
    ("decision", "limits", "late_s", "code", "said"),
    [
        (decided(stops=12.0), Limits(), 0.0, RefusalCode.LIGHT_NEVER_SUFFICES, "does not suffice"),
        (decided(), Limits(longest_s=60.0), 0.0, RefusalCode.LONGER_THAN_ALLOWED, "longest_s"),
        (decided(stops=1.0), Limits(shortest_s=1.0), 0.0, RefusalCode.SHORTER_THAN_ALLOWED, "shortest_s"),
        (decided(stops=10.6), Limits(), 0.0, RefusalCode.CORRECTION_TOO_LARGE, "correction_max_stops"),
        (decided(), Limits(), 900.0, RefusalCode.READING_TOO_OLD, "reading_age_max_s"),
        (decided(), Limits(), 2.1, RefusalCode.OPENING_MISSED, "too late"),
        (decided(), Limits(), -2.1, RefusalCode.OPENING_MISSED, "too early"),
    ],
)
def test_refusals_name_the_limit_and_what_would_help(
    decision: ExposureDecision, limits: Limits, late_s: float, code: RefusalCode, said: str
) -> None:
    refused = authorize(FRAME, decision, limits, OPENS + timedelta(seconds=late_s))
    assert isinstance(refused, Refused)
    assert refused.code is code
    assert said in refused.reason
    assert refused.hint.endswith(".")


@given(st.floats(min_value=-1.9, max_value=1.9))
def test_a_small_slip_is_no_reason_to_refuse(late_s: float) -> None:
    found = authorize(FRAME, decided(), Limits(), OPENS + timedelta(seconds=late_s))
    assert isinstance(found, ShutterCommand)


@given(st.floats(min_value=1e-3, max_value=1e6))
def test_a_hold_is_ordered_exactly_within_the_limits(seconds: float) -> None:
    limits = Limits()
    found = authorize_hold(FRAME, seconds, limits)
    if isinstance(found, ShutterCommand):
        assert limits.shortest_s <= found.open_s == seconds <= limits.longest_s
        assert found.open_s < found.cap_s
    else:
        assert not limits.shortest_s <= seconds <= limits.longest_s


def test_a_hold_is_bound_by_the_limits_given() -> None:
    assert isinstance(authorize_hold(FRAME, 3.0, replace(Limits(), longest_s=30.0)), ShutterCommand)
    assert isinstance(authorize_hold(FRAME, 31.0, replace(Limits(), longest_s=30.0)), Refused)


@pytest.mark.parametrize("decision", [decided(stops=12.0), decided(stops=10.6), decided()])
def test_what_falls_short_is_held_for_the_longest_time_where_a_person_wants_it(decision: ExposureDecision) -> None:
    limits = Limits(longest_s=120.0)
    found = authorize_short(FRAME, decision, limits, OPENS)
    assert isinstance(found, ShutterCommand)
    assert (found.open_s, found.cap_s, found.decision) == (120.0, 120.0 + limits.cap_margin_s, decision)
    stale = authorize_short(FRAME, decision, limits, METERED + timedelta(seconds=limits.reading_age_max_s + 1.0))
    assert isinstance(stale, Refused) and stale.code is RefusalCode.READING_TOO_OLD
    late = authorize_short(FRAME, decision, limits, OPENS + timedelta(seconds=3.0))
    assert isinstance(late, Refused) and late.code is RefusalCode.OPENING_MISSED


def test_what_can_be_finished_is_held_as_it_was_decided() -> None:
    assert authorize_short(FRAME, decided(), Limits(), OPENS) == authorize(FRAME, decided(), Limits(), OPENS)
    odd = authorize_short(FRAME, decided(stops=10.6), Limits(), OPENS)  # within the longest time, but too far ahead
    assert isinstance(odd, Refused) and odd.code is RefusalCode.CORRECTION_TOO_LARGE


def test_nothing_else_in_the_package_makes_a_command() -> None:
    makers = [
        source.name
        for source in Path(duskhold.__file__).parent.rglob("*.py")
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and "ShutterCommand" in ast.unparse(node.func)
    ]
    assert set(makers) == {"command.py"}
