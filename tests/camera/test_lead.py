"""Bulb before an opening: set where it can be, and else said which dial is in the way."""

from __future__ import annotations

import pytest

from duskhold.camera.lead import SessionLead
from duskhold.camera.port import BodyRefused, Setting


class PaperBody:
    """A body whose shutter dial takes bulb in manual only."""

    def __init__(self, mode: str | None, shutter: str) -> None:
        self.said = {Setting.SHUTTER: shutter} | ({} if mode is None else {Setting.MODE: mode})

    def change(self, setting: Setting, word: str) -> str:
        if self.said.get(Setting.MODE) != "Manual":
            raise BodyRefused("shutter did not take bulb")
        self.said[setting] = word
        return word

    def lead(self) -> SessionLead:
        return SessionLead(lambda name, value: None, lambda: False, self.said.get, self.change, lambda: None)


@pytest.mark.parametrize(("mode", "shutter"), [("Manual", "1/60"), ("Bulb", "1/60"), ("AV", "bulb")])
def test_nothing_is_said_where_bulb_can_be_had(mode: str, shutter: str) -> None:
    body = PaperBody(mode, shutter)
    body.lead().ensure_bulb()
    assert body.said[Setting.SHUTTER] == ("bulb" if mode == "Manual" else shutter)


@pytest.mark.parametrize(("mode", "says"), [("AV", "mode dial is at AV"), (None, "did not take bulb")])
def test_the_dial_that_is_in_the_way_is_named(mode: str | None, says: str) -> None:
    with pytest.raises(BodyRefused, match=says):
        PaperBody(mode, "1/60").lead().ensure_bulb()
