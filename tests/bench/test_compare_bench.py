"""What comparing costs, as ratios to bare decoding of the same files in the same run.

`pytest tests/bench/test_compare_bench.py -m slow -s` prints the figures. What is held to a limit is processor time, of
both sides by turns in one run: whoever else uses the machine lengthens the time of day and hardly that. The time of day
stands beside it; on an idle machine of two cores it is the smaller one, since two pictures are decoded at once.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import rawpy
from bundled import bundled
from PIL import Image
from simulated_pairs import BASE_SHOT

from duskhold.camera.faults import PictureFault
from duskhold.camera.negative import Negative
from duskhold.camera.shot import BodyProfile

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


@dataclass(frozen=True, slots=True)
class Cost:
    """The least of several runs, in seconds."""

    processor_s: float
    wall_s: float

    def __str__(self) -> str:
        return f"{self.processor_s:.2f} s ({self.wall_s:.2f} s of the day)"


def costs(*works: Callable[[], object]) -> list[Cost]:
    """Of each, all of them by turns."""
    spent: list[list[Cost]] = [[] for _ in works]
    for _ in range(RUNS):
        for work, found in zip(works, spent, strict=True):
            processor_s, wall_s = time.process_time(), time.perf_counter()
            work()
            found.append(Cost(time.process_time() - processor_s, time.perf_counter() - wall_s))
    return [Cost(min(one.processor_s for one in each), min(one.wall_s for one in each)) for each in spent]


def used_s(pid: int) -> float:
    """Processor time of another process (proc(5), fields 14 and 15 of stat)."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def spent_mib(paths: tuple[Path, Path]) -> float:
    """Peak memory of a comparison in a fresh interpreter, over what that has with its libraries loaded."""
    told = subprocess.run([sys.executable, "-c", _SPENT, *map(str, paths)], capture_output=True, text=True, check=True)
    return float(json.loads(told.stdout))


def decode_by_pillow(paths: tuple[Path, Path]) -> None:
    for path in paths:
        with Image.open(path) as picture:
            picture.load()


@pytest.fixture(scope="module")
def raw_pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two raw files of 24 million pixels of the simulated camera."""
    folder = tmp_path_factory.mktemp("raw")
    profile = BodyProfile(width=6000, height=4000)
    for number, open_s in ((1, 0.25), (2, 240.0)):
        shot = replace(BASE_SHOT, number=number, closed_s=open_s)
        (folder / f"{number}.DNG").write_bytes(Negative(shot, profile, PictureFault()).dng())
    return folder / "1.DNG", folder / "2.DNG"


def decode_by_rawpy(paths: tuple[Path, Path]) -> None:
    for path in paths:
        with rawpy.imread(str(path)) as raw:
            raw.raw_image_visible.copy()


@pytest.mark.slow
def test_a_scout_is_judged_within_two_seconds_of_its_file(pair: tuple[Path, Path], raw_pair: tuple[Path, Path]) -> None:
    from duskhold.app.judging import Judge

    for base, scout in (pair, raw_pair):
        with Judge() as judging:
            spent = []
            for _ in range(RUNS):
                judging.look_ahead(base)
                time.sleep(4.0)  # as long as a scout frame is open
                process = judging._worker._process
                assert process is not None
                before_s, begun = used_s(process.pid), time.perf_counter()
                assert judging.judge_scout(base, scout, None).trouble is None
                spent.append(Cost(used_s(process.pid) - before_s, time.perf_counter() - begun))
        found = Cost(min(one.processor_s for one in spent), min(one.wall_s for one in spent))
        print(f"\nscout of {scout.suffix} judged in {found}, at the lowest priority")
        assert found.processor_s <= 2.0


@pytest.mark.slow
def test_comparing_raw_files(raw_pair: tuple[Path, Path]) -> None:
    from duskhold.frames.findings import compare_files
    from duskhold.frames.worker import Question

    question = Question(str(raw_pair[0]), str(raw_pair[1]))
    compare_files(question)
    bare, whole = costs(lambda: decode_by_rawpy(raw_pair), lambda: compare_files(question))
    print(f"\nunpacking the raw pair {bare}; comparing {whole}: {whole.processor_s / bare.processor_s:.2f} times")


@pytest.mark.slow
def test_comparing_raw_files_needs_at_most_four_decoded_frames_of_memory(raw_pair: tuple[Path, Path]) -> None:
    spent_mb, frame_mb = spent_mib(raw_pair), 6000 * 4000 * 3 / 2**20
    print(f"\nraw: peak {spent_mb:.0f} MiB over the interpreter's own: {spent_mb / frame_mb:.2f} decoded frames")
    assert spent_mb <= 4 * frame_mb


@pytest.mark.slow
def test_comparing_costs_at_most_three_times_decoding(pair: tuple[Path, Path]) -> None:
    from duskhold.frames.findings import compare_files
    from duskhold.frames.worker import Question

    question = Question(str(pair[0]), str(pair[1]))
    found = compare_files(question)
    assert found["shift_px"] == pytest.approx([2.3, -1.4], abs=0.1)
    by_opencv, by_pillow, whole = costs(
        lambda: [cv2.imread(str(path)) for path in pair],
        lambda: decode_by_pillow(pair),
        lambda: compare_files(question),
    )
    ratio = whole.processor_s / min(by_opencv.processor_s, by_pillow.processor_s)
    of_day = whole.wall_s / min(by_opencv.wall_s, by_pillow.wall_s)
    print(f"\ndecoding the pair {by_opencv}, {by_pillow}; comparing {whole}: {ratio:.2f} times ({of_day:.2f})")
    assert ratio <= 3.0


@pytest.mark.slow
def test_comparing_needs_at_most_four_decoded_frames_of_memory(pair: tuple[Path, Path]) -> None:
    spent_mb, frame_mb = spent_mib(pair), WIDTH * HEIGHT * 3 / 2**20
    print(f"\npeak {spent_mb:.0f} MiB over the interpreter's own: {spent_mb / frame_mb:.2f} decoded frames")
    assert spent_mb <= 4 * frame_mb
