"""Starting the shutter processes where the system does not start any."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from duskhold.shutter.launch import NotStarted, ensure_keeper
from duskhold.shutter.places import Places


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
