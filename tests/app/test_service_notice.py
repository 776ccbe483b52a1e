"""Words for systemd: datagrams of NAME=value as sd_notify(3) has them, and none where nobody asked."""

from __future__ import annotations

import os
import socket
import tempfile
from pathlib import Path

import pytest

from duskhold.app.service_notice import ServiceNotice


@pytest.mark.parametrize("kind", ["file", "abstract"])
def test_what_is_said(kind: str) -> None:
    with tempfile.TemporaryDirectory(prefix="dh-") as folder, socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ours:
        name = f"{folder}/notify"
        ours.bind(name if kind == "file" else "\0" + name)
        ours.settimeout(5.0)
        address = name if kind == "file" else "@" + name
        notice = ServiceNotice(
            {"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "120000000", "WATCHDOG_PID": str(os.getpid())}
        )
        notice.ready()
        notice.alive()
        notice.status("waits\nfor the dusk")
        notice.stopping()
        assert [ours.recv(1024).decode() for _ in range(4)] == [
            "READY=1", "WATCHDOG=1", "STATUS=waits for the dusk", "STOPPING=1",
        ]  # fmt: skip
        assert notice.watchdog_s == 120.0


def test_nothing_is_said_where_nobody_asked_or_where_nobody_listens(tmp_path: Path) -> None:
    ServiceNotice({}).ready()
    ServiceNotice({"NOTIFY_SOCKET": str(tmp_path / "none")}).ready()
    ServiceNotice({"NOTIFY_SOCKET": "vsock:2:1234"}).ready()


@pytest.mark.parametrize(
    "environment",
    [{}, {"WATCHDOG_USEC": "0"}, {"WATCHDOG_USEC": "soon"}, {"WATCHDOG_USEC": "5000000", "WATCHDOG_PID": "1"}],
)
def test_the_watchdog_of_another_process_is_none_of_ours(environment: dict[str, str]) -> None:
    assert ServiceNotice(environment).watchdog_s is None
