"""Orders to the camera as an evening gives them: each has its end, and says from what it was reasoned."""

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Final

from duskhold.light.dials import ISO, SHUTTER
from duskhold.plan.command import FrameId, Refused, authorize
from duskhold.plan.evening_words import Take
from duskhold.plan.outing import Base, Outing
from duskhold.plan.role import Role
from duskhold.plan.scout import isos_for, plan_scout
from duskhold.plan.series import NextFrame, SetUp
from duskhold.plan.stamp import utc_text

SHORTEST_WATCH_S: Final = 1.0 / 1024.0
"""Every body's dial goes so far."""


def base_order(outing: Outing, set_up: SetUp, base: Base) -> Take:
    """The short frame for the bare lens, by the dial."""
    return Take(
        Role.BASE, base.true_s, base.true_s + outing.limits.cap_margin_s, base.dial, (), set_up.aperture.name,
        outing.kit.iso.name, {"role": "base"},
    )  # fmt: skip


def watch_base(outing: Outing, asked_stops: float) -> Base:
    """The dial for a base frame of a watch whose light asks for 2 ** `asked_stops` seconds: the outing's own within
    half a stop, else in full stops, which are the same on a dial of thirds and on one of halves, as far as a dial goes.

    In stops, since a rate that is taken for the next day's makes more of them than a number of seconds can have.
    """
    base = outing.want.base
    assert base is not None, "checked by the outing"
    if abs(asked_stops - math.log2(base.true_s)) <= 0.5:
        return base
    least_stops, most_stops = math.log2(SHORTEST_WATCH_S), math.log2(SHUTTER.thirds[0].true_value)
    mark = SHUTTER.nearest(2.0 ** round(max(least_stops, min(most_stops, asked_stops))))
    return Base(mark.name, mark.true_value)


def scout_order(outing: Outing, set_up: SetUp, long_s: float) -> Take:
    """A short frame at high ISO behind the filters, with about the exposure of a long frame of `long_s`."""
    iso = isos_for(long_s, set_up.iso.true_value, 0.0)[0]
    dial = plan_scout(long_s, set_up.iso.true_value, 0.0, iso).mark
    return Take(
        Role.SCOUT, dial.true_value, dial.true_value + outing.limits.cap_margin_s, dial.name, set_up.filters,
        set_up.aperture.name, ISO.nearest(iso).name, {"role": "scout", "of_long_s": long_s, **_glass(outing, set_up)},
    )  # fmt: skip


def long_order(outing: Outing, frame: NextFrame, now_utc: datetime, why: Mapping[str, object]) -> Take | Refused:
    """The long frame, if it may be opened now."""
    command = authorize(_ANY, frame.decision, outing.limits, now_utc)
    if isinstance(command, Refused):
        return command
    decision = frame.decision
    reasoning = {
        "base_s": decision.base_s,
        "metered_utc": utc_text(decision.reading.metered_utc),
        "plain_s": decision.plain_s,
        "delay_s": decision.delay_s,
        "rate_stops_per_min": decision.rate_stops_per_min,
        "correction_stops": decision.correction_stops,
        "uncorrected_error_stops": decision.uncorrected_error_stops,
        "limits_exceeded": list(decision.limits_exceeded),
        "step_stops": frame.step_stops,
        **_glass(outing, frame.set_up),
        **why,
    }
    return _held(Role.LONG, command.open_s, command.cap_s, frame.set_up, reasoning)


def first_order(outing: Outing, set_up: SetUp) -> Take:
    """A first frame whose time a person chose; its tone is the one that is kept."""
    open_s = outing.want.first_s
    assert open_s is not None, "asked for only where the outing has one"
    return _held(
        Role.LONG,
        open_s,
        open_s + outing.limits.cap_margin_s,
        set_up,
        {"chosen_by": "person", **_glass(outing, set_up)},
    )


def dark_order(outing: Outing, set_up: SetUp, open_s: float) -> Take:
    """As long as the longest frame, with the cap on."""
    return _held(Role.DARK, open_s, open_s + outing.limits.cap_margin_s, set_up, {"role": "dark"})


_ANY = FrameId("evening")  # the name is minted by whoever takes it


def _glass(outing: Outing, set_up: SetUp) -> dict[str, object]:
    """What the record says of the filters: their names, and the bag's word of what they take together."""
    return {"filters": list(set_up.filters), "filter_stops": outing.kit.glass(set_up.filters).stops}


def _held(role: Role, open_s: float, cap_s: float, set_up: SetUp, reasoning: Mapping[str, object]) -> Take:
    return Take(role, open_s, cap_s, None, set_up.filters, set_up.aperture.name, set_up.iso.name, reasoning)
