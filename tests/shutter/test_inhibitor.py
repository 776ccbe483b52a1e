"""The sleep inhibitor, with a stand-in for the login manager's tool: held exactly while a shutter is open."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from duskhold.shutter.inhibitor import Inhibitor

TOOL = """#!/bin/sh
echo "$@" > {told}
cat
rm {told}
"""


@pytest.fixture
def told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file that is there while the stand-in runs, with what it was told."""
    told = tmp_path / "told"
    tool = tmp_path / "systemd-inhibit"
    tool.write_text(TOOL.format(told=told))
    tool.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    return told


def appears(path: Path) -> bool:
    give_up = time.monotonic() + 5.0
    while time.monotonic() < give_up:
        if path.exists() and path.read_text():
            return True
        time.sleep(0.01)
    return False


def test_it_is_held_while_the_shutter_is_open_and_no_longer(told: Path) -> None:
    inhibitor = Inhibitor()
    inhibitor.follow(False)
    assert not told.exists()
    inhibitor.follow(True)
    inhibitor.follow(True)
    assert appears(told)
    assert "--mode=block" in told.read_text()
    assert "sleep" in told.read_text()
    inhibitor.follow(False)
    assert not told.exists()
    inhibitor.release()


def test_without_a_login_manager_nothing_is_held(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    inhibitor = Inhibitor()
    inhibitor.follow(True)
    inhibitor.release()
