"""`frames` and `status`: what is in both journals, in the interface's words; asking changes nothing."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from duskhold.app.folders import folders_for
from duskhold.faces.cli import main
from duskhold.journal.entry import Intent, Outcome, Refusal, Stamp
from duskhold.journal.journal import Journal

START = datetime(2026, 10, 14, 17, 21, 10, tzinfo=UTC)
RECORD_FIELDS = {
    "frame_id",
    "outcome",
    "planned_s",
    "open_s",
    "opened_utc",
    "closed_utc",
    "timing",
    "files",
    "reason",
}


def stamp(after_s: float) -> Stamp:
    return Stamp(START + timedelta(seconds=after_s), after_s, "boot")


@pytest.fixture(autouse=True)
def quiet_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("DUSKHOLD_RUNTIME", str(tmp_path / "run"))
    monkeypatch.setenv("NO_COLOR", "1")
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "DUSKHOLD_SETTINGS"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A real frame, one refused, one interrupted, and a simulated one whose link is lost."""
    folder = tmp_path / "data"
    folders = folders_for(str(folder), {})
    with Journal.open(folders.journal) as journal:
        journal.intend(Intent("20261014-172110-0001", "usb", "long", "held", 283.6, 290.0), stamp(0))
        journal.conclude(_outcome("20261014-172110-0001", "complete", 283.6), stamp(284))
        refused = Refusal("20261014-173000-0002", "usb", "long", "held", None, "never", "The light never suffices.")
        journal.refuse(refused, stamp(530))
        journal.intend(Intent("20261014-173100-0003", "usb", "base", "held", 2.0, 4.0), stamp(590))
    with Journal.open(folders.simulated().journal) as journal:
        journal.intend(Intent("20261014-173200-0004", "simulated", "long", "held", 10.0, 12.0), stamp(650))
        journal.conclude(_outcome("20261014-173200-0004", "link_lost", None), stamp(720))
    return folder


def _outcome(frame_id: str, word: str, open_s: float | None) -> Outcome:
    known = open_s is not None
    return Outcome(
        frame_id=frame_id,
        outcome=word,
        open_s=open_s,
        open_s_range=None if known else (3.0, 70.0),
        opened_utc="2026-10-14T17:21:10.250Z",
        closed_utc="2026-10-14T17:25:53.850Z" if known else None,
        shutter="closed" if known else "unknown",
        settled=known,
        reason="" if known else "the link went away",
        files=({"path": "a.dng", "role": "long", "bytes": 3, "sha256": "00"},) if known else (),
    )


def asked(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main([*words, "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert isinstance(body, dict)
    return body


def test_frames_of_both_journals_newest_first(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frames = asked(capsys, "frames", "--data", str(data))["frames"]
    assert [(frame["frame_id"][-4:], frame["outcome"], frame["open_s"]) for frame in frames] == [
        ("0004", "link_lost", None),
        ("0003", "unknown", None),
        ("0002", "refused", 0.0),
        ("0001", "complete", 283.6),
    ]
    assert all(set(frame) >= RECORD_FIELDS for frame in frames)
    assert frames[0]["open_s_range"] == [3.0, 70.0]
    assert "no outcome is written" in frames[1]["reason"]
    assert frames[3]["files"] == [{"path": "a.dng", "role": "long", "bytes": 3, "sha256": "00"}]
    assert frames[3]["reason"] is None


def test_the_limit(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert len(asked(capsys, "frames", "--data", str(data), "--limit", "2")["frames"]) == 2
    assert main(["frames", "--data", str(data), "--limit", "0"]) == 2


def test_frames_for_people(data: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    settings = tmp_path / "settings.yaml"
    settings.write_text("zone: Europe/London\n")
    assert main(["frames", "--data", str(data), "--settings", str(settings)]) == 0
    lines = capsys.readouterr().out.splitlines()
    complete = next(line for line in lines if "0001" in line)
    assert complete.split() == [
        "20261014-172110-0001",
        "complete",
        "4:43.6",
        "17:21:10",
        "18:21:10",
        "BST",
        "long;",
        "1",
        "file",
    ]
    lost = next(line for line in lines if "0004" in line)
    assert "10.0 s planned; open 3 s to 1:10.0; the link went away" in lost
    assert not any("\x1b" in line for line in lines)


def test_status_names_what_is_unfinished(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    body = asked(capsys, "status", "--data", str(data))
    assert [frame["frame_id"][-4:] for frame in body["unfinished"]] == ["0003", "0004"]
    assert [journal["frames"] for journal in body["journals"]] == [3, 1]
    assert body["cameras"] == []
    assert len(body["latest"]) == 4


def test_asking_makes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = tmp_path / "empty"
    assert asked(capsys, "frames", "--data", str(data)) == {"frames": []}
    assert asked(capsys, "status", "--data", str(data))["journals"] == []
    assert not data.exists()
    assert not (tmp_path / "run").exists()
    assert main(["status", "--data", str(data)]) == 0
    assert "No journal yet" in capsys.readouterr().out


def test_a_damaged_journal_is_said_with_a_way_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "journal.sqlite").write_text("not a database at all, but long enough to be one " * 100)
    for command in ("frames", "status"):
        assert main([command, "--data", str(tmp_path), "--json"]) == 3
        error = json.loads(capsys.readouterr().out)["error"]
        assert (error["code"], error["field"]) == ("journal_damaged", "--data")
        assert "do not delete" in error["hint"]


def test_a_missing_settings_file_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    missing = tmp_path / "none.yaml"
    status = main(["frames", "--settings", str(missing), "--json"])
    error = json.loads(capsys.readouterr().out)["error"]
    assert status == 2
    assert str(missing) in error["message"] + str(error["field"])


def test_a_wrong_setting_is_said_with_file_line_and_field(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings = tmp_path / "settings.yaml"
    settings.write_text("zone: UTC\nlimits:\n  longest_s: yes\n")
    assert main(["frames", "--settings", str(settings), "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert error["field"] == "limits.longest_s"
    assert error["message"] == f"{settings}, line 3: limits.longest_s: must be a number, not 'yes'"
