"""The gauge: levels over one area for every frame of an evening, lamps of the base frame left out of all."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from duskhold.frames.findings import BaseMemory
from duskhold.frames.gauge import Gauging, gauge
from duskhold.frames.worker import MeasuringFailed, Worker


def picture(path: Path, grey: int, lamp: int | None = None) -> str:
    """A grey JPEG, with a lamp in the middle or without."""
    numbers = np.full((256, 384, 3), grey, np.uint8)
    if lamp is not None:
        numbers[120:128, 184:192] = lamp
    Image.fromarray(numbers).save(path, quality=98)
    return str(path)


def linear(grey: int) -> float:
    """Of sRGB, IEC 61966-2-1."""
    share = grey / 255.0
    return share / 12.92 if share <= 0.04045 else float(((share + 0.055) / 1.055) ** 2.4)


def test_two_greys_are_as_many_stops_apart_as_their_light(tmp_path: Path) -> None:
    memory = BaseMemory()
    dark, light = (gauge(Gauging(picture(tmp_path / f"{grey}.jpg", grey)), memory) for grey in (60, 120))
    stops = math.log2(light.share / dark.share)
    assert stops == pytest.approx(math.log2(linear(120) / linear(60)), abs=0.03)
    assert not light.at_least


def test_the_base_frames_lamp_is_left_out_of_a_frame_in_which_it_is_off(tmp_path: Path) -> None:
    memory = BaseMemory()
    base = picture(tmp_path / "base.jpg", 40, lamp=255)
    off = picture(tmp_path / "off.jpg", 40)
    alone, over_base = gauge(Gauging(off), memory), gauge(Gauging(off, base), memory)
    assert math.log2(over_base.share / alone.share) == pytest.approx(0.0, abs=0.02)
    with_lamp = gauge(Gauging(base, base), memory)
    assert math.log2(with_lamp.share / alone.share) == pytest.approx(0.0, abs=0.05)


def test_a_frame_without_light_has_none(tmp_path: Path) -> None:
    assert gauge(Gauging(picture(tmp_path / "black.jpg", 0)), BaseMemory()).share == 0.0


def test_the_measuring_process_answers_it_and_says_what_is_wrong(tmp_path: Path) -> None:
    path = picture(tmp_path / "grey.jpg", 90)
    with Worker() as worker:
        assert worker.ask(Gauging(path)) == {
            "share": pytest.approx(gauge(Gauging(path), BaseMemory()).share),
            "sigma_stops": pytest.approx(0.05, abs=0.1),
            "at_least": False,
        }
        with pytest.raises(MeasuringFailed, match="none"):
            worker.ask(Gauging(str(tmp_path / "none.jpg")))
