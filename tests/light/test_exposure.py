"""Exposure arithmetic against ISO 2720, ISO 12232 and Exif APEX, and against the colour-hdri package."""

import math

import pytest
from colour_hdri import exposure as reference
from hypothesis import given
from hypothesis import strategies as st

from duskhold.light import exposure

positive = st.floats(min_value=1e-3, max_value=1e5)
f_numbers = st.floats(min_value=0.7, max_value=64.0)
isos = st.floats(min_value=25.0, max_value=102400.0)
times = st.floats(min_value=1e-4, max_value=3600.0)


@pytest.mark.parametrize(
    ("ev100", "cd_m2", "lux"),
    # ISO 2720:1974 with K 12.5 and C 250
    [(0, 0.125, 2.5), (5, 4, 80), (8, 32, 640), (10, 128, 2560), (12, 512, 10240), (15, 4096, 81920)],
)
def test_iso_2720(ev100: float, cd_m2: float, lux: float) -> None:
    assert exposure.luminance_from_ev100(ev100) == cd_m2
    assert exposure.illuminance_from_ev100(ev100) == lux
    assert exposure.ev100_from_luminance(cd_m2) == ev100
    assert exposure.ev100_from_illuminance(lux) == ev100


@pytest.mark.parametrize(
    ("time_s", "apex"),
    # Exif (CIPA DC-008) ShutterSpeedValue
    [(30.0, -4.9069), (120.0, -6.9069), (240.0, -7.9069)],
)
def test_apex_time_value(time_s: float, apex: float) -> None:
    assert exposure.time_value(time_s) == pytest.approx(apex, abs=5e-5)


def test_apex_speed_value_of_iso_100_is_five() -> None:  # Exif annex C, from memory
    assert exposure.speed_value(100.0) == 5.0


def test_iso_12232() -> None:
    assert exposure.saturation_exposure_lx_s(100.0) == 0.78
    assert exposure.standard_output_exposure_lx_s(100.0) == 0.1
    assert exposure.headroom_stops() == pytest.approx(3.263, abs=5e-4)


@given(f_numbers, isos, positive)
def test_a_metered_mid_tone_sits_the_headroom_under_saturation(f_number: float, iso: float, cd_m2: float) -> None:
    time_s = exposure.metered_time_s(f_number, iso, cd_m2)
    reached = exposure.focal_plane_exposure_lx_s(cd_m2, time_s, f_number)
    under = math.log2(exposure.saturation_exposure_lx_s(iso) / reached)
    assert under == pytest.approx(exposure.headroom_stops(), abs=1e-9)


@given(f_numbers, times, isos)
def test_apex_adds_up(f_number: float, time_s: float, iso: float) -> None:
    ev = exposure.exposure_value(f_number, time_s)
    assert exposure.aperture_value(f_number) + exposure.time_value(time_s) == pytest.approx(ev, abs=1e-9)
    brightness = exposure.brightness_value(f_number, time_s, iso)
    assert brightness + exposure.speed_value(iso) == pytest.approx(ev, abs=1e-9)


@given(f_numbers, times, isos)
def test_against_colour_hdri(f_number: float, time_s: float, iso: float) -> None:
    luminance = float(reference.average_luminance(f_number, time_s, iso, 12.5))
    assert exposure.metered_time_s(f_number, iso, luminance) == pytest.approx(time_s, rel=1e-9)
    lux = float(reference.average_illuminance(f_number, time_s, iso, 250.0))
    ev100 = exposure.exposure_value(f_number, time_s) - math.log2(iso / 100.0)
    assert exposure.ev100_from_luminance(luminance) == pytest.approx(ev100, abs=1e-9)
    assert exposure.ev100_from_illuminance(lux) == pytest.approx(ev100, abs=1e-9)
    assert float(reference.exposure_value_100(f_number, time_s, iso)) == pytest.approx(ev100, abs=1e-9)
    scale = exposure.factor_from_stops(-ev100)
    assert float(reference.adjust_exposure(1.0, -ev100)) == pytest.approx(scale)


@given(st.floats(min_value=-40, max_value=40))
def test_stops_and_factors_are_inverse(stops: float) -> None:
    assert exposure.stops_from_factor(exposure.factor_from_stops(stops)) == pytest.approx(stops, abs=1e-9)


def test_changes_of_aperture_and_iso() -> None:
    assert exposure.aperture_change_stops(8.0, 2**3.5) == pytest.approx(1.0)
    assert exposure.aperture_change_stops(8.0, 4.0) == pytest.approx(-2.0)
    assert exposure.iso_change_stops(100.0, 800.0) == pytest.approx(3.0)
