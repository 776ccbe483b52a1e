"""Trouble around a frame: full disks, damaged files, processes told to end, pictures from somebody's own hand.

Real time and real processes, because that is what goes wrong. The body's log is the truth.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from rig import Rig

from duskhold.plan.stamp import utc_text
from duskhold.shutter.clock import mono_now_s


@contextmanager
def tiny_disk(folder: Path) -> Iterator[Path]:
    """A disk of one megabyte at `folder`, and a filler that takes all that is left of it."""
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m,mode=700", "none", str(folder)], check=True)
    try:
        yield folder / "filler"
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(filler: Path) -> None:
    with filler.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(b"x" * 4096)
        except OSError:
            return


needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="a disk of its own is mounted by root only")


@needs_root
def test_a_disk_that_fills_while_the_shutter_is_open_does_not_keep_it_open(bench: Rig) -> None:
    with tiny_disk(bench.places.state) as filler:
        process = bench.start("expose", "--for", "3")
        opened_s = bench.wait_open()
        fill(filler)
        (closed,) = bench.body.wait_for("closed", 1, 10.0)
        assert closed.now_mono - opened_s == pytest.approx(3.0, abs=0.5)
        status, record = bench.finish(process)
        assert record["outcome"] == "complete"
        assert status == 0
        filler.unlink()
        bench.wait_until(lambda state: state["refusal"] is None)
        assert bench.run("expose", "--for", "1")[0] == 0


@needs_root
def test_a_holder_killed_with_the_disk_full_is_followed_by_one_that_closes(bench: Rig) -> None:
    with tiny_disk(bench.places.state) as filler:
        process = bench.start("expose", "--for", "20")
        bench.wait_open()
        fill(filler)
        killed_s = bench.kill(bench.holder_pid())
        (closed,) = bench.body.wait_for("closed", 1, 10.0)
        assert closed.now_mono - killed_s < 1.5
        filler.unlink()
        process.kill()
        process.wait()


@needs_root
def test_a_holder_killed_with_the_disk_gone_read_only_is_followed_by_one_that_closes(bench: Rig) -> None:
    """As a failing memory card makes it. Those that have files open go on; the next one opens them anew."""
    process = bench.start("expose", "--for", "20")
    bench.wait_open()
    holder, state = bench.holder_pid(), str(bench.places.state)
    subprocess.run(["mount", "--bind", state, state], check=True)
    try:
        subprocess.run(["mount", "-o", "remount,bind,ro", state], check=True)
        killed_s = bench.kill(holder)
        (closed,) = bench.body.wait_for("closed", 1, 10.0)
        assert closed.now_mono - killed_s < 1.5
    finally:
        process.kill()
        process.wait()
        subprocess.run(["umount", "-l", state], check=True)
        bench.kill(bench.keeper_pid())
        bench.kill(bench.wait_until(lambda state: True)["pid"])  # its number found no place in the lock


def test_keeper_and_holder_killed_are_both_followed_while_the_command_lives(bench: Rig) -> None:
    process = bench.start("expose", "--for", "20")
    bench.wait_open()
    bench.kill(bench.keeper_pid())
    killed_s = bench.kill(bench.holder_pid())
    _, record = bench.finish(process)
    opened_s, closed_s = bench.one_opening()
    assert closed_s - killed_s < 5.0
    assert record["open_s"] == pytest.approx(closed_s - opened_s, abs=0.2)


@pytest.mark.parametrize("told", ["holder", "keeper"])
def test_told_to_end_they_close_first_and_the_record_is_printed(bench: Rig, told: str) -> None:
    process = bench.start("expose", "--for", "20")
    bench.wait_open()
    pid = bench.holder_pid() if told == "holder" else bench.keeper_pid()
    assert pid is not None
    os.kill(pid, signal.SIGTERM)
    asked_s = mono_now_s()
    status, record = bench.finish(process)
    opened_s, closed_s = bench.one_opening()
    assert closed_s - asked_s < 0.6
    assert status == 4
    assert record["outcome"] == "cut_short"
    assert record["open_s"] == pytest.approx(closed_s - opened_s, abs=0.06)
    assert bench.pictures_home()


def test_a_keeper_told_to_end_while_the_link_hangs_has_the_shutter_closed_all_the_same(bench: Rig) -> None:
    """The holder ends itself over a call that hung, and counts on the next one."""
    process = bench.start("expose", "--for", "20")
    bench.wait_open()
    bench.kill(process.pid)
    first, keeper = bench.holder_pid(), bench.keeper_pid()
    assert keeper is not None
    bench.body.order("hang")
    os.kill(keeper, signal.SIGTERM)
    bench.wait_gone(first)
    bench.body.order("resume")
    bench.body.wait_for("closed", 1, 10.0)
    bench.wait_gone(keeper)
    assert bench.holder_pid() is None  # and does not wait until the camera was idle for a minute


@pytest.mark.parametrize("damaged", ["card.json", "blackbox.jsonl"])
def test_a_damaged_file_of_ours_does_not_stop_the_closing(bench: Rig, damaged: str) -> None:
    process = bench.start("expose", "--for", "20")
    bench.wait_open()
    bench.kill(process.pid)
    file = bench.places.state / damaged
    file.write_text('{"word": "closed", "frame_id": "f0", "detail": {}, "mono_s": 1, "boot": "b"}\n{"torn')
    killed_s = bench.kill(bench.holder_pid())
    (closed,) = bench.body.wait_for("closed", 1, 10.0)
    assert closed.now_mono - killed_s < 1.5
    record = bench.run("expose", "--for", "1")[1]
    assert record["outcome"] == "complete"
    if damaged == "card.json":  # the body told of its picture, which is then not taken for an old one
        (earlier,) = record["earlier"]
        assert len(earlier["files"]) == 2 and bench.pictures_home()


def test_a_black_box_that_cannot_be_read_does_not_stop_the_closing_but_the_next_opening(bench: Rig) -> None:
    process = bench.start("expose", "--for", "20")
    bench.wait_open()
    bench.kill(process.pid)
    box = bench.places.state / "blackbox.jsonl"
    box.rename(box.with_suffix(".aside"))
    box.mkdir()
    killed_s = bench.kill(bench.holder_pid())
    (closed,) = bench.body.wait_for("closed", 1, 10.0)
    assert closed.now_mono - killed_s < 1.5
    state = bench.wait_until(lambda state: state["refusal"] is not None)
    assert state["refusal"]["code"] == "black_box_unwritable"
    assert state["past_unread"] in state["notices"]
    assert bench.run("expose", "--for", "1")[1]["outcome"] == "refused"
    assert bench.run("frames")[1]["frames"][-1]["outcome"] == "unknown"
    box.rmdir()
    box.with_suffix(".aside").rename(box)
    bench.kill(bench.holder_pid())
    (earlier,) = bench.run("expose", "--for", "1")[1]["earlier"]
    opened_s, closed_s = bench.openings()[0]
    assert closed_s is not None
    assert earlier["open_s_range"][0] <= closed_s - opened_s <= earlier["open_s_range"][1]
    assert len(earlier["files"]) == 2


def test_a_holder_that_stands_still_in_the_middle_of_a_frame_does_not_lose_it(bench: Rig) -> None:
    process = bench.start("expose", "--for", "14")
    bench.wait_open()
    holder = bench.holder_pid()
    assert holder is not None
    os.kill(holder, signal.SIGSTOP)
    time.sleep(11.5)  # longer than the keeper's patience with a holder that has nothing open
    os.kill(holder, signal.SIGCONT)
    status, record = bench.finish(process)
    opened_s, closed_s = bench.one_opening()
    assert status == 0
    assert closed_s - opened_s == pytest.approx(14.0, abs=0.1)
    assert record["outcome"] == "complete"


def test_a_picture_taken_by_hand_between_two_frames_is_nobodys_long_frame(bench: Rig) -> None:
    bench.run("expose", "--for", "0.5")
    card = next(bench.body.card.rglob("DSK_0001.DNG")).parent
    shutil.copy(card / "DSK_0001.DNG", card / "DSK_0900.DNG")
    _, record = bench.run("expose", "--for", "0.5")
    names = sorted(Path(file["path"]).name.rpartition("-long-")[2] for file in record["files"])
    assert len(names) == 2
    assert not [name for name in names if "0900" in name]


def test_an_opening_an_hour_away_is_not_waited_for_with_the_camera_in_hand(bench: Rig) -> None:
    opens = datetime.now(UTC) + timedelta(seconds=12)
    metered = utc_text(datetime.now(UTC))
    words = ("--base", "1/4", "--filters", "1", "--metered", metered, "--opens", utc_text(opens), "--rate", "0")
    process = bench.start("expose", *words)
    time.sleep(2.0)
    assert bench.holder_pid() is None
    status, record = bench.finish(process)
    assert status == 0
    opened = datetime.fromisoformat(record["opened_utc"])
    assert abs((opened - opens).total_seconds()) < 1.0


def test_an_interrupt_before_the_opening_opens_nothing(bench: Rig) -> None:
    process = bench.start("expose", "--for", "5")
    bench.wait_until(lambda state: True)
    process.send_signal(signal.SIGINT)
    status, record = bench.finish(process)
    assert status == 130
    if record["outcome"] == "refused":  # it came before the opening
        assert bench.openings() == []
    else:
        opened_s, closed_s = bench.one_opening()
        assert closed_s - opened_s < 1.0


def test_a_second_interrupt_leaves_a_lost_camera_to_the_shutter_process(bench: Rig) -> None:
    process = bench.start("expose", "--for", "60")
    bench.wait_open()
    bench.body.order("drop")
    bench.wait_until(lambda state: state["phase"] == "lost")
    process.send_signal(signal.SIGINT)
    status, record = bench.finish(process, within_s=10.0)
    assert status == 130
    assert (record["outcome"], record["open_s"], record["shutter"]) == ("link_lost", None, "unknown")
    returned_s = bench.body.order("return")
    bench.body.wait_for("closed")
    assert bench.one_opening()[1] - returned_s < 1.0
    _, later = bench.run("expose", "--for", "0.5")
    assert later["earlier"][0]["frame_id"] == record["frame_id"]
    assert later["earlier"][0]["open_s"] == pytest.approx(bench.openings()[0][1] - bench.openings()[0][0], abs=0.2)  # type: ignore[operator]


def test_a_frame_of_another_data_folder_is_recorded_there(bench: Rig) -> None:
    process = bench.start("expose", "--for", "1")
    bench.wait_open()
    bench.kill(process.pid)
    bench.wait_until(lambda state: bool(state["reports"]))
    line = [sys.executable, "-m", "duskhold", "expose", "--for", "0.5", "--json", "--camera", bench.body.address]
    line += ["--data", str(bench.folder / "elsewhere")]
    elsewhere = subprocess.run(line, env=bench.environment, capture_output=True, text=True, timeout=30, check=True)
    answer = json.loads(elsewhere.stdout)
    assert answer["outcome"] == "complete"
    assert all(str(bench.folder / "data") in file["path"] for file in answer["earlier"][0]["files"])
    assert bench.run("frames")[1]["frames"][0]["outcome"] == "complete"


@pytest.mark.parametrize("bench", [("--fault", "release_ignored=1-4")], indirect=True)
def test_the_latch_is_cleared_by_a_person_and_by_nobody_else(bench: Rig) -> None:
    bench.run("expose", "--for", "0.5", within_s=60.0)
    status, record = bench.run("expose", "--for", "0.5")
    assert status == 3
    assert "duskhold body clear" in record["reason"]
    assert bench.run("body", "clear")[1]["latched"] is False
    assert bench.run("expose", "--for", "0.5")[0] == 0


def test_a_link_that_stumbles_is_waited_for_and_a_pulled_lead_is_not(bench: Rig) -> None:
    """Whoever asks in the second in which the session is begun anew is answered all the same."""
    assert bench.run("body")[0] == 0
    bench.body.order("drop")
    bench.wait_until(lambda state: state["phase"] == "lost")
    asking = bench.start("body")
    time.sleep(1.0)  # it asks by now
    bench.body.order("return")
    assert bench.finish(asking)[0] == 0
    bench.body.order("drop")
    bench.wait_until(lambda state: state["phase"] == "lost")
    began_s = mono_now_s()
    status, body = bench.run("body")
    assert (status, body["error"]["code"]) == (4, "not_asked")
    assert mono_now_s() - began_s < 15.0
