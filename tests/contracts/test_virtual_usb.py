"""The virtual USB camera of the library's wheel: detect, settings, capture, download. What it cannot do is named.

Limits (libgphoto2 2.5.34, libgphoto2_port/vusb): its bulb answers -7 and leaves the session out of step, so it has no
family here and is never asked; it knows no ISO although it lists the widget; a new session forgets the pictures of
the one before; it hands out no pieces of a file; opening it twice in one process is not safe.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("usb")
    (folder / "pictures").mkdir()
    cv2.imwrite(str(folder / "pictures" / "A.JPG"), np.full((40, 60, 3), 90, np.uint8))
    script = Path(__file__).with_name("virtual_usb.py")
    line = [sys.executable, str(script), str(folder)]
    done = subprocess.run(line, capture_output=True, text=True, timeout=60, check=True)
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def test_it_is_detected_and_tells_its_settings(seen: dict[str, Any]) -> None:
    assert seen["model"]
    assert set(seen["settings"]) >= {"aperture", "target", "battery", "clock"}
    assert "iso" not in seen["settings"]


def test_a_setting_is_set_and_read_back(seen: dict[str, Any]) -> None:
    asked, said = seen["changed"]
    assert asked == said


def test_a_body_that_cannot_be_held_is_never_asked_to(seen: dict[str, Any]) -> None:
    assert seen["holds"] is False
    assert "cannot be held" in seen["open"]
    assert seen["close"] == "nothing_open"


def test_a_capture_is_told_and_fetched_whole(seen: dict[str, Any]) -> None:
    assert seen["events"] == ["picture_added", "capture_complete"]
    assert seen["fetched"] > 0
    assert seen["begins"] == "ffd8"  # JPEG, start of image (ISO/IEC 10918-1)
