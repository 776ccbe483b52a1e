"""Filter labels against the density table (ISO 5-1, ISO 5-2:2009: D = -log10 T, densities add)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.light.filters import (
    NO_FILTER,
    BadFilter,
    Filter,
    density_from_stops,
    parse_filter,
    parse_filters,
    stack,
    stops_from_density,
)


@pytest.mark.parametrize(
    ("density", "stops"),
    [
        (0.3, 0.9966),
        (0.6, 1.9932),
        (0.9, 2.9897),
        (1.8, 5.9795),
        (2.0, 6.6439),
        (3.0, 9.9658),
        (3.9, 12.9555),
        (4.5, 14.9487),
        (4.8, 15.9453),
        (6.0, 19.9316),
    ],
)
def test_density_in_stops(density: float, stops: float) -> None:
    assert parse_filter(f"d{density}").stops == pytest.approx(stops, abs=5e-5)
    assert density_from_stops(stops) == pytest.approx(density, abs=2e-5)


@pytest.mark.parametrize(
    ("label", "stops"),
    [
        ("x64", 6.0),
        ("x400", 8.644),
        ("x1000", 9.966),
        ("X1000", 9.966),
        ("×1000", 9.966),
        ("x1024", 10.0),
        ("10", 10.0),
        ("6.2", 6.2),
        ("D0.9", 2.9897),
        ("0", 0.0),
        ("none", 0.0),
    ],
)
def test_three_label_systems(label: str, stops: float) -> None:
    assert parse_filter(label).stops == pytest.approx(stops, abs=5e-4)


def test_factor_1024_is_density_3_0103() -> None:
    assert density_from_stops(parse_filter("x1024").stops) == pytest.approx(3.0103, abs=5e-5)


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("1000", "x1000"),
        ("-1", "0 to 30"),
        ("x0.5", "0 to 30"),
        ("x0", "no light"),
        ("d-1", "0 to 30"),
        ("d12", "0 to 30"),
        ("nan", "such as"),
        ("xinf", "such as"),
        ("grey", "such as"),
        ("d", "such as"),
        ("", "such as"),
        ("1/2", "three channels"),
        ("1/2/99", "0 to 30"),
        ("1/b/3", "such as"),
    ],
)
def test_bad_labels_are_told_what_is_allowed(label: str, said: str) -> None:
    with pytest.raises(BadFilter, match=said):
        parse_filter(label)


def test_a_list_is_stacked() -> None:
    both = stack(parse_filters("6.2, d0.9"))
    assert both.label == "6.2+d0.9"
    assert both.stops == pytest.approx(9.1897, abs=5e-5)
    assert both.stops_rgb is None
    assert stack(parse_filters("none")) == NO_FILTER
    assert stack(parse_filters("")) == NO_FILTER
    with pytest.raises(BadFilter):
        parse_filters("6,,3")


def test_a_measured_filter_counts_with_green_and_makes_the_stack_measured() -> None:
    measured = parse_filter("10.05/10.23/10.30")
    assert measured.stops == 10.23
    both = stack([measured, parse_filter("3")])
    assert both.stops == pytest.approx(13.23)
    assert both.stops_rgb == pytest.approx((13.05, 13.23, 13.30))


@given(st.lists(st.floats(min_value=0.0, max_value=15.0), max_size=5))
def test_stacking_multiplies_what_passes(stops: list[float]) -> None:
    whole = stack([Filter(f"{each}", each) for each in stops])
    assert 2.0**-whole.stops == pytest.approx(math.prod(2.0**-each for each in stops))


@given(st.floats(min_value=0.0, max_value=30.0))
def test_density_and_stops_are_inverse(stops: float) -> None:
    assert stops_from_density(density_from_stops(stops)) == pytest.approx(stops, abs=1e-12)
