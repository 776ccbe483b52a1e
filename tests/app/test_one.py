"""How the light goes on after base frames: whose word is taken, with both rates in the record."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from duskhold.app.base_frames import Seen, Taken, mark_of
from duskhold.app.one import course_of
from duskhold.frames.picture import Picture, picture_from_coded
from duskhold.frames.reading import AreaLevel
from duskhold.frames.shooting import Shooting
from duskhold.journal.entry import Outcome
from duskhold.light.place import Place
from duskhold.light.reading import Reading
from duskhold.light.skyshape import SkyShape
from duskhold.plan.decision import Change, LightReading, solve
from duskhold.plan.limits import Limits
from duskhold.plan.outlook import midnight_before, sky_of

FIRST_UTC = datetime(2026, 10, 14, 17, 14, tzinfo=UTC)
SECOND_UTC = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)
OPENS_UTC = datetime(2026, 10, 14, 17, 21, 10, tzinfo=UTC)
LOCH = Place(57.32, -5.61)
PICTURE: Picture = picture_from_coded(np.full((32, 48, 3), 90, np.uint8))


def seen(taken_utc: datetime, above_black: float) -> Seen:
    shooting = Shooting(2 ** (-8 / 3), 8.0, 100.0, taken_utc)
    outcome = Outcome("f", "complete", shooting.open_s, None, None, None, "closed", True, "")
    taken = Taken(outcome, "1/6", shooting, Path("base.dng"), PICTURE)
    share = above_black / 16383.0
    reading = Reading(taken_utc, math.log2(above_black), 0.005, "base", shooting.open_s)
    return Seen(taken, AreaLevel((share, share, share), 0.0, 0.005), reading)


def sky() -> SkyShape:
    midnight = midnight_before(SECOND_UTC)
    return SkyShape(sky_of(LOCH, midnight), midnight)


def test_a_dusk_at_a_loch_measured_against_the_model() -> None:
    # Closed form (exponential fading, Tyson & Gal 1993): 4380 to 2072 in 6 min is -0.180 stop/min; 1/6 s through 10.2
    # stops, opened 70 s later, has to be held for 283.6 s instead of 185.3 s.
    bases = [seen(FIRST_UTC, 4380.0), seen(SECOND_UTC, 2072.0)]
    course = course_of(bases, OPENS_UTC, 1200.0, sky())
    assert course.measured_stops_per_min == pytest.approx(-0.180, abs=0.002)
    assert course.model_stops_per_min == pytest.approx(-0.12, abs=0.03)
    assert course.choice == "measured"
    assert course.disagreement is not None and "clock" in course.disagreement
    decision = solve(LightReading(2 ** (-8 / 3), SECOND_UTC), Change(10.2), course.drift, OPENS_UTC, Limits())
    assert decision.plain_s == pytest.approx(185.3, abs=0.1)
    assert decision.open_s is not None
    # 0.03 stop is what half a percent of reading does to a rate over these minutes.
    assert math.log2(decision.open_s / 283.6) == pytest.approx(0.0, abs=0.03)


def test_one_base_frame_follows_the_clear_sky_or_says_that_light_is_taken_for_steady() -> None:
    one = [seen(SECOND_UTC, 2072.0)]
    followed = course_of(one, OPENS_UTC, 1200.0, sky())
    assert (followed.choice, followed.measured_stops_per_min) == ("model", None)
    assert followed.model_stops_per_min == pytest.approx(-0.12, abs=0.03)
    steady = course_of(one, OPENS_UTC, 1200.0, None)
    assert (steady.choice, steady.model_stops_per_min) == ("steady", None)
    assert "taken for steady" in steady.reason


def test_clipped_base_frames_follow_the_clear_sky() -> None:
    bases = [seen(FIRST_UTC, 4380.0), seen(SECOND_UTC, 4380.0)]
    burnt = [replace(one, reading=replace(one.reading, at_least=True)) for one in bases]
    followed = course_of(burnt, OPENS_UTC, 1200.0, sky())
    assert (followed.choice, followed.measured_stops_per_min) == ("model", None) and "clipped" in followed.reason
    decision = solve(LightReading(60.0, SECOND_UTC), Change(), followed.drift, OPENS_UTC, Limits())
    # 0.12 stop a minute over 70 s and half a minute of 60 s
    assert decision.correction_stops == pytest.approx(0.12 * 100.0 / 60.0, abs=0.04)


def test_frames_on_record_measure_the_drift_of_a_single_base_frame() -> None:
    # Closed form as above: an earlier reading of the same view tells the rate that one base frame alone does not.
    earlier = [seen(FIRST_UTC, 4380.0).reading]
    course = course_of([seen(SECOND_UTC, 2072.0)], OPENS_UTC, 1200.0, sky(), earlier)
    assert course.measured_stops_per_min == pytest.approx(-0.180, abs=0.002)
    decision = solve(LightReading(2 ** (-8 / 3), SECOND_UTC), Change(10.2), course.drift, OPENS_UTC, Limits())
    assert decision.open_s == pytest.approx(283.6, rel=0.02)


def test_a_base_frame_on_record_says_when_it_was_and_what_it_showed() -> None:
    body = seen(SECOND_UTC, 2072.0).body()
    assert body["taken_utc"] == "2026-10-14T17:20:00.000Z"
    assert body["open_s"] == pytest.approx(0.1575, abs=1e-4)
    later = seen(SECOND_UTC + timedelta(seconds=1.0), 2072.0).body()
    assert later["taken_utc"] != body["taken_utc"]


@pytest.mark.parametrize(("dial", "true_s"), [("1/60", 1 / 64), ("30", 32.0), ("10/600", 1 / 64), ("45", 45.0)])
def test_a_dials_word_is_read_by_its_meaning(dial: str, true_s: float) -> None:
    assert mark_of(dial).true_value == pytest.approx(true_s)
