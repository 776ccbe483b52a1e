"""The socket for words: for this user alone, short messages, slow and greedy clients, one evening at a time."""

from __future__ import annotations

import errno
import json
import socket
import stat
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from evening_bench import LoopBench

from duskhold.app import word_socket
from duskhold.app.hearing import hear
from duskhold.app.word_socket import MESSAGE_MAX_BYTES, AlreadyRunning, NothingRuns, WordSocket, ask
from duskhold.plan.evening_words import Said, Tell, Word


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(word_socket, "CLIENT_S", 0.2)
    monkeypatch.setattr(word_socket, "_LOOK_S", 0.05)


@pytest.fixture
def path() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="dh-") as folder:  # a socket's path must stay short
        yield Path(folder) / "evening"


@pytest.fixture
def listening(path: Path) -> Iterator[WordSocket]:
    made = WordSocket(path, lambda word: {"heard": word})
    yield made
    made.close()


def send(path: Path, data: bytes) -> dict[str, object]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as link:
        link.settimeout(5.0)
        link.connect(str(path))
        link.sendall(data)
        answer = json.loads(link.makefile().readline())
    assert isinstance(answer, dict)
    return answer


def code(answer: dict[str, object]) -> object:
    error = answer["error"]
    assert isinstance(error, dict)
    return error["code"]


def test_a_word_is_answered(path: Path, listening: WordSocket) -> None:
    assert ask(path, "close") == {"heard": "close"}
    assert ask(path, "done") == {"heard": "done"}


def test_it_listens_on_after_a_connection_that_could_not_be_taken(
    path: Path, listening: WordSocket, monkeypatch: pytest.MonkeyPatch
) -> None:
    refused = threading.Event()

    def accept(_this: socket.socket) -> object:
        refused.set()
        raise OSError(errno.EMFILE, "Too many open files")

    with monkeypatch.context() as full:
        full.setattr(socket.socket, "accept", accept)
        assert refused.wait(5.0)
    assert ask(path, "close") == {"heard": "close"}


def test_it_is_for_this_user_alone(path: Path, listening: WordSocket, monkeypatch: pytest.MonkeyPatch) -> None:
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    monkeypatch.setattr("duskhold.app.word_socket.os.getuid", lambda: 4711)
    assert code(send(path, b'{"word": "close"}\n')) == "not_yours"


@pytest.mark.parametrize(
    "data",
    [
        b"x" * (MESSAGE_MAX_BYTES + 1),
        b'{"word": "' + b"c" * MESSAGE_MAX_BYTES + b'"}\n',
        b"no end of line",
        b"no JSON\n",
        b'["close"]\n',
        b'{"word": 5}\n',
        b"\xff\xfe\n",
    ],
)
def test_what_is_no_short_line_of_json_gets_an_error(path: Path, listening: WordSocket, data: bytes) -> None:
    assert code(send(path, data)) == "bad_message"
    assert ask(path, "close") == {"heard": "close"}


def test_a_client_that_says_nothing_and_one_that_goes_away_keep_nobody_waiting(
    path: Path, listening: WordSocket
) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as silent, socket.socket(socket.AF_UNIX) as gone:
        silent.connect(str(path))
        gone.connect(str(path))
        gone.close()
        assert ask(path, "close") == {"heard": "close"}


def test_the_clients_that_wait_are_bounded(path: Path, listening: WordSocket) -> None:
    links = []
    refused = 0
    for _ in range(20):
        link = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_NONBLOCK)
        links.append(link)
        refused += link.connect_ex(str(path)) != 0
    assert refused >= 20 - word_socket.WAITING_MAX - 3
    for link in links:
        link.close()
    assert ask(path, "close") == {"heard": "close"}


def test_one_evening_at_a_time_and_what_a_dead_one_left_is_in_nobodys_way(path: Path) -> None:
    path.touch()
    first = WordSocket(path, lambda word: {"heard": word})
    with pytest.raises(AlreadyRunning):
        WordSocket(path, lambda word: {})
    first.close()
    assert not path.exists()
    second = WordSocket(path, lambda word: {})
    second.close()


def test_where_nothing_runs_that_is_said(path: Path) -> None:
    with pytest.raises(NothingRuns, match="no evening answers"):
        ask(path, "close")


def test_words_become_events_and_come_back_with_what_the_evening_said() -> None:
    bench = LoopBench()
    bench.machine.script = lambda _event: [Tell("person", "close", {})]
    answers: list[object] = []
    asking = threading.Thread(target=lambda: answers.append(hear(bench.inbox, "close")))
    asking.start()
    bench.loop.turn(5.0)
    asking.join()
    assert bench.machine.seen[0][0] == Said(Word.CLOSE)
    (answer,) = answers
    assert isinstance(answer, dict)
    assert answer["answers"] == ["close"]
    assert answer["evening"]["phase"] == "between"


def test_a_word_that_is_none_and_a_queue_that_is_full_are_said() -> None:
    bench = LoopBench()
    assert code(dict(hear(bench.inbox, "shoot"))) == "unknown_word"
    for _ in range(4):
        bench.inbox.post(Said(Word.HEARD))
    assert code(dict(hear(bench.inbox, "close"))) == "too_busy"


def test_a_word_to_an_evening_that_has_just_ended_is_answered_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("duskhold.app.hearing.ANSWER_WITHIN_S", 0.1)
    bench = LoopBench()
    bench.inbox.close()
    for word in ("close", "state"):
        assert code(dict(hear(bench.inbox, word))) == "ending"


def test_how_it_stands_is_asked_without_an_event() -> None:
    bench = LoopBench()
    asking = threading.Thread(target=lambda: hear(bench.inbox, "state"))
    asking.start()
    bench.loop.turn(5.0)
    asking.join()
    assert bench.machine.seen == [] and bench.order == []
