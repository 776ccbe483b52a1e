"""`status` asks the shutter processes; silence is unknown, never closed."""

import json
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from duskhold.app.folders import folders_for
from duskhold.faces.cli import main
from duskhold.shutter.wire import Inbox, pack, receive

SAID = {
    "pid": 1,
    "phase": "open",
    "shutter": "open",
    "latched": False,
    "trouble": "",
    "refusal": None,
    "frame_id": "20261014-172110-0001",
    "open_for_s": 2.5,
    "closes_in_s": 281.1,
    "reports": [],
    "identity": None,
    "notices": [],
}


@pytest.fixture
def runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "r"
    monkeypatch.setenv("DUSKHOLD_RUNTIME", str(folder))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "DUSKHOLD_SETTINGS"):
        monkeypatch.delenv(name, raising=False)
    return folder


@pytest.fixture
def listening(runtime: Path) -> Iterator[socket.socket]:
    path = folders_for(None, {"DUSKHOLD_RUNTIME": str(runtime)}).places("usb").socket
    path.parent.mkdir(parents=True)
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(path))
        server.listen()
        yield server


def answer_once(server: socket.socket, message: dict[str, Any]) -> threading.Thread:
    def serve() -> None:
        connection, _ = server.accept()
        with connection:
            receive(connection, Inbox())
            connection.sendall(pack(message))

    thread = threading.Thread(target=serve)
    thread.start()
    return thread


def test_an_open_shutter(listening: socket.socket, capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["status", "--json"], ["status"]):
        thread = answer_once(listening, SAID)
        assert main(words) == 0
        thread.join()
    machine, people = capsys.readouterr().out.split("\n", 1)
    assert json.loads(machine)["cameras"] == [
        {
            "camera": "usb",
            "shutter": "open",
            "phase": "open",
            "frame_id": "20261014-172110-0001",
            "open_for_s": 2.5,
            "closes_in_s": 281.1,
            "latched": False,
            "trouble": None,
        }
    ]
    assert "Camera usb: shutter open, frame 20261014-172110-0001, open for 2.5 s, closes in 4:41.1." in people


def test_its_own_word(runtime: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A camera that no frame names yet."""
    path = folders_for(None, {"DUSKHOLD_RUNTIME": str(runtime)}).places("usb:8").socket
    path.parent.mkdir(parents=True)
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(path))
        server.listen()
        thread = answer_once(server, SAID | {"camera": "usb:8"})
        assert main(["status", "--json"]) == 0
        thread.join()
    (camera,) = json.loads(capsys.readouterr().out)["cameras"]
    assert camera["camera"] == "usb:8"


def test_silence_is_unknown(listening: socket.socket, capsys: pytest.CaptureFixture[str]) -> None:
    listening.close()
    assert main(["status", "--json"]) == 0
    (camera,) = json.loads(capsys.readouterr().out)["cameras"]
    assert (camera["camera"], camera["shutter"], camera["phase"]) == ("usb", "unknown", None)
    assert "does not answer" in camera["trouble"]
