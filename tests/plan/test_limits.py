"""Limits that contradict each other are refused before they are used."""

import math
from dataclasses import fields, replace

import pytest

from duskhold.plan.limits import BadLimits, Limits


def test_the_usual_limits_agree_with_each_other() -> None:
    assert Limits().correction_max_stops == 1.5


@pytest.mark.parametrize("name", [field.name for field in fields(Limits)])
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_every_limit_is_a_positive_number(name: str, value: float) -> None:
    with pytest.raises(BadLimits) as caught:
        replace(Limits(), **{name: value})
    assert caught.value.field == name


@pytest.mark.parametrize(
    ("name", "value"),
    [("shortest_s", 1800.0), ("opening_slip_max_s", 900.0), ("cap_margin_s", 1800.0)],
)
def test_limits_are_checked_against_each_other(name: str, value: float) -> None:
    with pytest.raises(BadLimits, match=name) as caught:
        replace(Limits(), **{name: value})
    assert caught.value.field == name
