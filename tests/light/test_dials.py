"""Marked dials against the published table of exact powers of two (references: Exif APEX series)."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.light.dials import APERTURE, ISO, SHUTTER, Dial, NotOnDial, Step

ALL_DIALS = [SHUTTER, APERTURE, ISO]


@pytest.mark.parametrize(
    ("marked", "true_s", "off_stops"),
    [
        ("30", 32.0, 0.0931),
        ("15", 16.0, 0.0931),
        ("25", 25.398, 0.023),
        ("20", 20.159, 0.011),
        ("13", 12.699, -0.034),
        ("10", 10.079, 0.011),
        ("6", 6.350, 0.082),
        ("1/6", 1 / 6.3496, -0.082),
        ("1/15", 1 / 16, -0.0931),
        ("1/30", 1 / 32, -0.0931),
        ("1/60", 1 / 64, -0.0931),
        ("1/125", 1 / 128, -0.0342),
        ("1/1000", 1 / 1024, -0.0342),
    ],
)
def test_times_run_exact_powers_of_two(marked: str, true_s: float, off_stops: float) -> None:
    found = SHUTTER.find(marked)
    assert found.true_value == pytest.approx(true_s, rel=1e-4)
    shown = float(marked) if "/" not in marked else 1.0 / float(marked[2:])
    assert math.log2(found.true_value / shown) == pytest.approx(off_stops, abs=0.001)


@pytest.mark.parametrize(
    ("marked", "true_value", "off_stops"),
    [
        ("f/11", 11.3137, 0.081),
        ("f/5.6", 5.6569, 0.029),
        ("f/22", 22.627, 0.081),
        ("f/13", 12.699, -0.068),
        ("f/14", 14.254, 0.052),
        ("f/9", 8.980, -0.006),
        ("f/10", 10.079, 0.023),
        ("f/7.1", 7.1272, 0.011),
    ],
)
def test_f_numbers_are_exact(marked: str, true_value: float, off_stops: float) -> None:
    found = APERTURE.true_value(marked)
    assert found == pytest.approx(true_value, rel=5e-5)
    assert 2.0 * math.log2(found / float(marked[2:])) == pytest.approx(off_stops, abs=0.001)


@pytest.mark.parametrize(("marked", "true_value"), [("125", 125.99), ("160", 158.74), ("100", 100.0)])
def test_iso_is_exact(marked: str, true_value: float) -> None:
    assert ISO.true_value(marked) == pytest.approx(true_value, rel=5e-5)


def test_a_sixtieth_behind_ten_stops_is_sixteen_seconds() -> None:
    assert SHUTTER.true_value("1/60") * 1024 == 16.0


@pytest.mark.parametrize(
    ("dial", "text", "true_value"),
    [
        (SHUTTER, "1/4s", 0.25),
        (SHUTTER, " 2s ", 2.0),
        (SHUTTER, "0.5", 0.5),
        (SHUTTER, '30"', 32.0),
        (SHUTTER, "1/3", 2 ** (-5 / 3)),
        (SHUTTER, "0.25", 0.25),
        (SHUTTER, "=0.2", 0.2),
        (SHUTTER, "=1/64", 1 / 64),
        (SHUTTER, "= 90 s", 90.0),
        (SHUTTER, "1/45", 2**-5.5),
        (APERTURE, "11", 2**3.5),
        (APERTURE, "F8", 8.0),
        (APERTURE, "f/9.5", 2**3.25),
        (APERTURE, "=f/9.3", 9.3),
        (ISO, "ISO 200", 200.0),
        (ISO, "iso100", 100.0),
        (ISO, "=123", 123.0),
    ],
)
def test_what_people_write(dial: Dial, text: str, true_value: float) -> None:
    assert dial.true_value(text) == pytest.approx(true_value)


@pytest.mark.parametrize(
    ("dial", "text", "nearest"),
    [
        (SHUTTER, "1/7", ("1/8", "1/6")),
        (SHUTTER, "60", ("30", "25")),
        (SHUTTER, "1/64", ("1/60", "1/80")),
        (APERTURE, "f/12", ("f/13", "f/11")),
        (SHUTTER, "bulb", ()),
        (SHUTTER, "", ()),
        (SHUTTER, "-1", ()),
        (SHUTTER, "nan", ()),
        (SHUTTER, "inf", ()),
        (SHUTTER, "1/0", ()),
        (SHUTTER, "=0", ()),
        (SHUTTER, "1e999", ()),
        (SHUTTER, "=1e-999", ()),
        (ISO, "auto", ()),
    ],
)
def test_what_is_not_on_the_dial(dial: Dial, text: str, nearest: tuple[str, ...]) -> None:
    with pytest.raises(NotOnDial) as caught:
        dial.true_value(text)
    assert caught.value.nearest == nearest
    assert isinstance(caught.value, ValueError)
    assert all(name in str(caught.value) for name in nearest)


@pytest.mark.parametrize("dial", ALL_DIALS)
@pytest.mark.parametrize("step", list(Step))
def test_every_mark_is_found_by_name_and_by_value(dial: Dial, step: Step) -> None:
    for mark in dial.marks(step):
        assert dial.find(mark.name, step).true_value == mark.true_value
        assert dial.nearest(mark.true_value, step) == mark


@pytest.mark.parametrize("dial", ALL_DIALS)
@pytest.mark.parametrize(("step", "apart"), [(Step.FULL, 1.0), (Step.HALF, 1 / 2), (Step.THIRD, 1 / 3)])
def test_clicks_are_evenly_apart(dial: Dial, step: Step, apart: float) -> None:
    per_doubling = 2.0 if dial is APERTURE else 1.0
    values = [mark.true_value for mark in dial.marks(step)]
    clicks = [abs(per_doubling * math.log2(b / a)) for a, b in pairwise(values)]
    assert clicks == pytest.approx([apart] * len(clicks))


@pytest.mark.parametrize("dial", ALL_DIALS)
def test_a_name_is_never_a_sixth_of_a_stop_from_its_value(dial: Dial) -> None:
    per_doubling = 2.0 if dial is APERTURE else 1.0
    for mark in (*dial.thirds, *dial.halves):
        shown = dial.true_value("=" + mark.name)
        assert abs(per_doubling * math.log2(shown / mark.true_value)) < 1 / 4


@given(st.floats(min_value=1e-4, max_value=40.0))
def test_the_nearest_mark_is_within_half_a_click(time_s: float) -> None:
    mark = SHUTTER.nearest(time_s)
    inside = SHUTTER.thirds[-1].true_value <= time_s <= SHUTTER.thirds[0].true_value
    assert not inside or abs(math.log2(mark.true_value / time_s)) <= 1 / 6 + 1e-9
