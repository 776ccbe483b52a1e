"""`rehearse` from the command line: one run of everything, through the real library, and what it leaves behind."""

import hashlib
import json
import tempfile
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from duskhold.faces import rehearse
from duskhold.faces.cli import main

SEED = 3


@dataclass(frozen=True, slots=True)
class Run:
    home: Path
    data: Path
    status: int
    body: dict[str, Any]
    error: str
    left_over: set[Path]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Run]:
    folder = tmp_path_factory.mktemp("rehearse")
    out, error = StringIO(), StringIO()
    # A temporary folder of its own, since other tests rehearse too; a short one, since sockets lie in it.
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory(prefix="dh-") as temporary:
        patch.setattr(tempfile, "tempdir", temporary)
        patch.setenv("TMPDIR", temporary)
        patch.setenv("HOME", str(folder / "home"))
        patch.setenv("DUSKHOLD_RUNTIME", str(folder / "run"))
        for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "DUSKHOLD_SETTINGS"):
            patch.delenv(name, raising=False)
        with redirect_stdout(out), redirect_stderr(error):
            status = main(["rehearse", "--seed", str(SEED), "--json", "--data", str(folder / "data")])
        left_over = set(Path(temporary).iterdir())
        yield Run(folder / "home", folder / "data", status, json.loads(out.getvalue()), error.getvalue(), left_over)


def processes_about(text: str) -> list[str]:
    found = []
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = path.read_bytes().replace(b"\0", b" ").decode(errors="replace")
        except OSError:
            continue  # it has ended meanwhile
        if text in words:
            found.append(words)
    return found


def test_it_is_done_with_the_seed_said_first(run: Run) -> None:
    assert run.status == 0
    assert run.error.splitlines()[0] == f"Seed {SEED}"
    assert run.body["seed"] == SEED


def test_the_corrected_frame_is_right_and_the_other_is_not(run: Run) -> None:
    body = run.body
    assert abs(body["corrected"]["error_stops"]) < 0.1
    assert body["uncorrected"]["error_stops"] < -1 / 3
    assert body["corrected"]["open_s"] == pytest.approx(body["decision"]["open_s"], abs=0.1)
    assert body["uncorrected"]["open_s"] == pytest.approx(body["decision"]["plain_s"], abs=0.1)
    assert body["base"]["base_s"] == 0.125
    assert body["drift"]["measured_stops_per_min"] != pytest.approx(body["drift"]["model_stops_per_min"], abs=0.02)


def test_the_library_held_the_shutter_once_for_as_long_as_the_record_says(run: Run) -> None:
    """The body's own log is the witness; it differs by the latencies, which nobody has learnt yet."""
    library = run.body["library"]
    assert library["outcome"] == "complete"
    assert library["camera"].startswith("ptpip:127.0.0.1:")
    assert library["body"]["openings"] == 1
    assert library["planned_s"] == 3.0
    assert library["body"]["open_s"] == pytest.approx(library["open_s"], abs=2 * library["open_s_sigma_s"])


def test_the_files_are_where_it_says_and_as_it_says(run: Run) -> None:
    files = run.body["files"]
    assert [file["role"] for file in files] == ["base"] * 4 + ["long"] * 6
    for file in files:
        content = Path(file["path"]).read_bytes()
        assert (len(content), hashlib.sha256(content).hexdigest()) == (file["bytes"], file["sha256"])
        assert Path(file["path"]).is_relative_to(run.data / "simulated")


def test_the_picture_is_large_and_not_empty(run: Run) -> None:
    with Image.open(run.body["picture"]) as picture:
        assert picture.format == "PNG"
        assert picture.width >= 1600
        assert len(set(picture.convert("RGB").resize((160, 108)).get_flattened_data())) > 100


def test_the_frames_are_among_the_simulated_ones(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["frames", "--json", "--data", str(run.data)]) == 0
    frames = json.loads(capsys.readouterr().out)["frames"]
    assert [frame["outcome"] for frame in frames] == ["complete"] * 5
    named = {run.body[name]["frame_id"] for name in ("corrected", "uncorrected", "library")}
    assert named <= {frame["frame_id"] for frame in frames}
    assert not (run.data / "journal.sqlite").exists()


def test_nothing_is_left_running_and_nothing_of_the_user_is_touched(run: Run) -> None:
    assert processes_about(str(run.data)) == []
    assert run.left_over == set()
    assert not (run.data.parent / "run").exists()
    assert not (run.home / ".local" / "state").exists()


def test_for_people(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    rehearse._show(run.body)
    said = capsys.readouterr().out
    for word in ("plain time", "open time", "drift, measured", "drift, model", "opened once", run.body["picture"]):
        assert word in said
    assert "\x1b" not in said
    assert all(len(line) <= 80 for line in said.splitlines() if "/" not in line)


def test_a_seed_that_is_none() -> None:
    assert main(["rehearse", "--seed", "-1"]) == 2
    assert main(["rehearse", "--seed", "x"]) == 2
