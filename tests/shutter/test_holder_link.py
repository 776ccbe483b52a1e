"""Questions that meet a holder which has just let go: they wait for the next one while there is somebody to start it.

Real sockets, and real time under half a second, because the gap between two processes is what is tested.
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from duskhold.camera.port import Setting
from duskhold.shutter.holder_link import HolderLink, HolderRefused, HolderSilent
from duskhold.shutter.report import Exposure, Kind
from duskhold.shutter.wire import Inbox, Message, WireError, pack, receive

RELEASED: Message = {"error": {"code": "released", "message": "the camera was just released; ask again"}}
PLAN = Exposure("f1", Kind.HELD, 1.0, 2.0, 0.0, 0.0, "here")


@contextmanager
def holder(path: Path, answer: Callable[[str], Message]) -> Iterator[list[str]]:
    """One that answers on `path` until the block ends; the words that it was asked."""
    path.unlink(missing_ok=True)
    listener = socket.socket(socket.AF_UNIX)
    listener.bind(str(path))
    listener.listen()
    asked: list[str] = []
    ended = threading.Event()

    def serve() -> None:
        while not ended.is_set():
            connection, _ = listener.accept()
            with connection:
                inbox = Inbox()
                try:
                    while not ended.is_set():
                        word = str(receive(connection, inbox)["word"])
                        asked.append(word)
                        connection.sendall(pack(answer(word)))
                except (WireError, OSError):
                    continue

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield asked
    finally:
        ended.set()
        with socket.socket(socket.AF_UNIX) as last:
            last.connect(str(path))
        thread.join()
        listener.close()


def living(word: str) -> Message:
    if word == "state":
        return {"phase": "ready"}
    return {"settings": {"iso": "100"}} if word == "settings" else {}


def test_a_question_in_the_gap_between_two_holders_is_answered_by_the_next(tmp_path: Path) -> None:
    path = tmp_path / "holder"
    link = HolderLink(path, patience_s=0.0, is_kept=lambda: True)
    with holder(path, lambda word: RELEASED) as first:
        found: list[str] = []
        asking = threading.Thread(target=lambda: found.append(link.settings()[Setting.ISO]))
        asking.start()
        while not first:
            time.sleep(0.01)
    with holder(path, living):
        asking.join(5.0)
        link.close()
    assert found == ["100"]


def test_a_frame_that_is_home_is_let_off_by_the_next_holder_when_the_last_one_died(tmp_path: Path) -> None:
    path = tmp_path / "holder"
    link = HolderLink(path, patience_s=0.0, is_kept=lambda: True)
    collecting = threading.Thread(target=link.collected, args=["f1"])
    collecting.start()
    time.sleep(0.1)  # nobody is there
    with holder(path, living) as asked:
        collecting.join(5.0)
        link.close()
    assert asked == ["collected"]


def test_an_order_that_a_parting_holder_refused_goes_to_the_next_one_and_only_once(tmp_path: Path) -> None:
    path = tmp_path / "holder"
    said: list[Message] = [{"phase": "ready"}, RELEASED, {"phase": "released"}, {"phase": "ready"}, {"accepted": "f1"}]
    answers = iter(said)
    link = HolderLink(path, patience_s=0.0, is_kept=lambda: True)
    with holder(path, lambda word: next(answers)) as asked:
        link.expose(PLAN)
        link.close()
    assert asked == ["state", "expose", "state", "state", "expose"]


def test_without_a_keeper_nothing_is_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "holder"
    link = HolderLink(path, patience_s=0.0)
    with pytest.raises(HolderSilent):
        link.settings()
    with holder(path, lambda word: RELEASED):
        with pytest.raises(HolderRefused, match="ask again"):
            link.settings()
        link.close()


def test_silence_is_told_at_once_even_with_a_keeper(tmp_path: Path) -> None:
    link = HolderLink(tmp_path / "holder", patience_s=0.0, is_kept=lambda: True)
    with pytest.raises(HolderSilent):
        link.state()
