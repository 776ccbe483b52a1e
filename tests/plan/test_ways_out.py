"""Ways out of a frame that cannot be finished: the worked evening, and each price by adding up the light."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest

from duskhold.light.filters import Filter
from duskhold.light.forecast import Forecast
from duskhold.plan.ways_out import Stuck, Way, WayOut, ways_out

FADING = Forecast.steady(0.0, 0.0, -0.35)
ASKED = Stuck(300.0, 0.0, 240.0, filter_stops=10.1, f_number=11.3137, iso=100.0)
SETS = ((("strong",), Filter("10.1", 10.1)), (("middle",), Filter("6.2", 6.2)), ((), Filter("none", 0.0)))


def test_the_frame_that_cannot_be_finished() -> None:
    # Worked by hand from the limit 60 / (0.35 ln 2) = 247.3 s
    found = ways_out(ASKED, FADING, SETS)
    assert [way.kind for way in found] == [Way.APERTURE, Way.APERTURE, Way.ISO, Way.FILTER, Way.ACCEPT, Way.ACCEPT]
    stop, least, iso, weaker, short, shorter = found
    assert stop.open_s == pytest.approx(230.7, abs=0.1) and stop.gains_stops == 1.0
    assert stop.setting == "f/8 (1.00 stop wider)"
    assert least.setting == "f/8.1 (0.97 stop wider)"
    assert least.open_s == pytest.approx(240.0, abs=1e-3) and least.gains_stops == pytest.approx(0.97, abs=0.005)
    assert iso.open_s == pytest.approx(230.7, abs=0.1) and iso.setting == "ISO 200"
    assert weaker.open_s == pytest.approx(21.0, abs=0.05) and weaker.setting == "middle"
    assert weaker.note is not None and "look" in weaker.note
    assert (short.open_s, shorter.open_s) == (240.0, 480.0)
    assert short.shortfall_stops == pytest.approx(0.97, abs=0.005)
    assert shorter.shortfall_stops == pytest.approx(0.50, abs=0.005)


def test_what_was_not_told_is_said_in_stops() -> None:
    found = ways_out(Stuck(300.0, 0.0, 240.0), FADING)
    assert [way.setting for way in found[:3]] == ["1.00 stop wider", "0.97 stop wider", "1.00 stop faster"]
    assert Way.FILTER not in {way.kind for way in found}


def test_what_no_dial_has_is_not_offered() -> None:
    # log2(12800 / (247.3 x (1 - 2^-1.4))) is 6.38 stops, 7 in whole ones: f/11 would be f/1, and ISO 800 be 102400
    asked = replace(ASKED, plain_s=12800.0)
    wide = [way for way in ways_out(asked, FADING) if way.kind is Way.APERTURE]
    assert [way.setting[:5] for way in wide] == ["f/1 (", "f/1.2"]
    assert all("not every lens" in (way.note or "") for way in wide)
    assert all(way.note is None for way in ways_out(ASKED, FADING) if way.kind is Way.APERTURE)
    fast = [way for way in ways_out(replace(asked, iso=800.0), FADING) if way.kind is Way.ISO]
    assert [(way.setting, way.gains_stops) for way in fast] == [("ISO 102400", 7.0)]
    neither = replace(asked, f_number=4.0, iso=1600.0)
    assert {way.kind for way in ways_out(neither, FADING)} == {Way.ACCEPT}


def test_a_way_that_rests_on_too_long_a_look_ahead_says_so() -> None:
    found = ways_out(replace(ASKED, longest_s=900.0, correction_max_stops=1.5), FADING, SETS)
    computed = [way for way in found if way.kind is not Way.ACCEPT]
    for way in computed:
        corrected_stops = math.log2(way.open_s / 300.0) + way.gains_stops
        assert ("look ahead" in (way.note or "")) == (corrected_stops > 1.5)
    # The smallest opening that ends in 900 s: log2(300 / (247.3 x (1 - 2^-5.25)))
    assert [way.gains_stops for way in computed if "look ahead" in (way.note or "")] == [pytest.approx(0.317, abs=1e-3)]


def test_whole_stops_and_filters_do_not_look_too_far_ahead_where_it_can_be_helped() -> None:
    # 980 s as metered: two stops leave 245 of 247.3 s, which takes 20 min and +2.3 stop; three leave 122.5 s
    asked = Stuck(980.0, 0.0, 1800.0, filter_stops=10.1, f_number=16.0, iso=100.0, correction_max_stops=1.5)
    sets = ((("eight",), Filter("8.1", 8.1)), (("seven",), Filter("7.1", 7.1)))
    found = ways_out(asked, FADING, sets)
    stop, iso, weaker = found[0], found[2], found[3]
    assert (stop.gains_stops, iso.gains_stops, stop.note) == (3.0, 3.0, None)
    assert stop.open_s == pytest.approx(-math.log2(1.0 - 122.5 / 247.3) * 60.0 / 0.35, rel=0.001)
    assert weaker.setting == "seven" and "look ahead" not in (weaker.note or "")
    only = ways_out(asked, FADING, sets[:1])[3]
    assert only.setting == "eight" and "look ahead" in (only.note or "")
    # Three stops from f/2 and from ISO 25600 no dial has: two are told, with what they rest on
    most = [one for one in ways_out(replace(asked, f_number=2.0, iso=25600.0), FADING) if one.gains_stops == 2.0]
    assert [one.setting for one in most] == ["f/1 (2.00 stop wider)", "ISO 102400"]
    assert all("look ahead" in (one.note or "") for one in most)


def priced_by_hand(way: WayOut, stuck: Stuck, rate: float) -> float:
    """Error in stops of this way, by the trapezoid rule."""
    at_s = np.linspace(stuck.opens_s, stuck.opens_s + way.open_s, 20001)
    dose_s = float(np.trapezoid(np.exp2(rate * at_s / 60.0), at_s)) * 2.0**way.gains_stops
    return math.log2(dose_s / stuck.plain_s)


def test_two_hundred_evenings_by_adding_up_the_light() -> None:
    chance = random.Random(3)
    priced = 0
    for _ in range(200):
        rate = chance.uniform(-0.5, -0.05)
        plain_s, longest_s = chance.uniform(100, 2000), chance.uniform(60, 300)
        stuck = Stuck(plain_s, chance.uniform(0, 200), longest_s, 10.0, 8.0, 100.0)
        light = Forecast.steady(0.0, 0.0, rate)
        if light.dose(stuck.opens_s, stuck.opens_s + longest_s) >= plain_s:
            continue
        for way in ways_out(stuck, light, SETS):
            assert priced_by_hand(way, stuck, rate) == pytest.approx(-way.shortfall_stops, abs=1e-4)
            assert way.open_s <= longest_s * 1.000001 or way.kind is Way.ACCEPT
            priced += 1
    assert priced > 500
