"""What the holder is given for each kind of camera. What it then does is tested as a process."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, NoReturn, cast

import pytest

from duskhold.camera.port import Camera
from duskhold.shutter import holder
from duskhold.shutter.priority import lock_memory


@pytest.mark.parametrize(("address", "stays"), [("simulated", None), ("ptpip:127.0.0.1:15740:15741", lock_memory)])
def test_only_a_shutter_that_can_stay_open_is_worth_locked_memory(
    address: str, stays: object, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: list[Any] = []

    def note(*words: Any) -> int:
        given.extend(words)
        return 0

    def leave(status: int) -> NoReturn:
        raise SystemExit(status)

    monkeypatch.setattr(holder, "hold", note)
    monkeypatch.setattr(os, "_exit", leave)
    places = ["--runtime", str(tmp_path / "run"), "--state", str(tmp_path / "state")]
    with pytest.raises(SystemExit):
        holder.main(lambda *words: cast(Camera, None), ["--camera", address, *places])
    assert given[-2:] == [stays, address]
