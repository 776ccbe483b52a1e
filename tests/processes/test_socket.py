"""Whatever comes over the holder's socket while a frame is open, the frame is held to its time.

Real time, because the socket and the shutter are served by one process.
"""

from __future__ import annotations

import socket
import stat
import struct
from contextlib import ExitStack, suppress

import pytest
from rig import Rig

from duskhold.shutter.wire import Inbox, WireError, pack, receive, request


def connected(bench: Rig) -> socket.socket:
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    connection.settimeout(3.0)
    try:
        connection.connect(str(bench.places.socket))
    except OSError:
        connection.close()
        raise
    return connection


def test_garbage_and_crowds_do_not_touch_an_open_frame(bench: Rig) -> None:
    process = bench.start("expose", "--for", "3")
    bench.wait_open()
    for garbage in (b"\xff" * 64, struct.pack(">I", 2**31), b"", pack({"v": 1, "word": "open", "body": {}})):
        with connected(bench) as connection:
            connection.sendall(garbage)
    with ExitStack() as crowd:
        for _ in range(20):
            with suppress(OSError):  # the queue of those who wait to be let in is full
                crowd.enter_context(connected(bench))
    bench.wait_until(lambda state: state["phase"] == "open")
    with connected(bench) as connection:
        connection.sendall(pack(request("state"))[:3])  # half a message, and then silence
    status, record = bench.finish(process)
    opened_s, closed_s = bench.one_opening()
    assert status == 0
    assert closed_s - opened_s == pytest.approx(3.0, abs=0.06)
    assert record["outcome"] == "complete"


def test_an_unknown_word_is_answered_and_the_connection_ended(bench: Rig) -> None:
    bench.run("expose", "--for", "0.5")
    with connected(bench) as connection:
        connection.sendall(pack({"v": 1, "word": "open", "body": {}}))
        inbox = Inbox()
        answer = receive(connection, inbox)
        assert answer["error"]["code"] == "bad_request"  # type: ignore[index]
        with pytest.raises(WireError):
            receive(connection, inbox)
    state = bench.state()
    assert state is not None and state["camera"] == bench.body.address


def test_an_exposure_without_an_end_is_refused_on_the_wire(bench: Rig) -> None:
    bench.run("expose", "--for", "0.5")
    before = len(bench.openings())
    with connected(bench) as connection:
        connection.sendall(pack(request("expose", frame_id="f1", latency_s=0.0, latency_sigma_s=0.0, origin="x")))
        answer = receive(connection, Inbox())
    assert "open_s" in answer["error"]["message"]  # type: ignore[index]
    assert len(bench.openings()) == before


def test_the_socket_is_for_its_owner_alone(bench: Rig) -> None:
    bench.run("expose", "--for", "0.5")
    assert stat.S_IMODE(bench.places.socket.stat().st_mode) == 0o600
    assert stat.S_IMODE(bench.places.runtime.stat().st_mode) == 0o700
