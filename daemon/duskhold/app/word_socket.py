"""Where a running evening hears words of other programs: a socket for this user alone, one short line at a time.

One connection is one question: a line of JSON `{"word": "close"}`, answered by one line. Clients are served one
after another, each for a moment only; a longer message, another user or an unknown word gets an error.
"""

from __future__ import annotations

import fcntl
import json
import os
import socket
import struct
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

MESSAGE_MAX_BYTES = 256
ANSWER_MAX_BYTES = 65536
CLIENT_S = 2.0
WAITING_MAX = 4
ANSWER_WITHIN_S = 10.0
_LOOK_S = 0.5
_CREDENTIALS = struct.Struct("3i")  # struct ucred of unix(7): pid, uid, gid

Body = Mapping[str, object]


class AlreadyRunning(Exception):
    """Another evening of this user listens already."""


class NothingRuns(Exception):
    """No evening listens; the message says where it was looked for."""


class WordSocket:
    """Listens at `path` from `open` to `close`. `hear` answers a word, in the socket's own thread."""

    def __init__(self, path: Path, hear: Callable[[str], Body]) -> None:
        self._path, self._hear = path, hear
        self._over = threading.Event()
        self._lock = os.open(path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(self._lock)
            raise AlreadyRunning(f"another evening runs already, and listens at {path}") from None
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
        try:
            path.unlink(missing_ok=True)  # whoever left it had the lock
            before = os.umask(0o177)
            try:
                self._socket.bind(str(path))
            finally:
                os.umask(before)
            self._socket.listen(WAITING_MAX)
        except OSError:
            self._socket.close()
            os.close(self._lock)
            raise
        self._socket.settimeout(_LOOK_S)
        self._thread = threading.Thread(target=self._run, name="word socket", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        self._socket.close()
        self._path.unlink(missing_ok=True)
        os.close(self._lock)

    def _run(self) -> None:
        while not self._over.is_set():
            try:
                client, _ = self._socket.accept()
            except TimeoutError:
                continue
            except OSError:  # no descriptor is left just now, say: whoever says "close" later must be heard
                self._over.wait(_LOOK_S)
                continue
            with client, suppress(OSError):  # whoever went away wants no answer
                client.settimeout(CLIENT_S)
                client.sendall(json.dumps(self._answer(client), allow_nan=False).encode() + b"\n")

    def _answer(self, client: socket.socket) -> Body:
        line = _line(client, MESSAGE_MAX_BYTES)
        told = client.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
        _, uid, _ = _CREDENTIALS.unpack(told)
        if uid != os.getuid():
            return _error("not_yours", "This evening belongs to another user.")
        if line is None:
            return _error("bad_message", f"A message is one line of at most {MESSAGE_MAX_BYTES} bytes, sent at once.")
        try:
            word = json.loads(line)["word"]
        except (ValueError, KeyError, TypeError):
            return _error("bad_message", 'A message is a line of JSON such as {"word": "close"}.')
        return self._hear(word) if isinstance(word, str) else _error("bad_message", "A word is a text.")


def ask(path: Path, word: str) -> dict[str, Any]:
    """Say a word to the evening that listens at `path`, and return its answer. Raises `NothingRuns`."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC) as link:
            link.settimeout(ANSWER_WITHIN_S + 2.0 * CLIENT_S)
            _connect(link, path)
            link.sendall(json.dumps({"word": word}).encode() + b"\n")
            line = _line(link, ANSWER_MAX_BYTES)
        answer = json.loads(line or b"")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise NothingRuns(f"no evening answers at {path} ({why})") from error
    assert isinstance(answer, dict)
    return answer


def _connect(link: socket.socket, path: Path) -> None:
    """A queue that is full is waited for: unix(7) says EAGAIN then, whatever the time limit."""
    give_up_s = time.monotonic() + ANSWER_WITHIN_S
    while True:
        try:
            return link.connect(str(path))
        except BlockingIOError:
            if time.monotonic() > give_up_s:
                raise
        time.sleep(0.05)


def _line(link: socket.socket, most_bytes: int) -> bytes | None:
    """One line without its end; None for one that is longer, or that never ends."""
    data = b""
    while b"\n" not in data:
        try:
            more = link.recv(most_bytes + 1 - len(data))
        except TimeoutError:
            return None
        data += more
        if not more or len(data) > most_bytes:
            return None
    return data.partition(b"\n")[0]


def _error(code: str, message: str) -> Body:
    return {"error": {"code": code, "message": message, "field": None, "hint": None}}
