"""A frame that is followed: what is told, what is left, and when nobody waits any longer. The link is played."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import cast

import pytest

from duskhold.app import exposing
from duskhold.app.exposing import Watch
from duskhold.app.station import Station
from duskhold.shutter.holder_link import HolderSilent
from duskhold.shutter.launch import NotStarted
from duskhold.shutter.report import Exposure, Kind, Outcome, ShutterReport, ShutterState

FRAME = "20270309-172100-aaaa"
EXPOSURE = Exposure(FRAME, Kind.HELD, 30.0, 35.0, 0.0, 0.01, "here")


@dataclass
class Played:
    """A shutter process that is silent, or says the same phase of this frame for ever."""

    phase: str | None
    asked: int = 0
    closed: bool = False

    @property
    def link(self) -> Played:
        return self

    def state(self) -> dict[str, object]:
        self.asked += 1
        assert self.asked < 50, "it is waited for without end"
        if self.phase is None:
            raise HolderSilent("the shutter process does not answer")
        return {"phase": self.phase, "frame_id": FRAME, "reports": [], "trouble": None}

    def close_shutter(self, _frame_id: str) -> None:
        self.closed = True

    def ensure_kept(self) -> None: ...


def followed(played: Played, given_up: Callable[[], bool], monkeypatch: pytest.MonkeyPatch) -> ShutterReport:
    monkeypatch.setattr(time, "sleep", lambda _seconds: None)
    watch = Watch(lambda _state: None, lambda: True, lambda: False, given_up)
    return exposing._follow(cast(Station, played), EXPOSURE, watch)


@pytest.mark.parametrize("phase", [None, "proving", "open"])
def test_a_frame_that_is_not_told_is_left_to_the_shutter_process_when_nobody_waits(
    phase: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    played = Played(phase)
    report = followed(played, lambda: played.asked >= 3, monkeypatch)
    assert played.closed, "it was asked to close first"
    assert (report.outcome, report.settled, report.open_s) == (Outcome.UNKNOWN, False, None)
    assert report.reason and played.asked == 3


def test_a_shutter_process_that_cannot_be_followed_by_another_leaves_the_frame_unknown(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Whoever took that for a frame that failed would tell that nothing is open."""

    class Alone(Played):
        def ensure_kept(self) -> None:
            raise NotStarted("the shutter process could not be started")

    played = Alone(None)
    report = followed(played, lambda: played.asked >= 3, monkeypatch)
    assert (report.outcome, report.settled, report.shutter) == (Outcome.UNKNOWN, False, ShutterState.UNKNOWN)
    assert "could not be started" in report.reason and "look at the camera" in report.reason
