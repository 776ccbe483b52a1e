"""Starting the shutter processes where the system does not start any."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from duskhold.shutter.holder import DIED
from duskhold.shutter.inhibitor import Inhibitor
from duskhold.shutter.keeper import Keeper
from duskhold.shutter.launch import NotStarted, ensure_keeper
from duskhold.shutter.places import Lock, Places


def test_a_keeper_that_cannot_be_started_is_said_with_what_its_log_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    python = tmp_path / "python"
    python.write_text("#!/bin/sh\necho 'no memory for another process' >&2\nexit 1\n", encoding="utf-8")
    python.chmod(0o700)
    monkeypatch.setattr(sys, "executable", str(python))
    places = Places(tmp_path / "run", tmp_path / "state")
    places.ensure_there()
    with pytest.raises(NotStarted, match="no memory for another process"):
        ensure_keeper("simulated", places, {})


def test_a_keeper_lives_on_while_there_is_no_room_for_another_process(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It counts as a holder that died: the next is started after a pause, and the shutter closed then."""

    def full(*_given: object, **_named: object) -> None:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    places = Places(tmp_path / "run", tmp_path / "state")
    places.ensure_there()
    monkeypatch.setattr(subprocess, "Popen", full)
    assert Keeper(places, ["holder"])._watch_one() == DIED
    assert "temporarily unavailable" in capsys.readouterr().err
    monkeypatch.setattr("shutil.which", lambda _tool: "/bin/inhibit")
    inhibitor = Inhibitor()
    inhibitor.follow(shutter_open=True)
    inhibitor.follow(shutter_open=False)


def test_a_keeper_lives_on_while_there_is_no_descriptor_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    failing = [OSError(errno.ENFILE, "Too many open files in system")]
    opened = os.pidfd_open

    def full(*_given: object) -> int:
        raise OSError(errno.ENFILE, "Too many open files in system")

    def full_once(pid: int) -> int:
        if failing:
            raise failing.pop()
        return opened(pid)

    places = Places(tmp_path / "run", tmp_path / "state")
    places.ensure_there()
    monkeypatch.setattr("duskhold.shutter.keeper.LOOK_EVERY_S", 0.01)
    monkeypatch.setattr("duskhold.shutter.keeper.holder_lock", full)
    monkeypatch.setattr(os, "pidfd_open", full_once)
    assert Keeper(places, [sys.executable, "-c", f"raise SystemExit({DIED})"])._watch_one() == DIED


@pytest.mark.parametrize("command", [[sys.executable, "-c", "raise SystemExit(1)"], ["/nowhere/python"]])
def test_a_keeper_told_to_end_does_not_outlive_a_program_that_was_taken_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    class Counting(Keeper):
        starts = 0

        def _watch_one(self) -> int:
            self.starts += 1
            assert self.starts < 10, "it goes on for ever"
            return super()._watch_one()

    places = Places(tmp_path / "run", tmp_path / "state")
    places.ensure_there()
    monkeypatch.setattr(signal, "signal", lambda *_given: None)
    monkeypatch.setattr("duskhold.shutter.keeper.RESTART_PAUSES_S", (0.0, 0.0, 0.0))
    keeper = Counting(places, command)
    keeper._told_to_end = True
    keeper.keep()
    assert keeper.starts == 4, "what stands in the way may pass"


def test_a_lock_is_taken_on_a_full_disk_and_names_nobody_who_had_it_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A holder that could not take it would never come to close the shutter."""

    def full(*_given: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    path = tmp_path / "holder.lock"
    first = Lock(path)
    assert first.take()
    asking = Lock(path)
    assert asking.owner() == os.getpid()
    first.close()
    second = Lock(path)
    monkeypatch.setattr(os, "pwrite", full)
    assert second.take()
    assert asking.owner() is None and not asking.take()
    second.close()
    asking.close()
