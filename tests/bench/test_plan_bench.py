"""Planning a night of 12 hours with 400 frames beside a plain loop that calls `solve` 400 times.

    .venv/bin/pytest -s tests/bench/test_plan_bench.py

Aim: at most one and a half times the processor time, both from nothing known of the sky. The plan goes through the
night twice (with and without in-camera dark frames) and tells sun, light, battery and disk with every frame. The
assertion allows twice the aim, for a machine that does something else meanwhile; the figure is printed.
"""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from duskhold.light.place import Place
from duskhold.plan import decision, outlook
from duskhold.plan.bag import Setting
from duskhold.plan.course import Standing
from duskhold.plan.decision import Change, LightReading, SkyDrift, solve
from duskhold.plan.limits import Limits
from duskhold.plan.outing import Bounds, ClockStart, Kind, Outing, OutingKit, Want
from duskhold.plan.series import Metered, SetUp
from duskhold.plan.stops import Ends
from duskhold.plan.timeline import Timeline, plan_timeline

AIM, ROOM, FRAMES, NIGHT_S = 1.5, 2.0, 400, 12 * 3600.0
# The sun stays below -18 degrees, so the light hardly changes and neither does the time.
PLACE, BEGINS = Place(64.1, -5.6), datetime(2026, 12, 10, 17, 45, tzinfo=UTC)
BASE = LightReading(60.0, BEGINS)


def night() -> Timeline:
    aperture, iso = Setting("f/8", 8.0), Setting("100", 100.0)
    outing = Outing(
        "night",
        ClockStart(BEGINS),
        Want(Kind.AGAIN, first_s=60.0, between_s=NIGHT_S / FRAMES - 60.0),
        OutingKit((), (), aperture, iso),
        place=PLACE,
        bounds=Bounds(longest_s=600.0, frames=FRAMES),
    )
    standing = Standing(BEGINS, Metered(BASE, SkyDrift(PLACE)), SetUp((), aperture, iso), Ends(frames=FRAMES))
    return plan_timeline(outing, standing)


def plain_loop() -> None:
    for n in range(FRAMES):
        opens_utc = BEGINS + timedelta(seconds=n * NIGHT_S / FRAMES)
        solve(BASE, Change(), SkyDrift(PLACE), opens_utc, Limits())


def seconds(act: Callable[[], object]) -> float:
    """Processor time of the quickest of several runs, each with an empty sky."""
    spent = []
    for _ in range(5):
        decision._sky.cache_clear()
        outlook.sky_of.cache_clear()
        before = time.process_time()
        act()
        spent.append(time.process_time() - before)
    return min(spent)


def test_a_night_of_four_hundred_frames() -> None:
    plan = night()
    assert len(plan.frames) == FRAMES
    assert 0.8 * NIGHT_S < (plan.done_utc - BEGINS).total_seconds() < 1.3 * NIGHT_S
    ours_s, theirs_s = seconds(night), seconds(plain_loop)
    print(
        f"\nplan of {FRAMES} frames: {1000.0 * ours_s:.0f} ms; {FRAMES} times solve: {1000.0 * theirs_s:.0f} ms; "
        f"ratio {ours_s / theirs_s:.2f} (aim {AIM})"
    )
    assert ours_s < ROOM * AIM * theirs_s
