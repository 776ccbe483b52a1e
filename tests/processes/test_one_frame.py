"""One frame through the real command, the real shutter processes and the real libgphoto2; the body's log is the truth.

Real time, because what is tested is processes and their clocks.
"""

from __future__ import annotations

import re
import signal
import time
from pathlib import Path

import pytest
from rig import Rig

from duskhold.shutter.clock import mono_now_s


def test_one_open_one_close_and_every_picture_home(bench: Rig) -> None:
    status, record = bench.run("expose", "--for", "1.5")
    opened_s, closed_s = bench.one_opening()
    assert status == 0
    assert record["outcome"] == "complete"
    assert record["timing"] == "held"
    assert closed_s - opened_s == pytest.approx(1.5, abs=0.06)
    assert record["open_s"] == pytest.approx(closed_s - opened_s, abs=0.06)
    assert {file["role"] for file in record["files"]} == {"long"}
    assert len(record["files"]) == 2
    assert bench.pictures_home()
    assert (record["settings"]["iso"], record["settings"]["mode"]) == ("100", "M")
    conditions = record["conditions"]
    assert conditions["free_bytes"] > 0 and 0 < conditions["battery_percent"] <= 100
    assert abs(conditions["clock_offset_s"]) <= 2
    assert record["sky"] is None  # the settings name no place
    status_file = Path(f"/proc/{bench.wait_until(lambda state: True)['pid']}/status").read_text(encoding="ascii")
    locked_kb = int(re.search(r"VmLck:\s*(\d+)", status_file)[1])  # type: ignore[index]
    assert locked_kb > 0 or any("memory not locked" in notice for notice in record["notices"])
    (day,) = (bench.folder / "data" / "frames").iterdir()
    assert {path.name for path in (day / "record").iterdir()} == {f"{record['frame_id']}.xmp", "log.txt", "frames.csv"}


def test_a_check_in_the_middle_of_a_frame_is_told_when_it_closes_and_asks_the_body_nothing(bench: Rig) -> None:
    holding = bench.start("expose", "--for", "4")
    bench.wait_until(lambda state: state["phase"] == "open")
    for word in ("check", "body"):
        status, answer = bench.run(word)
        assert status == 3
        assert re.search(r"while the shutter is open; it closes in \d\.\d s", answer["error"]["message"])
    assert bench.finish(holding)[0] == 0


def test_a_second_command_is_told_how_long_the_camera_is_busy(bench: Rig) -> None:
    first = bench.start("expose", "--for", "4")
    bench.wait_open()
    status, second = bench.run("expose", "--for", "1")
    assert status == 3
    assert second["outcome"] == "refused"
    assert second["open_s"] == 0
    assert "closes in 0:0" in second["reason"]
    assert bench.finish(first)[1]["outcome"] == "complete"
    assert len(bench.openings()) == 1


@pytest.mark.parametrize(("number", "expected"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_an_interrupted_command_closes_and_prints_the_record(bench: Rig, number: int, expected: int) -> None:
    process = bench.start("expose", "--for", "20")
    bench.wait_open()
    time.sleep(0.5)
    asked_s = mono_now_s()
    process.send_signal(number)
    status, record = bench.finish(process)
    opened_s, closed_s = bench.one_opening()
    assert status == expected
    assert record["outcome"] == "cut_short"
    assert closed_s - asked_s < 0.6
    assert record["open_s"] == pytest.approx(closed_s - opened_s, abs=0.06)
    assert bench.pictures_home()


def test_a_lead_pulled_and_put_back_closes_at_once_and_tells_the_true_time(bench: Rig) -> None:
    process = bench.start("expose", "--for", "2.5")
    bench.wait_open()
    time.sleep(0.5)
    dropped_s = bench.body.order("drop")
    noticed = bench.wait_until(lambda state: state["phase"] == "lost")
    assert mono_now_s() - dropped_s < 1.0
    assert noticed["shutter"] == "unknown"
    time.sleep(3.0)
    returned_s = bench.body.order("return")
    status, record = bench.finish(process)
    opened_s, closed_s = bench.one_opening()
    assert closed_s - returned_s < 1.0
    assert status == 4
    assert record["outcome"] == "link_lost"
    assert record["open_s"] == pytest.approx(closed_s - opened_s, abs=0.2)
    assert bench.pictures_home()


def test_a_link_that_hangs_is_found_by_the_closing_call(bench: Rig) -> None:
    process = bench.start("expose", "--for", "1.5")
    opened_s = bench.wait_open()
    holder = bench.holder_pid()
    bench.body.order("hang")
    bench.wait_until(lambda state: state["pid"] != holder, within_s=20.0)
    # A second of overrun, the new process, and 2.5 s in which its session does not begin.
    assert mono_now_s() - (opened_s + 1.5) < 6.0
    time.sleep(1.0)
    resumed_s = bench.body.order("resume")
    status, record = bench.finish(process)
    opened_s, closed_s = bench.one_opening()
    assert closed_s - resumed_s < 1.5
    assert status == 4
    assert record["outcome"] == "link_lost"
    assert record["open_s"] == pytest.approx(closed_s - opened_s, abs=0.2)


def test_a_stall_in_the_middle_does_not_shorten_the_frame(bench: Rig) -> None:
    process = bench.start("expose", "--for", "6")
    bench.wait_open()
    bench.body.order("hang")
    time.sleep(3.0)
    bench.body.order("resume")
    _, record = bench.finish(process)
    opened_s, closed_s = bench.one_opening()
    assert closed_s - opened_s == pytest.approx(6.0, abs=1.5)
    assert closed_s - opened_s > 5.9
    assert record["open_s"] == pytest.approx(closed_s - opened_s, abs=0.2)


@pytest.mark.parametrize("bench", [("--no-card",)], indirect=True)
def test_without_a_card_nothing_is_opened(bench: Rig) -> None:
    status, record = bench.run("expose", "--for", "1")
    assert status == 3
    assert record["outcome"] == "refused"
    assert "card" in record["reason"]
    assert bench.openings() == []
    for word in ("body", "check"):
        status, answer = bench.run(word)
        assert (status, answer["error"]["message"]) == (4, "The body shows no card.")
    bench.body.order("insert")
    bench.wait_until(lambda state: state["refusal"] is None)
    assert bench.run("expose", "--for", "0.8")[0] == 0


@pytest.mark.parametrize("bench", [("--fault", "release_ignored=1")], indirect=True)
def test_a_closing_that_the_body_ignores_is_repeated(bench: Rig) -> None:
    _, record = bench.run("expose", "--for", "1", within_s=40.0)
    opened_s, closed_s = bench.one_opening()
    assert record["open_s"] == pytest.approx(closed_s - opened_s, abs=0.1)


@pytest.mark.parametrize("bench", [("--fault", "press_refused=1")], indirect=True)
def test_a_body_that_refuses_to_open_is_told_as_refused(bench: Rig) -> None:
    status, record = bench.run("expose", "--for", "1")
    assert (status, record["outcome"], record["open_s"]) == (3, "refused", 0)
    assert bench.openings() == []


@pytest.mark.parametrize("bench", [("--set", "dark_frame=on")], indirect=True)
def test_a_body_that_takes_its_own_dark_frame_is_waited_for(bench: Rig) -> None:
    status, record = bench.run("expose", "--for", "7", within_s=60.0)
    opened_s, closed_s = bench.one_opening()
    assert status == 0
    assert record["open_s"] == pytest.approx(closed_s - opened_s, abs=0.06)
    assert bench.pictures_home()


@pytest.mark.slow
def test_a_lead_that_stays_away_a_minute_after_the_end_is_told_as_unknown(bench: Rig) -> None:
    process = bench.start("expose", "--for", "1.5")
    bench.wait_open()
    bench.body.order("drop")
    status, record = bench.finish(process, within_s=90.0)
    assert status == 4
    assert record["outcome"] == "link_lost"
    assert record["open_s"] is None
    assert record["shutter"] == "unknown"
    assert record["open_s_range"][0] <= 1.5
    returned_s = bench.body.order("return")
    bench.body.wait_for("closed")
    assert bench.one_opening()[1] - returned_s < 1.0
    _, later = bench.run("expose", "--for", "1")
    assert later["earlier"][0]["frame_id"] == record["frame_id"]
    assert later["earlier"][0]["open_s"] > 60.0
    assert later["outcome"] == "complete"
