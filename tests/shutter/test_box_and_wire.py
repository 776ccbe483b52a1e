"""The black box across power losses, and the wire against whatever comes over it."""

from __future__ import annotations

import json
import socket
import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paper import PaperCamera

from duskhold.camera.port import Picture
from duskhold.shutter import wire
from duskhold.shutter.blackbox import KEEP_LINES, BlackBox
from duskhold.shutter.clock import SimulatedClock
from duskhold.shutter.errands import Errands
from duskhold.shutter.leftover import left_over
from duskhold.shutter.report import Exposure, Kind
from duskhold.shutter.stock import Stock, StockUnknown
from duskhold.shutter.story import Cause
from duskhold.shutter.wire import Inbox, WireClosed, WireError, pack, parse_request, receive, request

PLAN = Exposure("f1", Kind.HELD, 30.0, 35.0, -0.02, 0.005, "here")


def test_every_line_written_is_read_back(tmp_path: Path) -> None:
    box = BlackBox(tmp_path / "box")
    box.write("started")
    box.write("opening", "f1", {"open_s": 3.0})
    box.close()
    lines = BlackBox(tmp_path / "box").lines()
    assert [line.word for line in lines] == ["started", "opening"]
    assert lines[1].frame_id == "f1"
    assert lines[1].detail == {"open_s": 3.0}


@given(st.integers(0, 400))
def test_a_box_cut_off_anywhere_keeps_its_whole_lines(cut: int) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "box"
        box = BlackBox(path)
        for word in ("started", "opening"):
            box.write(word, "f1")
        box.close()
        whole = path.read_bytes()
        path.write_bytes(whole[: min(cut, len(whole))])
        again = BlackBox(path)
        again.write("started")
        words = [line.word for line in again.lines()]
        again.close()
        kept = whole[: min(cut, len(whole))].count(b"\n")
        assert words[:kept] == ["started", "opening"][:kept]
        assert words[-1] == "started"


def test_a_long_box_is_shortened_to_its_newest_lines(tmp_path: Path) -> None:
    path = tmp_path / "box"
    line = json.dumps({"word": "safe", "mono_s": 1.0, "boot": "b", "frame_id": None, "detail": {}})
    path.write_text(f"{line}\n" * (KEEP_LINES + 10))
    box = BlackBox(path)
    box.shorten()
    box.write("started")
    lines = box.lines()
    box.close()
    assert len(lines) == KEEP_LINES // 2 + 1
    assert lines[-1].word == "started"


def opening(box: BlackBox) -> None:
    box.write("opening", "f1", PLAN.as_message() | {"utc_offset_s": 1.7e9})


def test_an_opening_without_a_closing_is_left_over(tmp_path: Path) -> None:
    box = BlackBox(tmp_path / "box")
    opening(box)
    box.write("opened", "f1", {"opened_s": 7.0, "due_s": 37.0})
    box.write("lost", "f1", {"reason": "the link is gone"})
    lines = box.lines()
    box.close()
    begin = left_over(lines, lines[0].boot)
    assert begin.frame is not None
    assert begin.frame.exposure == PLAN
    assert begin.frame.opened_s == 7.0
    assert begin.frame.cause is Cause.LINK
    assert begin.frame.same_boot


def test_a_frame_of_another_boot_is_known_to_be_one(tmp_path: Path) -> None:
    box = BlackBox(tmp_path / "box")
    opening(box)
    lines = box.lines()
    box.close()
    begin = left_over(lines, "another boot")
    assert begin.frame is not None
    assert not begin.frame.same_boot


@pytest.mark.parametrize(
    "strange",
    [
        {"word": "opened", "detail": {}},
        {"word": "opened", "detail": {"opened_s": "soon"}},
        {"word": "lost", "detail": None},
        {"word": "closing", "mono_s": "later"},
        {"word": "closed", "detail": {"frame_id": "f1"}},
    ],
)
def test_a_line_of_another_version_is_passed_over(tmp_path: Path, strange: dict[str, object]) -> None:
    """Whoever reads it has a shutter to close first."""
    path = tmp_path / "box"
    box = BlackBox(path)
    box.write("opening", "f1", PLAN.as_message() | {"utc_offset_s": 0.0})
    box.close()
    (opening,) = box.lines()
    whole = {"mono_s": opening.mono_s, "boot": opening.boot, "frame_id": "f1", "detail": {}} | strange
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(whole) + "\n")
    begin = left_over(box.lines(), opening.boot)
    assert begin.reports == ()
    assert (begin.frame is None) == (strange["word"] == "closed")


def test_the_card_is_remembered_across_processes(tmp_path: Path) -> None:
    old, new = Picture("/a", "1.DNG", 5), Picture("/a", "2.DNG", 5)
    Stock(tmp_path / "card").take([old])
    assert Stock(tmp_path / "card").new([old, new]) == [new]


def test_where_nobody_knows_what_was_on_the_card_only_a_picture_that_was_told_is_the_frames(tmp_path: Path) -> None:
    damaged = tmp_path / "card"
    damaged.write_text("[", encoding="utf-8")
    clock = SimulatedClock()
    camera = PaperCamera(clock, stored=[Picture("/a", name, 5) for name in ("1.DNG", "2.DNG", "2.JPG")])
    camera.connect()
    told: list[Picture] = []
    errands = Errands(camera, Stock(damaged), told)
    with pytest.raises(StockUnknown, match="not known"):
        errands.make("pictures", {}, 1, []).run()
    assert errands.count_new() == 0
    told.append(Picture("/a", "2.DNG", 0))
    new = errands.make("pictures", {}, 1, []).run()["new"]
    assert isinstance(new, list)
    assert [one["name"] for one in new] == ["2.DNG", "2.JPG"]
    assert errands.count_new() == 2


@given(st.lists(st.dictionaries(st.text(max_size=5), st.integers()), max_size=5), st.integers(1, 9))
def test_messages_come_out_as_they_went_in_whatever_the_pieces(messages: list[dict[str, int]], piece: int) -> None:
    data = b"".join(pack(message) for message in messages)
    inbox, out = Inbox(), []
    for start in range(0, len(data), piece):
        inbox.add(data[start : start + piece])
        while (message := inbox.take()) is not None:
            out.append(message)
    assert out == messages


def test_a_length_over_the_limit_is_refused_before_it_is_read() -> None:
    inbox = Inbox()
    inbox.add(struct.pack(">I", wire.LONGEST_MESSAGE_BYTES + 1))
    with pytest.raises(WireError, match="limit"):
        inbox.take()


@pytest.mark.parametrize(
    ("message", "why"),
    [
        ({"v": 2, "word": "state", "body": {}}, "version"),
        ({"v": 1, "word": "open", "body": {}}, "unknown word"),
        ({"v": 1, "word": 7, "body": {}}, "unknown word"),
        ({"v": 1, "word": "state", "body": []}, "object"),
        ({}, "version"),
    ],
)
def test_what_is_not_of_this_wire_is_refused(message: dict[str, object], why: str) -> None:
    with pytest.raises(WireError, match=why):
        parse_request(message)


def test_the_wire_has_no_word_for_open() -> None:
    assert not {word for word in wire.WORDS if "open" in word}


@pytest.mark.parametrize("data", [b"\xff\xfe", b"[1]", b"{"])
def test_what_is_no_object_is_refused(data: bytes) -> None:
    inbox = Inbox()
    inbox.add(struct.pack(">I", len(data)) + data)
    with pytest.raises(WireError):
        inbox.take()


def test_an_end_between_messages_is_an_end_and_not_an_error() -> None:
    here, there = socket.socketpair()
    with here, there:
        here.sendall(pack(request("state")))
        inbox = Inbox()
        assert receive(there, inbox) == request("state")
        here.shutdown(socket.SHUT_WR)
        with pytest.raises(WireClosed):
            receive(there, inbox)


@pytest.mark.parametrize(
    "wrong",
    [
        {"open_s": 0},
        {"open_s": -1},
        {"open_s": "3"},
        {"open_s": True},
        {"cap_s": 1},
        {"open_s": float("inf")},
        {"frame_id": ""},
        {"kind": "for ever"},
    ],
)
def test_an_exposure_without_a_sound_end_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError):
        Exposure.from_message(PLAN.as_message() | wrong)
