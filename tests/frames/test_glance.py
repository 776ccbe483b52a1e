"""Pictures looked at for a report, in the measuring process: shown small, and known again by their checksum."""

import hashlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from bundled import bundled
from PIL import Image

from duskhold.frames.evening import EveningFrame, veils_through
from duskhold.frames.glance import Glanced, Glancing
from duskhold.frames.picture_file import read_picture
from duskhold.frames.worker import MeasuringFailed, Worker


def test_a_thumbnail_and_a_checksum_that_no_longer_fits(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.fromarray(bundled("coffee")).save(path, quality=92)
    content = bytearray(path.read_bytes())
    sha256 = hashlib.sha256(content).hexdigest()
    with Worker() as worker:
        seen = Glanced(**worker.ask(Glancing(str(path), sha256)))
        shown = cv2.imdecode(np.frombuffer(seen.thumbnail_jpeg(), np.uint8), cv2.IMREAD_COLOR)
        assert shown is not None and shown.shape == (320, 480, 3)
        assert seen.green_share == pytest.approx(float(read_picture(path).small[..., 1].mean()) / 0.18)
        # One number of a quantization table: every decoder takes it for a good picture.
        content[content.index(b"\xff\xdb") + 10] ^= 1
        path.write_bytes(content)
        assert worker.ask(Glancing(str(path)))["green_share"] > 0
        with pytest.raises(MeasuringFailed, match="SHA-256 is another") as caught:
            worker.ask(Glancing(str(path), sha256))
    assert caught.value.code == "picture_changed"


def run_of(*contrasts: float | None, base: str = "b") -> list[EveningFrame]:
    return [
        EveningFrame({"frame_id": f"f{number}", "role": "long"}, measured={"contrast_ratio": each}, base_id=base)
        for number, each in enumerate(contrasts)
    ]


def test_contrast_that_falls_by_more_than_a_tenth_is_dew() -> None:
    assert veils_through(run_of(1.0, 0.98, 0.95, 0.93, 0.91)) == []
    (said,) = veils_through(run_of(0.99, 1.0, 0.97, None, 0.93, 0.88, 0.84))
    assert said.startswith("Contrast of what holds still fell by 12% from f1 to f5: dew")
    # Another base frame begins anew: it has the veil already.
    assert veils_through([*run_of(1.0, 0.97), *run_of(0.8, 0.78, base="c")]) == []
    assert veils_through([EveningFrame({"frame_id": "x", "role": "long"})]) == []
