"""Where pictures went before a session began is kept until it is put back, for each body."""

from __future__ import annotations

from pathlib import Path

import pytest

from duskhold.camera.target_found import forget_found, found_target, keep_found


def test_the_first_word_of_each_body_stays_until_it_is_forgotten(tmp_path: Path) -> None:
    assert found_target(tmp_path, "A") is None
    keep_found(tmp_path, "A", "Internal RAM")
    keep_found(tmp_path, "A", "card+sdram")
    keep_found(tmp_path, "B", "sdram")
    assert (found_target(tmp_path, "A"), found_target(tmp_path, "B")) == ("Internal RAM", "sdram")
    forget_found(tmp_path, "A")
    assert (found_target(tmp_path, "A"), found_target(tmp_path, "B")) == (None, "sdram")
    keep_found(tmp_path, "A", "card+sdram")
    assert found_target(tmp_path, "A") == "card+sdram"


@pytest.mark.parametrize("text", ["", "[]", '{"A"'])
def test_a_damaged_file_keeps_nobody_from_connecting(tmp_path: Path, text: str) -> None:
    (tmp_path / "targets-found.json").write_text(text)
    assert found_target(tmp_path, "A") is None
    keep_found(tmp_path, "A", "sdram")
    assert found_target(tmp_path, "A") == "sdram"
