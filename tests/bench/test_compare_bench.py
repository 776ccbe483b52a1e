"""What comparing costs, as ratios to bare decoding of the same files in the same run.

`pytest tests/bench/test_compare_bench.py -m slow -s` prints the figures; run it on an idle machine.
"""

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from bundled import bundled
from PIL import Image

RUNS = 5
WIDTH, HEIGHT = 8256, 5504
_SPENT = """
import json, sys
import cv2, exifread, numpy, rawpy
from PIL import Image
def peak_kib():
    # Not getrusage(2): its peak outlives an exec and would be that of the process which started this one.
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
idle = peak_kib()
from duskhold.frames.findings import compare_files
from duskhold.frames.worker import Question
compare_files(Question(*sys.argv[1:3]))
print(json.dumps((peak_kib() - idle) / 1024))
"""


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two JPEG of 45 million pixels, enlarged and textured from pictures that come with scikit-image."""
    folder = tmp_path_factory.mktemp("large")
    texture = np.tile(bundled("grass")[..., 0], (HEIGHT // 512 + 1, WIDTH // 512 + 1))[:HEIGHT, :WIDTH].astype(np.int16)
    large = cv2.resize(bundled("astronaut"), (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC).astype(np.int16)
    numbers = np.clip(large + (texture[..., None] - 128) // 3, 0, 255).astype(np.uint8)
    shift = np.array([[1, 0, 2.3], [0, 1, -1.4]])
    moved = cv2.warpAffine(numbers, shift, (WIDTH, HEIGHT), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    for name, each in (("base", numbers), ("long", moved)):
        cv2.imwrite(str(folder / f"{name}.jpg"), each, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return folder / "base.jpg", folder / "long.jpg"


def best_s(work: Callable[[], object]) -> float:
    spent = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        work()
        spent.append(time.perf_counter() - begun)
    return min(spent)


def decode_by_pillow(paths: tuple[Path, Path]) -> None:
    for path in paths:
        with Image.open(path) as picture:
            picture.load()


@pytest.mark.slow
def test_comparing_costs_at_most_three_times_decoding(pair: tuple[Path, Path]) -> None:
    from duskhold.frames.findings import compare_files
    from duskhold.frames.worker import Question

    question = Question(str(pair[0]), str(pair[1]))
    found = compare_files(question)
    assert found["shift_px"] == pytest.approx([2.3, -1.4], abs=0.1)
    by_opencv = best_s(lambda: [cv2.imread(str(path)) for path in pair])
    by_pillow = best_s(lambda: decode_by_pillow(pair))
    whole = best_s(lambda: compare_files(question))
    ratio = whole / min(by_opencv, by_pillow)
    print(f"\ndecoding the pair {by_opencv:.2f} s, {by_pillow:.2f} s; comparing {whole:.2f} s: {ratio:.2f} times")
    assert ratio <= 3.0


@pytest.mark.slow
def test_comparing_needs_at_most_four_decoded_frames_of_memory(pair: tuple[Path, Path]) -> None:
    told = subprocess.run(
        [sys.executable, "-c", _SPENT, str(pair[0]), str(pair[1])], capture_output=True, text=True, check=True
    )
    spent_mb, frame_mb = json.loads(told.stdout), WIDTH * HEIGHT * 3 / 2**20
    print(f"\npeak {spent_mb:.0f} MiB over the interpreter's own: {spent_mb / frame_mb:.2f} decoded frames")
    assert spent_mb <= 4 * frame_mb
