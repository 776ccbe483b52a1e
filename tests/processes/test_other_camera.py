"""Another camera behind the same address, and two commands that find the same frame. Real processes and library.

Real time, because what is tested is who writes what when several processes look at one frame.
"""

from __future__ import annotations

import sqlite3

import pytest
from rig import SMALL, Rig

from duskhold.camera.serving import ServedBody


def outcomes(made: Rig, frame_id: str) -> list[tuple[str, int]]:
    """Every line that the journal has of a frame's outcome: the word, and how many files it names."""
    with sqlite3.connect(made.folder / "data" / "journal.sqlite") as journal:
        query = "SELECT outcome, files FROM outcome WHERE frame_id = ? ORDER BY number"
        rows = journal.execute(query, (frame_id,)).fetchall()
    journal.close()
    return [(str(word), str(files).count('"path"')) for word, files in rows]


def test_after_a_kill_another_camera_is_not_taken_for_the_first_until_a_person_says_so(bench: Rig) -> None:
    command = bench.start("expose", "--for", "30")
    bench.wait_open()
    command.kill()
    port = bench.body.port
    bench.body.stop()
    keeper, holder = bench.keeper_pid(), bench.holder_pid()
    bench.kill(keeper)
    bench.kill(holder)
    options = (*SMALL, "--port", str(port), "--leftovers", "1", "--profile", "serial=SIM-000002")
    with ServedBody(bench.folder / "other", options) as other:
        assert other.port == port
        status, refused = bench.run("expose", "--for", "0.5")
        assert (status, refused["outcome"]) == (3, "refused")
        assert "another camera answers (serial SIM-000002): put back SIM-000001" in refused["reason"]
        assert not other.lines("opened")

        status, cleared = bench.run("body", "clear", "--replaced")
        assert (status, cleared["latched"], len(cleared["given_up"])) == (0, False, 1)
        _, told = bench.run("frames")
        (first,) = [one for one in told["frames"] if one["frame_id"] in cleared["given_up"]]
        assert (first["outcome"], first["open_s"], first["shutter"]) == ("link_lost", None, "unknown")
        assert (first["files"], "as a person said" in first["reason"]) == ([], True)

        bench.wait_until(lambda state: state["refusal"] is None)
        status, record = bench.run("expose", "--for", "0.5")
        assert (status, record["outcome"], len(record["files"])) == (0, "complete", 2)


@pytest.mark.parametrize("bench", [("--fault", "link_slow_s=0.02", "--profile", "storing_s=1.5")], indirect=True)
def test_a_frame_that_two_commands_find_is_written_down_and_fetched_once(bench: Rig) -> None:
    first = bench.start("expose", "--for", "0.5")
    bench.body.wait_for("closed", 1, 15.0)
    bench.wait_until(lambda state: bool(state["reports"]))
    second = bench.start("expose", "--for", "0.3")
    status, record = bench.finish(first)
    assert (status, len(record["files"])) == (0, 2)
    assert bench.finish(second)[1]["outcome"] == "complete"
    # Two lines: its end, and its end with its files; nobody wrote over them.
    assert outcomes(bench, record["frame_id"]) == [("complete", 0), ("complete", 2)]
    assert bench.pictures_home()
