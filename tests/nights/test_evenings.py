"""A thousand whole evenings from seeds: place, date, outing, weather, faults, a person, one crash each.

The rules are held against the body's own log and the journal, not against what the evening machine says of itself.
Fifty of them run in CI; all thousand by name:
`pytest tests/nights/test_evenings.py -m "slow or not slow" -n 2 --dist worksteal`.
"""

from dataclasses import replace
from functools import cache

import pytest
from whole_evening import Told, broken_rules, openings, takes, tell

from duskhold.plan.role import Role
from duskhold.shutter.report import Outcome

IN_CI = 50
ALL = 1000
CHUNK = 25


@cache
def told(seed: int) -> Told:
    return tell(seed)


@pytest.mark.parametrize("seed", range(IN_CI))
def test_no_rule_is_broken(seed: int) -> None:
    assert broken_rules(told(seed)) == []


@pytest.mark.slow
@pytest.mark.parametrize("first", range(IN_CI, ALL, CHUNK))
def test_no_rule_is_broken_in_the_rest_of_a_thousand(first: int) -> None:
    assert {seed: broken for seed in range(first, first + CHUNK) if (broken := broken_rules(tell(seed)))} == {}


def test_the_evenings_are_worth_the_name() -> None:
    """Rules that hold because nothing happens hold nothing."""
    evenings = [told(seed) for seed in range(IN_CI)]
    roles = [take.role for each in evenings for _, take in takes(each)]
    outcomes = {frame.outcome.outcome for each in evenings for frame in each.frames if frame.outcome is not None}
    said = {effect.word for each in evenings for _, effect in each.log.effects if hasattr(effect, "word")}
    assert roles.count(Role.LONG) > 4 * IN_CI
    assert {Role.BASE, Role.SCOUT, Role.LONG, Role.DARK} <= set(roles)
    assert {Outcome.COMPLETE.value, Outcome.LINK_LOST.value, Outcome.REFUSED.value} <= outcomes
    assert {"prompt", "verified", "denied", "unanswered", "change_ahead", "held"} <= said
    assert len({each.stop for each in evenings}) >= 6
    assert sum(bool(each.log.restarts) for each in evenings) > IN_CI / 3


def test_the_same_seed_is_the_same_evening() -> None:
    assert tell(7).digest == told(7).digest


def test_a_broken_rule_is_seen() -> None:
    """What the rules say of an evening whose log was doctored."""
    good = next(told(seed) for seed in range(IN_CI) if len(openings(told(seed))) > 3 and told(seed).pack_utc)
    closes = [line for line in good.body if line.word == "closed"]
    stuck = tuple(line for line in good.body if line is not closes[1])
    assert any("past its cap" in one or "without a close" in one for one in broken_rules(replace(good, body=stuck)))
    begins_utc = good.chance.world.begins_utc
    assert any("packing" in one for one in broken_rules(replace(good, pack_utc=begins_utc)))
    assert any("without a settled outcome" in one for one in broken_rules(replace(good, unfinished=1)))
    assert any("on the card" in one for one in broken_rules(replace(good, disk=frozenset())))
    assert any("without a reason" in one for one in broken_rules(replace(good, stop=None)))
    unfitted = (
        replace(told(seed), body=tuple(line for line in told(seed).body if line.word != "fitted"))
        for seed in range(IN_CI)
    )
    assert any("are on where" in one for each in unfitted for one in broken_rules(each))
