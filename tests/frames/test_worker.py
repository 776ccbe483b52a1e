"""The measuring process: lowest priority, first to go, and never a traceback for whoever asked."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from bundled import bundled
from PIL import Image

from duskhold.frames import worker
from duskhold.frames.worker import MeasuringFailed, Question, compare_apart


@pytest.fixture
def base(tmp_path: Path) -> str:
    path = tmp_path / "base.png"
    Image.fromarray((bundled("coffee") * 0.8).astype("uint8")).save(path)
    return str(path)


def test_it_steps_back_before_it_works() -> None:
    # getpriority(2) and proc(5).
    told = subprocess.run(
        [
            sys.executable,
            "-c",
            "import os; from duskhold.frames.worker import step_back; step_back(); "
            "print(os.nice(0), open('/proc/self/oom_score_adj').read().strip())",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout.split() == ["19", "1000"]
    assert os.nice(0) < 19


def test_the_answer_is_plain_data(base: str) -> None:
    answer = compare_apart(Question(base, base, limits={"corner_px": 2.0}))
    assert (answer["good"], answer["limits"]["corner_px"]) == (True, 2.0)
    json.dumps(answer, allow_nan=False)


def test_errors_have_names(base: str, tmp_path: Path) -> None:
    with pytest.raises(MeasuringFailed, match="No such file") as caught:
        compare_apart(Question(base, str(tmp_path / "none.jpg")))
    assert caught.value.code == "picture_missing"
    (tmp_path / "empty.jpg").touch()
    with pytest.raises(MeasuringFailed, match="0 bytes") as caught:
        compare_apart(Question(base, str(tmp_path / "empty.jpg")))
    assert caught.value.code == "picture_empty"


def test_a_worker_that_dies_or_hangs_is_said(base: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(MeasuringFailed, match="TypeError") as caught:
        compare_apart(Question(base, base, limits={"no_such_limit": 1.0}))
    assert caught.value.code == "measuring_died"
    monkeypatch.setattr(worker, "PATIENCE_S", 0.05)
    with pytest.raises(MeasuringFailed) as caught:
        compare_apart(Question(base, base))
    assert caught.value.code == "measuring_slow"
