"""Depth of field and diffraction against published values."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.light.depth import (
    airy_diameter_um,
    apertures_for,
    hyperfocal_m,
    marked_within,
    print_blur_mm,
    sharp_between,
)
from duskhold.light.dials import APERTURE, Step


@pytest.mark.parametrize(
    ("focal_mm", "f_number", "blur_mm", "focus_m", "limits"),
    [  # Ray, Applied Photographic Optics (formulas, from memory), worked with the number as marked
        (24.0, 8.0, 0.03, 2.0, (2.424, 1.097, 11.321)),
        (50.0, 8.0, 0.03, 5.0, (10.467, 3.389, 9.527)),
        (70.0, 11.0, 0.03, 10.0, (14.919, 5.993, 30.189)),
        (16.0, 8.0, 0.02, 1.0, (1.616, 0.619, 2.597)),
    ],
)
def test_published_limits(
    focal_mm: float, f_number: float, blur_mm: float, focus_m: float, limits: tuple[float, float, float]
) -> None:
    found = sharp_between(focal_mm, f_number, blur_mm, focus_m)
    assert (found.hyperfocal_m, found.near_m, found.far_m) == pytest.approx(limits, abs=6e-4)


@pytest.mark.parametrize(
    ("focal_mm", "loose_m", "strict_m"),
    [(16, 0.77, 1.52), (24, 1.72, 3.42), (35, 3.64, 7.25), (50, 7.42, 14.8), (70, 14.5, 28.9)],
)
def test_hyperfocal_at_f11(focal_mm: float, loose_m: float, strict_m: float) -> None:
    # f^2 / (N c) + f with the true f/11 (11.3137) and circles of 0.030 and 0.015 mm, worked by hand
    f_number = APERTURE.true_value("f/11")
    assert hyperfocal_m(focal_mm, f_number, 0.030) == pytest.approx(loose_m, rel=0.005)
    assert hyperfocal_m(focal_mm, f_number, 0.015) == pytest.approx(strict_m, rel=0.005)


@pytest.mark.parametrize(("f_number", "diameter_um"), [(8.0, 10.74), (11.0, 14.76), (16.0, 21.47)])
def test_airy_disc(f_number: float, diameter_um: float) -> None:
    assert airy_diameter_um(f_number) == pytest.approx(diameter_um, abs=0.006)  # 2.44 lambda N at 550 nm


@given(st.floats(10, 300), st.floats(1, 32), st.floats(0.004, 0.05), st.floats(0.5, 500))
def test_limits_are_where_the_blur_is_the_circle(focal_mm: float, f_number: float, blur_mm: float, m: float) -> None:
    """Thin lens: the image of a point at either limit misses the sensor by as much as the circle."""
    found = sharp_between(focal_mm, f_number, blur_mm, m)

    def blur(at_mm: float) -> float:
        sensor, image = (focal_mm * d / (d - focal_mm) for d in (m * 1000.0, at_mm))
        return focal_mm / f_number * abs(sensor - image) / image

    assert blur(found.near_m * 1000.0) == pytest.approx(blur_mm, rel=1e-6)
    if found.far_m is not None and found.far_m < 1e6:
        assert blur(found.far_m * 1000.0) == pytest.approx(blur_mm, rel=1e-4)


def test_apertures_that_keep_near_and_infinity() -> None:
    blur_mm = print_blur_mm(36.0, 600.0)
    assert blur_mm == pytest.approx(0.012)
    found = apertures_for(16.0, 1.5, blur_mm)
    assert found.widest is not None and found.narrowest is not None
    focus_m = hyperfocal_m(16.0, found.widest, blur_mm)
    limits = sharp_between(16.0, found.widest, blur_mm, focus_m * (1 + 1e-12))
    assert limits.near_m == pytest.approx(1.5, rel=1e-6) and limits.far_m is None
    assert airy_diameter_um(found.narrowest) == pytest.approx(12.0)
    marks = [mark.true_value for mark in APERTURE.marks(Step.FULL)]
    assert marked_within(marks, found) == (8.0,)


def test_what_no_aperture_does() -> None:
    found = apertures_for(50.0, 1.0, 0.012)
    assert found.widest is None and found.narrowest is None
    assert found.depth_asks_f_number > found.diffraction_allows_f_number
    assert marked_within([8.0, 16.0], found) == ()
    assert math.isinf(apertures_for(50.0, 0.02, 0.012).depth_asks_f_number)
