"""When a frame's light counts: a long frame is the mean over its opening, and stands for its middle."""

from datetime import UTC, datetime, timedelta

from duskhold.frames.evening import EveningFrame

OPENED = datetime(2026, 10, 14, 17, 20, tzinfo=UTC)


def test_a_long_frames_light_stands_for_its_middle() -> None:
    assert EveningFrame({"open_s": 240.0}, OPENED).lit_utc == OPENED + timedelta(minutes=2)


def test_without_an_opening_there_is_no_moment() -> None:
    assert EveningFrame({"open_s": 240.0}).lit_utc is None
    assert EveningFrame({"open_s": None}, OPENED).lit_utc == OPENED
