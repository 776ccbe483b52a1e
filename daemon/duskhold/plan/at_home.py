"""Where an evening stands before it has begun: what an outing file and the clear sky tell at home.

Without a place the light is taken for steady. How long the base frame will be is not known at home; the one that the
outing names is taken to be right for the last one before the filters go on.
"""

import math
from datetime import datetime, timedelta

from duskhold.plan.bag import Base as BaseExposure
from duskhold.plan.bag import Kit, Wanted, propose
from duskhold.plan.course import Standing
from duskhold.plan.decision import Drift, LightReading, SkyDrift, SteadyDrift
from duskhold.plan.moments import begins_utc, ends_of, light_comes_utc
from duskhold.plan.outing import BASE_GAP_S, BadOuting, Kind, LightStart, Outing
from duskhold.plan.outlook import midnight_before, outlook, sky_of
from duskhold.plan.series import Metered, SetUp
from duskhold.plan.stops import Means


def standing_at_home(outing: Outing, drift: Drift | None = None, means: Means | None = None) -> Standing:
    """The standing at the moment the outing begins; `drift` is the clear sky of the place when none is given.

    Raises `BadOuting` when its beginning never comes within a day.
    """
    at_utc = begins_at_home_utc(outing)
    light = drift or drift_at_home(outing)
    is_bare, kit = outing.want.base is not None, outing.kit
    metered_utc = at_utc + timedelta(seconds=_metered_after_s(outing))
    return Standing(
        opens_utc=at_utc,
        metered=Metered(LightReading(_base_s(outing, light, metered_utc), metered_utc), light),
        set_up=SetUp(() if is_bare else kit.filters, kit.aperture, kit.iso),
        ends=ends_of(outing, at_utc),
        means=means or Means(percent_per_min=outing.costs.battery_percent_per_min),
        base_left=_base_frames(outing),
        chosen_s=outing.want.first_s,
    )


def drift_at_home(outing: Outing) -> Drift:
    """The clear sky of the outing's place, or steady light where it has none."""
    return SteadyDrift(0.0) if outing.place is None else SkyDrift(outing.place)


def begins_at_home_utc(outing: Outing) -> datetime:
    """When the outing begins; for one that waits for the light, when a clear sky would have come to it.

    Raises `BadOuting` when that never comes within a day.
    """
    if not isinstance(outing.start, LightStart) or outing.place is None:
        return begins_utc(outing)
    comes_utc = light_comes_utc(outing)
    if comes_utc is None:
        from_utc = outing.start.from_utc
        raise BadOuting(
            "start.light", f"within a day of {from_utc:%Y-%m-%d %H:%M}Z a clear sky does not come to that light"
        )
    return comes_utc


def nearest_filters(outing: Outing, wanted: Wanted) -> tuple[str, ...]:
    """The filters of the bag that bring the first long frame nearest to a wanted time, by the light at home.

    `outing` has a base exposure. Raises `BadOuting` when its beginning never comes within a day.
    """
    want, kit, prompting = outing.want, outing.kit, outing.prompting
    assert want.base is not None, "without a base exposure the filters are given"
    at_utc = begins_at_home_utc(outing)
    delay_s = prompting.change_s + outing.costs.storing_s
    metered_utc = at_utc + timedelta(seconds=_metered_after_s(outing))
    base = BaseExposure(want.base.true_s, kit.aperture.true_value, kit.iso.true_value)
    may_set = Kit(kit.bag, (kit.aperture,), (kit.iso,))
    light = outlook(drift_at_home(outing), metered_utc, metered_utc + timedelta(seconds=delay_s))
    found = propose(wanted, base, may_set, light, delay_s)
    return found[0].filters if found else ()


def _base_frames(outing: Outing) -> int:
    is_asked = outing.want.base is not None and outing.want.kind is not Kind.WATCH
    return outing.want.base_frames if is_asked else 0


def _metered_after_s(outing: Outing) -> float:
    """The tone of the last base frame before the filters is the one that is kept."""
    return max(0, _base_frames(outing) - 1) * BASE_GAP_S


def _base_s(outing: Outing, drift: Drift, at_utc: datetime) -> float:
    """The base time that is right when the series begins; with `first_s`, that which makes the first frame so long."""
    want = outing.want
    if want.base is not None:
        return want.base.true_s
    assert want.first_s is not None, "an outing has one or the other"
    if isinstance(drift, SkyDrift):
        midnight = midnight_before(at_utc)
        sky, at_s = sky_of(drift.place, midnight), (at_utc - midnight).total_seconds()
        plain_s = sky.dose(at_s, at_s + want.first_s) / sky.level(at_s)
    else:
        light = outlook(drift, at_utc, at_utc)
        plain_s = light.dose(0.0, want.first_s) / light.level(0.0)
    return plain_s / math.exp2(outing.kit.glass(outing.kit.filters).stops)
