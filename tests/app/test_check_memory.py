"""What is remembered of a set-up: answers that grow old, settings that are kept as found."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from duskhold.app.check_memory import ANSWER_AGE_MAX_S, MemoryDamaged, read_memory
from duskhold.camera.port import Setting

NOW = datetime(2026, 10, 14, 18, 0, tzinfo=UTC)
_SAID_AT = (
    '{"said": {"lead": {"right": true, "said_utc": AT}}, "found": {}, "found_serial": null, "clock_offset_s": null}'
)


def test_answers_come_back_and_grow_old(tmp_path: Path) -> None:
    memory = read_memory(tmp_path / "check.json")
    memory.remember("stabiliser", True, NOW)
    memory.remember("lead", False, NOW)
    memory.write()
    again = read_memory(tmp_path / "check.json")
    answers = again.answers(NOW + timedelta(hours=1))
    assert (answers["stabiliser"].right, answers["lead"].right) == (True, False)
    assert not again.answers(NOW + timedelta(seconds=ANSWER_AGE_MAX_S + 1))
    assert not again.answers(NOW - timedelta(hours=1))
    again.forget_answers()
    assert not again.answers(NOW)


def test_the_first_finding_stays_until_it_is_put_back(tmp_path: Path) -> None:
    memory = read_memory(tmp_path / "check.json")
    memory.keep_as_found("A", {Setting.ISO: "800"}, 5.0)
    memory.keep_as_found("A", {Setting.ISO: "100"}, 0.0)
    memory.write()
    again = read_memory(tmp_path / "check.json")
    assert (again.found, again.found_serial, again.clock_offset_s) == ({"iso": "800"}, "A", 5.0)


def test_another_body_is_another_finding(tmp_path: Path) -> None:
    memory = read_memory(tmp_path / "check.json")
    memory.keep_as_found("A", {Setting.ISO: "800"}, None)
    memory.keep_as_found("B", {Setting.ISO: "400"}, None)
    assert (memory.found, memory.found_serial) == ({"iso": "400"}, "B")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        '{"said": {}}',
        '{"said": {}, "found": {"no": "x"}}',
        _SAID_AT.replace("AT", '"soon"'),
        _SAID_AT.replace("AT", '"2026-10-14T18:00:00"'),
        _SAID_AT.replace("AT", "5"),
    ],
)
def test_what_cannot_be_read_is_said(tmp_path: Path, text: str) -> None:
    (tmp_path / "check.json").write_text(text)
    with pytest.raises(MemoryDamaged, match=r"check\.json"):
        read_memory(tmp_path / "check.json")
