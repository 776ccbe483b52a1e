"""What keeps the bench from beginning is said before a frame is taken."""

from __future__ import annotations

from typing import cast

import pytest

from duskhold.app.exposing import Watch
from duskhold.app.learning import LearningFailed, learn_body
from duskhold.app.station import Station
from duskhold.camera.port import Identity


class PaperStation:
    """Nothing may be asked of it but who the body is."""

    def __init__(self, identity: Identity | None) -> None:
        self._identity = identity

    def identity(self) -> Identity | None:
        return self._identity

    def why_nobody(self) -> str:
        return "the body shows no card"


@pytest.mark.parametrize(
    ("identity", "says"),
    [(None, "shows no card"), (Identity("B", "1", 0, "none", "2.5.34", holds=False), "cannot be held open")],
)
def test_a_body_that_cannot_be_held_is_no_subject(identity: Identity | None, says: str) -> None:
    station = cast(Station, PaperStation(identity))
    with pytest.raises(LearningFailed, match=says):
        learn_body(station, 3, "1", Watch(lambda state: None, lambda: False), lambda line: None)
