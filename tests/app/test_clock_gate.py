"""The clock gate: who may say that the time is right. States and flags are those of adjtimex(2)."""

from __future__ import annotations

import pytest

from duskhold.app.clock_gate import judge_camera, judge_system, system_word

TIME_OK, TIME_INS, TIME_ERROR = 0, 1, 5
STA_PLL, STA_UNSYNC = 0x0001, 0x0040


@pytest.mark.parametrize(
    ("state", "status", "confirmed"),
    [
        (TIME_OK, STA_PLL, True),
        (TIME_INS, STA_PLL, True),
        (TIME_ERROR, STA_UNSYNC, False),
        (TIME_OK, STA_UNSYNC, False),
        (-1, 0, False),
    ],
)
def test_the_systems_word(state: int, status: int, confirmed: bool) -> None:
    assert judge_system(state, status).confirmed is confirmed


def test_the_kernel_can_be_asked() -> None:
    assert system_word().line


@pytest.mark.parametrize(
    ("offset_s", "zone", "confirmed", "said"),
    [
        (0.0, "UTC", True, "apart in UTC"),
        (59.0, "UTC", True, "apart in UTC"),
        (-61.0, "UTC", False, "one of them is wrong"),
        (3600.0, "Europe/Lisbon", False, "whole +1 h"),
        (-7230.0, "Europe/Lisbon", False, "whole −2 h"),
        (None, "UTC", False, "cannot be asked"),
        (0.0, None, False, "zone"),
    ],
)
def test_the_cameras_word(offset_s: float | None, zone: str | None, confirmed: bool, said: str) -> None:
    word = judge_camera(offset_s, zone)
    assert word.confirmed is confirmed
    assert said in word.line
    assert word.sentence == (f"the time is right, says {word.line}" if confirmed else word.line)
