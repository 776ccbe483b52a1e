"""`rehearse OUTING.yaml` from the command line, as a new user would: what is said, what is left behind, how it ends.

One run in real time, by the very command: only so it can be interrupted like a person does.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from duskhold.faces.cli import main
from duskhold.journal.journal import Journal

OUTING = """
name: Two tries at Polvarrow Quay
place: {name: Polvarrow Quay, latitude_deg: 50.20, longitude_deg: -4.10}
start: {clock: "2026-03-20T18:40:00Z"}
want: {kind: again, first_s: %s, between_s: 6}
kit:
  filters: [six]
  aperture: f/11
  iso: 100
  bag: [{name: six, label: 6.1}]
bounds: {longest_s: 600, frames: %s}
"""


@dataclass(frozen=True, slots=True)
class Run:
    status: int
    out: str
    error: str


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("rehearse-outing")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HOME", str(folder / "home"))
        patch.setenv("DUSKHOLD_RUNTIME", str(folder / "run"))
        for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "DUSKHOLD_SETTINGS"):
            patch.delenv(name, raising=False)
        yield folder


def outing(home: Path, first_s: float = 30.0, frames: int = 2) -> str:
    path = home / "outing.yaml"
    path.write_text(OUTING % (first_s, frames), encoding="utf-8")
    return str(path)


def rehearse(home: Path, *options: str) -> Run:
    out, error = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(error):
        status = main(["rehearse", outing(home), "--data", str(home / "data"), "--weather", "clear", *options])
    return Run(status, out.getvalue(), error.getvalue())


@pytest.fixture(scope="module")
def told(home: Path) -> Run:
    return rehearse(home, "--seed", "4")


@pytest.fixture(scope="module")
def answered(home: Path) -> tuple[Run, dict[str, Any]]:
    run = rehearse(home, "--seed", "4", "--json")
    body: dict[str, Any] = json.loads(run.out)
    return run, body


def test_the_evening_is_told_as_it_goes_and_summed_up(told: Run) -> None:
    assert told.status == 0
    lines = told.error.splitlines()
    assert lines[0] == "Seed 4"
    assert all(re.match(r"2026-03-20T\d\d:\d\d:\d\dZ  ", line) for line in lines[1:])
    assert lines[-1].endswith("  over")
    assert "2 long frames left until" in lines[1] and "then all frames are taken" in lines[1]
    assert [line for line in lines if line.endswith("  all 2 frames are taken")] == [lines[-2]]
    assert told.out.splitlines()[0].endswith(": all 2 frames are taken")
    assert "frames_done" not in told.out + told.error
    assert [line.split()[0] for line in told.out.splitlines() if " complete " in line] == ["1", "2"]
    assert max(len(line) for line in (*lines, *told.out.split("Page")[0].splitlines())) <= 130


def test_as_json_it_is_one_object_and_quiet(answered: tuple[Run, dict[str, Any]]) -> None:
    run, body = answered
    assert run.status == 0 and run.error.splitlines() == ["Seed 4"]
    assert body["stop"]["reason"] == "frames_done" and body["reason"] is None
    assert [frame["role"] for frame in body["frames"]] == ["long", "long"]
    assert body["frames"][0]["open_s"] == pytest.approx(30.0, abs=0.1)
    assert body["begins_utc"] == "2026-03-20T18:40:00.000Z"


def test_it_leaves_the_folder_that_an_evening_leaves(answered: tuple[Run, dict[str, Any]]) -> None:
    _, body = answered
    folder, page = Path(body["folder"]), Path(body["page"])
    assert page.is_file() and page.is_relative_to(folder)
    files = [one for frame in body["frames"] for one in frame["files"]]
    assert len(files) == 4 and all(Path(one["path"]).stat().st_size == one["bytes"] for one in files)
    assert {path.name for path in page.parent.iterdir()} >= {"report.html", "log.txt", "frames.csv", "SHA256SUMS.txt"}
    with Journal.open(folder / "journal.sqlite") as journal:
        assert journal.count() == 2 and journal.unfinished() == []
        (evening,) = journal.evenings(5)
        assert evening.outing == OUTING % (30.0, 2)
        assert "Ended" not in [message["event"] for _, message in journal.happenings(evening.evening_id)]
        assert "evening_ended" in [note.word for note in journal.notes(50)]


def test_the_same_seed_is_the_same_evening(told: Run, answered: tuple[Run, dict[str, Any]]) -> None:
    for frame in answered[1]["frames"]:
        assert f"{frame['opened_utc'][11:19]}" in told.out


def test_faults_and_people_are_staged(home: Path) -> None:
    run = rehearse(home, "--seed", "4", "--json", "--faults", "press_refused=1", "--person", "away")
    body = json.loads(run.out)
    assert run.status == 0 and [frame["outcome"] for frame in body["frames"]] == ["refused"]
    assert body["stop"]["reason"] == "fault" and "nobody came" in body["stop"]["line"]


@pytest.mark.parametrize(
    ("option", "value", "hint"),
    [
        ("--faults", "earthquake=1", "is no fault"),
        ("--faults", "press_busy=often", "often"),
        ("--speed", "0", "is no speed"),
        ("--speed", "fast", "is no speed"),
    ],
)
def test_what_is_no_fault_and_no_speed_is_refused(option: str, value: str, hint: str, home: Path) -> None:
    run = rehearse(home, "--json", option, value)
    assert run.status == 2
    error = json.loads(run.out)["error"]
    assert error["field"] == option and hint in error["message"]


def test_an_outing_that_is_none_is_refused_with_its_line(home: Path) -> None:
    path = home / "wrong.yaml"
    path.write_text((OUTING % (30.0, 2)).replace("kind: again", "kind: never"), encoding="utf-8")
    out = StringIO()
    with redirect_stdout(out), redirect_stderr(StringIO()):
        status = main(["rehearse", str(path), "--json", "--data", str(home / "data")])
    error = json.loads(out.getvalue())["error"]
    assert status == 2 and "want.kind" in json.dumps(error) and "wrong.yaml" in json.dumps(error)


def test_ctrl_c_closes_keeps_and_tells_the_record(home: Path) -> None:
    line = [sys.executable, "-m", "duskhold", "rehearse", outing(home, 240.0, 9), "--weather", "clear", "--seed", "4",
            "--speed", "600", "--json", "--data", str(home / "data")]  # fmt: skip
    environment = os.environ | {"PYTHONPATH": str(Path(main.__code__.co_filename).parents[2])}
    with subprocess.Popen(line, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            _until_opened(home, process)
            process.send_signal(signal.SIGINT)
            out, _ = process.communicate(timeout=30)
        finally:
            process.kill()
    body = json.loads(out)
    assert process.returncode == 130 and body["stop"]["reason"] == "left_by_person"
    last = body["frames"][-1]
    assert last["outcome"] == "cut_short" and 0.0 < last["open_s"] < 240.0 and len(last["files"]) == 2


def _until_opened(home: Path, process: subprocess.Popen[str]) -> None:
    """The newest rehearsal has written what it is about to do."""
    known = set((home / "data").glob("simulated/rehearsals/*"))
    until_s = time.monotonic() + 30.0
    while time.monotonic() < until_s and process.poll() is None:
        for folder in set((home / "data").glob("simulated/rehearsals/*")) - known:
            if (folder / "journal.sqlite").is_file():
                with Journal.open(folder / "journal.sqlite") as journal:
                    if journal.count():
                        return
        time.sleep(0.05)
    raise AssertionError("nothing opens")
