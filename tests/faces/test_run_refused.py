"""What keeps `duskhold run` from beginning, as its answer says it."""

from __future__ import annotations

from pathlib import Path

import pytest

from duskhold.app import evening_run
from duskhold.app.evening_record import EveningDamaged
from duskhold.faces.cli import main


def test_an_evening_that_cannot_be_gone_over_is_an_operating_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def damaged(*_given: object) -> None:
        raise EveningDamaged("20270309T172000-played", "Measured at 2027-03-09T17:40:00.000Z", ValueError("no light"))

    monkeypatch.setattr(evening_run, "take_up", damaged)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    outing = tmp_path / "played.yaml"
    outing.write_text("name: Played\n", encoding="utf-8")
    assert main(["--data", str(tmp_path / "data"), "run", str(outing), "--camera", "simulated"]) == 4
    said = capsys.readouterr().err
    assert "20270309T172000-played cannot be gone over, Measured at" in said and "no light" in said
