"""Planted faults of known size in pictures that come with scikit-image (noise: 1.5 of 255 steps, each its own)."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import pairwise

import cv2
import numpy as np
import pytest
from bundled import Light, bundled, image_of, light_of, moved

from duskhold.frames.comparison import Measures, NotComparable, measure
from duskhold.frames.measure import Area
from duskhold.frames.motion import Motion
from duskhold.frames.picture import Mosaic, Picture, picture_from_coded, picture_from_mosaic
from duskhold.frames.stains import Leak
from duskhold.frames.standards import FrameLimits, Rig
from duskhold.frames.verdict import CODES, judge, judge_scout

Change = Callable[[Light], Light]


def as_picture(light: Light, seed: int) -> Picture:
    return picture_from_coded(np.ascontiguousarray(image_of(light, 1.5, seed)[..., ::-1]))


@cache
def scene(name: str, width: int | None) -> tuple[Light, Picture]:
    light = light_of(bundled(name, width)) * np.float32(0.7)
    return light, as_picture(light, 1)


def compared(change: Change, name: str = "coffee", width: int | None = None) -> Measures:
    light, first = scene(name, width)
    return measure(first, as_picture(change(light), 2))


def codes(measures: Measures) -> list[str]:
    return [finding.code for finding in judge(measures)]


def by_place(gain: Callable[[Light, Light], Light]) -> Change:
    """Multiply by what `gain` says of x and y, each as a share of the picture."""

    def change(light: Light) -> Light:
        rows, columns = np.mgrid[0 : light.shape[0], 0 : light.shape[1]].astype(np.float32)
        return np.asarray(light * gain(columns / light.shape[1], rows / light.shape[0])[..., None], dtype=np.float32)

    return change


MOTIONS = [
    Motion(0.3, -0.45),
    Motion(3.2, -1.7),
    Motion(0, 0, 0.01, 1.0005),
    Motion(-22, 9, 0.6, 1.004),
    Motion(60, -35, -2.0, 0.99),
]


@pytest.mark.parametrize("name", ["astronaut", "grass"])
@pytest.mark.parametrize("motion", MOTIONS, ids=str)
def test_motion_at_1024_pixels(name: str, motion: Motion) -> None:
    found = compared(lambda light: moved(light, motion), name, 1024).motion
    assert found is not None
    assert found.shift_x_px == pytest.approx(motion.shift_x_px, abs=0.1)
    assert found.shift_y_px == pytest.approx(motion.shift_y_px, abs=0.1)
    assert found.rotation_deg == pytest.approx(motion.rotation_deg, abs=0.01)
    assert found.scale == pytest.approx(motion.scale, abs=0.0002)


@pytest.mark.parametrize("name", ["coffee", "brick"])
def test_sharpness_falls_with_blur(name: str) -> None:
    def blurred(sigma: float) -> float:
        ratio = compared(lambda light: np.asarray(cv2.GaussianBlur(light, (0, 0), sigma)), name).sharpness_ratio
        assert ratio is not None
        return ratio

    ratios = [blurred(sigma) for sigma in (0.25, 0.6, 1.0, 2.0)]
    assert ratios[0] == pytest.approx(1.0, abs=0.08)
    assert all(later < earlier for earlier, later in pairwise(ratios))
    assert ratios[-1] < 0.3


@pytest.mark.parametrize("stops", [-2.0, -0.1, 0.3])
@pytest.mark.parametrize("name", ["chelsea"])
def test_level_to_a_fiftieth_of_a_stop(name: str, stops: float) -> None:
    assert compared(lambda light: light * 2**stops, name).level_error_stops == pytest.approx(stops, abs=0.02)


def test_level_over_an_area() -> None:
    light, first = scene("coffee", None)
    upper = light.copy()
    upper[: light.shape[0] // 2] *= 0.5
    second = as_picture(upper, 3)
    assert measure(first, second, Area(0, 0, 1, 0.4)).level_error_stops == pytest.approx(-1, abs=0.03)
    assert measure(first, second, Area(0, 0.6, 1, 1)).level_error_stops == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("name", ["astronaut", "coffee", "chelsea", "rocket"])
def test_a_clean_frame_gets_no_verdict(name: str) -> None:
    assert codes(compared(lambda light: light * 0.9, name)) == []


@pytest.mark.parametrize(("dx", "dy", "first_share"), [(4, 0, 0.5), (-6, 2, 0.7), (0, 5, 0.75)])
@pytest.mark.parametrize("name", ["astronaut"])
def test_two_edges_are_movement_during_the_frame(name: str, dx: float, dy: float, first_share: float) -> None:
    def twice(light: Light) -> Light:
        return np.asarray(first_share * light + (1 - first_share) * moved(light, Motion(dx, dy)))

    measures = compared(twice, name)
    assert measures.moved_during is True
    assert measures.second_edge_px is not None
    assert [abs(each) for each in measures.second_edge_px] == pytest.approx([abs(dx), abs(dy)], abs=1.01)
    assert "moved_during" in codes(measures)


def test_blur_and_movement_between_are_not_movement_during() -> None:
    blurred = compared(lambda light: np.asarray(cv2.GaussianBlur(light, (0, 0), 1.5), dtype=np.float32), "astronaut")
    assert blurred.moved_during is False
    assert compared(lambda light: moved(light, Motion(5, 2)), "astronaut").moved_during is False


def test_zoom_is_told_from_a_moved_tripod() -> None:
    zoomed = compared(lambda light: moved(light, Motion(0, 0, 0, 1.003)), "coffee", 1200)
    assert codes(zoomed)[0] == "zoom"
    assert "moved" not in codes(zoomed)
    assert codes(compared(lambda light: moved(light, Motion(2.5, 0)), "coffee", 1200))[0] == "moved"


def test_a_bumped_focus_ring_is_not_the_tripod() -> None:
    findings = judge(compared(lambda light: np.asarray(cv2.GaussianBlur(light, (0, 0), 0.9)), "coffee"))
    assert [finding.code for finding in findings] == ["soft"]
    assert "focus or zoom changed" in findings[0].text


@pytest.mark.parametrize("name", ["coffee", "brick"])
def test_a_leak_adds_light_from_an_edge(name: str) -> None:
    def leaked(share: float) -> Measures:
        def change(light: Light) -> Light:
            rows, columns = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
            spread = ((columns / light.shape[1] - 1) / 0.4) ** 2 + ((rows / light.shape[0] - 0.5) / 0.6) ** 2
            added = 0.18 * share * np.exp(-spread)[..., None] * np.array([1, 0.5, 0.8])
            return np.asarray(light + added, dtype=np.float32)

        return compared(change, name)

    strong, weak = leaked(0.10), leaked(0.015)
    assert strong.leak is not None and weak.leak is not None
    assert strong.leak.edge == "right"
    assert 0.05 < strong.leak.worst_share < 0.11
    assert "leak" in codes(strong)
    assert "leak" not in codes(weak)


def test_a_lamp_multiplies_in_one_place() -> None:
    def lit(light: Light) -> Light:
        rows, columns = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
        spread = ((columns / light.shape[1] - 0.3) / 0.12) ** 2 + ((rows / light.shape[0] - 0.7) / 0.12) ** 2
        gain = 1 + 0.7 * np.exp(-spread)[..., None] * np.array([1, 0.2, 0.1])
        return np.asarray(light * gain, dtype=np.float32)

    measures = compared(lit, "brick")
    assert "lamp" in codes(measures)
    assert measures.lamp_place == pytest.approx((0.3, 0.7), abs=0.08)


@pytest.mark.parametrize("name", ["brick"])
def test_drops_are_counted(name: str) -> None:
    places = [(0.2, 0.3), (0.5, 0.6), (0.75, 0.35)]

    def wet(light: Light) -> Light:
        rows, columns = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
        soft = np.asarray(cv2.GaussianBlur(light, (0, 0), light.shape[1] / 40))
        cover = np.zeros(light.shape[:2])
        for x, y in places:
            away = np.hypot(columns - x * light.shape[1], rows - y * light.shape[0]) / (0.014 * light.shape[1])
            cover = np.maximum(cover, np.clip(2 - 1.6 * away, 0, 0.9))
        return np.asarray(light * (1 - cover[..., None]) + soft * 1.25 * cover[..., None], dtype=np.float32)

    found = compared(wet, name).spots
    hit = [any(np.hypot(spot.place[0] - x, spot.place[1] - y) < 0.04 for spot in found) for x, y in places]
    assert sum(hit) >= 2
    assert len(found) == sum(hit)  # each once, though it shows by its light and by its want of detail
    assert compared(lambda light: light, name).spots == ()


def test_dew_takes_contrast_and_leaves_sharpness() -> None:
    measures = compared(lambda light: light * 0.8 + 0.2 * light.mean(), "coffee")
    assert measures.contrast_ratio is not None and measures.sharpness_ratio is not None
    assert measures.contrast_ratio < 0.85
    assert measures.sharpness_ratio == pytest.approx(1.0, abs=0.1)
    assert "dew" in codes(measures)


def test_corners() -> None:
    def vignette(x: Light, y: Light) -> Light:
        return np.asarray(2.0 ** (-1.5 * (np.hypot(x - 0.5, y - 0.5) / 0.707) ** 4), dtype=np.float32)

    measures = compared(by_place(vignette), "gravel")
    assert measures.corner_stops is not None
    assert -1.2 < measures.corner_stops < -0.6
    assert "corners" in codes(measures)


def test_a_slipped_graduated_filter() -> None:
    def slipped(x: Light, y: Light) -> Light:
        return np.where((y > 0.40) & (y < 0.45), 0.25, 1.0).astype(np.float32)

    measures = compared(by_place(slipped), "gravel")
    assert measures.step_height == pytest.approx(0.05, abs=0.02)
    assert measures.step_stops == pytest.approx(-2, abs=0.5)
    assert "step" in codes(measures)


def test_a_cast_is_told_per_channel() -> None:
    measures = compared(lambda light: light * np.array([0.7, 1, 0.9], np.float32), "coffee")
    assert measures.cast_stops == pytest.approx((np.log2(0.7), np.log2(0.9)), abs=0.03)


def test_the_cap_is_all_there_is_to_say() -> None:
    findings = judge(compared(lambda light: light * 0.0005, "coffee"))
    assert [finding.code for finding in findings] == ["cap_on"]


def test_a_frame_far_from_its_level_tells_nothing_fine() -> None:
    """Closed after a fraction of its time, say: noise takes the detail, and is no turned ring."""
    off = compared(lambda light: cv2.GaussianBlur(light, (0, 0), 3) * np.float32(1 / 32), "coffee")
    assert "soft" in {finding.code for finding in judge(off, expected_stops=off.level_error_stops)}
    said = {finding.code for finding in judge(off, expected_stops=0.0)}
    assert "level" in said and not said & {"soft", "zoom", "dew", "spots", "moved_during"}
    scout = [finding.code for finding in judge_scout(off, expected_stops=0.0)]
    assert scout[0] == "filter" and not set(scout) & {"soft", "zoom", "dew", "spots", "moved_during"}
    assert "soft" in {finding.code for finding in judge_scout(off, expected_stops=off.level_error_stops)}


def test_lamps_and_sparkle_do_not_count_as_clipped() -> None:
    rng = np.random.default_rng(3)

    def sparkling(light: Light) -> Light:
        found = light.copy()
        for row, column in rng.integers(20, 380, (30, 2)):
            found[row : row + 2, column : column + 2] = 1.0
        return found

    def burnt(light: Light) -> Light:
        found = light.copy()
        found[50:110, 200:300] = 1.0
        return found

    sparkle, patch = compared(sparkling), compared(burnt)
    assert min(sparkle.clipped_share) > 0
    assert sparkle.clipped_counted == 0
    assert "clipped" not in codes(sparkle)
    assert patch.clipped_counted == pytest.approx(6000 / (400 * 600), rel=0.2)
    assert "clipped" in codes(patch)


def test_hot_pixels_are_counted() -> None:
    rng = np.random.default_rng(4)

    def hot(light: Light) -> Light:
        found = light.copy()
        found[rng.integers(0, 400, 1200), rng.integers(0, 600, 1200)] += 0.5
        return found

    measures = compared(hot)
    assert measures.hot_per_megapixel == pytest.approx(1200 / 0.24, rel=0.5)
    assert "hot_pixels" in codes(measures)


def test_different_scenes_are_not_forced_together() -> None:
    first = as_picture(scene("coffee", None)[0][:390], 1)
    second = as_picture(scene("chelsea", 600)[0][:390], 2)
    found = measure(first, second)
    assert found.motion is None
    assert "framing" in codes(found)


def test_the_sea_alone_is_no_other_view() -> None:
    """Under a plain sky nothing holds still (waves of noise, each frame its own): not a fault, and not told."""

    def sea(seed: int) -> Picture:
        rng = np.random.default_rng(seed)
        waves = cv2.GaussianBlur(rng.normal(0, 1, (400, 600)).astype(np.float32), (0, 0), 3)
        light = np.linspace(0.35, 0.08, 400, dtype=np.float32)[:, None] * (1 + 0.6 * waves / waves.std() * 0.2)
        return as_picture(np.repeat(light[..., None], 3, axis=2).astype(np.float32), seed)

    found = measure(sea(1), sea(2))
    assert (found.motion, found.sharpness_ratio, found.same_view) == (None, None, True)
    assert codes(found) == []
    assert codes(measure(sea(1), as_picture(scene("coffee", None)[0], 3)))[0] == "framing"


def test_other_sizes_are_refused() -> None:
    with pytest.raises(NotComparable, match="600 by 400"):
        measure(scene("coffee", None)[1], scene("chelsea", None)[1])


def test_a_sunk_leg_is_said_only_when_the_rig_is_known() -> None:
    # Merrow Sands: 3.2 px of 4.36 um at 24 mm is 0.033 degrees, 0.52 mm over 0.9 m (small-angle geometry).
    measures = compared(lambda light: moved(light, Motion(3.2, 0)), "coffee", 1200)
    known = judge(measures, rig=Rig(24.0, 4.36, 0.9))[0].text
    assert known == "moved 3.2 px: a leg has sunk about half a millimetre; push the feet in, take it again"
    assert "leg" not in judge(measures)[0].text


def test_limits_can_be_set_and_codes_are_known() -> None:
    measures = compared(lambda light: moved(light * 0.6, Motion(3, 0)))
    assert judge(measures, FrameLimits(corner_px=5, level_stops=1)) == []
    assert codes(measures) == ["moved", "level"]
    assert set(codes(measures)) <= set(CODES)
    assert judge(measures, FrameLimits(corner_px=5), expected_stops=float(np.log2(0.6))) == []


def textured(name: str, width: int) -> Light:
    """Enlarged, with texture as fine as a pixel, as a sharp lens shows it."""
    light = light_of(bundled(name, width)) * np.float32(0.7)
    grain = np.random.default_rng(7).normal(0, 1, light.shape[:2]).astype(np.float32)
    return np.asarray(light * np.clip(1 + 0.18 * cv2.GaussianBlur(grain, (0, 0), 0.8), 0.2, 2)[..., None])


def photographed(light: Light, electrons: float, seed: int, quality: int = 93) -> Picture:
    """With the noise of that many electrons at full scale and 4 of reading, as a JPEG."""
    rng = np.random.default_rng(seed)
    counted = rng.poisson(np.clip(light, 0, 1) * electrons) + rng.normal(0, 4, light.shape)
    numbers = image_of((counted / electrons).astype(np.float32), 0)[..., ::-1]
    _, content = cv2.imencode(".jpg", numbers, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return picture_from_coded(np.asarray(cv2.imdecode(content, cv2.IMREAD_COLOR), dtype=np.uint8))


def raw_of(light: Light, electrons: float, seed: int) -> Picture:
    """A mosaic with the noise of that many electrons at full scale and 4 of reading."""
    rng = np.random.default_rng(seed)
    plane = np.empty(light.shape[:2], np.float32)
    for row, column, channel in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        plane[row::2, column::2] = light[row::2, column::2, channel]
    counted = rng.poisson(np.clip(plane, 0, 1) * electrons) + rng.normal(0, 4, plane.shape)
    numbers = np.clip(512 + counted / electrons * 15871, 0, 16383).astype(np.uint16)
    return picture_from_mosaic(Mosaic(numbers, ((0, 1), (1, 2)), (512.0,) * 4, 16383.0))


@pytest.mark.parametrize(("name", "contrast", "electrons"), [("gravel", 0.02, 30_000), ("camera", 0.05, 4_000)])
def test_noise_is_not_taken_for_texture_that_a_pale_scene_has_lost(
    name: str, contrast: float, electrons: float
) -> None:
    """As in fog; detail that is really lost there is still found."""
    texture = light_of(bundled(name, 1400))[:932]
    light = 0.25 * (1 + contrast * (np.clip(texture / texture.mean(), 0, 3) - 1)).astype(np.float32)
    first, later = raw_of(light, electrons, 1), raw_of(light, 30_000, 2)
    clean = measure(first, later).sharpness_ratio
    assert clean is not None and 0.9 < clean < 1.1
    blurred = raw_of(np.asarray(cv2.GaussianBlur(light, (0, 0), 1.6), dtype=np.float32), 30_000, 3)
    ratio = measure(first, blurred).sharpness_ratio
    assert ratio is not None and 0.6 < ratio < 0.8


def test_snow_without_detail_tells_no_sharpness() -> None:
    waves = np.random.default_rng(1).normal(0, 1, (600, 900)).astype(np.float32)
    soft = sum(blurred / blurred.std() for blurred in (cv2.GaussianBlur(waves, (0, 0), width) for width in (4, 40)))
    snow = np.repeat(0.6 * (1 + 0.05 * np.asarray(soft, np.float32))[..., None], 3, axis=2)
    found = measure(as_picture(snow, 1), as_picture(snow, 2))
    assert found.motion is not None and found.sharpness_ratio is None
    assert codes(found) == []


@pytest.mark.parametrize("name", ["brick", "chelsea"])
def test_what_a_jpeg_of_less_quality_adds_is_no_hot_pixel(name: str) -> None:
    light = textured(name, 1400)
    assert codes(measure(photographed(light, 30_000, 1), photographed(light, 30_000, 2, quality=70))) == []


@pytest.mark.parametrize("name", ["camera", "coins"])
def test_a_noisy_base_frame_hides_no_drops(name: str) -> None:
    light = textured(name, 1400)
    assert codes(measure(photographed(light, 4_000, 1), photographed(light, 30_000, 2))) == []


def test_added_light_is_held_against_the_level_of_a_brighter_frame() -> None:
    """The same leak in the same open time is the same share, whatever the frame of a bracket was given."""

    def leaked(gain: float) -> float:
        across = (np.linspace(0, 1, light.shape[1]) - 1) / 0.4
        added = 0.18 * 0.1 * np.exp(-(across**2))[None, :, None] * np.array([1, 0.5, 0.8])
        found = measure(dark, as_picture(np.asarray((light + added) * gain, dtype=np.float32), 2)).leak
        assert found is not None
        return found.worst_share

    light = scene("coffee", None)[0] * np.float32(0.25)
    dark = as_picture(light, 1)
    assert leaked(3.5) == pytest.approx(leaked(1.0), rel=0.35)


def test_light_that_multiplies_is_no_leak() -> None:
    def lit(light: Light) -> Light:
        rows, columns = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
        spread = ((columns / light.shape[1] - 0.6) / 0.2) ** 2 + ((rows / light.shape[0] - 0.1) / 0.2) ** 2
        return np.asarray(light * 0.6 * (1 + 0.5 * np.exp(-spread)[..., None]), dtype=np.float32)

    light = textured("chelsea", 1400)
    measures = measure(photographed(light, 30_000, 1), photographed(lit(light), 30_000, 2))
    assert "leak" not in codes(measures)


def test_what_a_lamp_lifts_is_named_once() -> None:
    shone = replace(compared(lambda light: light), lamp_stops=0.8, lamp_place=(0.3, 0.7))
    lamp = replace(shone, leak=Leak(0.2, (0.2, 0.8), "left"))
    assert codes(lamp) == ["lamp"]
    assert codes(replace(lamp, leak=Leak(0.2, (0.95, 0.1), "right"))) == ["leak", "lamp"]


def test_a_leg_that_sank_may_turn_the_view() -> None:
    # One degree over 0.9 m is 15.7 mm (small-angle geometry), and two are more than a foot sinks without a knock.
    rig = Rig(24.0, 4.36, 0.9)

    def said(turned_deg: float) -> str:
        return judge(compared(lambda light: moved(light, Motion(0, 0, turned_deg)), "coffee", 1200), rig=rig)[0].text

    assert "turned 1.00 degrees: a leg has sunk about 16 mm" in said(1.0)
    assert "the tripod was knocked" in said(2.0)
