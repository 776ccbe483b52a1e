"""The ISO of a scout frame on a body, and above all that it is put back."""

from types import SimpleNamespace
from typing import cast

import pytest

from duskhold.app.base_frames import BaseFailed
from duskhold.app.scouting import _lifted_iso
from duskhold.app.station import Station
from duskhold.camera.port import Setting
from duskhold.shutter.holder_link import HolderRefused


class Body:
    """Takes the ISO it knows; `stuck` from the second change on."""

    def __init__(self, known: tuple[str, ...], stuck_after: int = 99) -> None:
        self.known, self.iso, self._stuck_after = known, "100", stuck_after
        self.asked: list[str] = []

    def settings(self) -> dict[Setting, str]:
        return {Setting.ISO: self.iso} if self.known else {}

    def change(self, setting: Setting, value: str) -> str:
        assert setting is Setting.ISO
        self.asked.append(value)
        if value not in self.known or len(self.asked) > self._stuck_after:
            raise HolderRefused("refused", f"it does not take {value}")
        self.iso = value
        return value


def station(body: Body) -> Station:
    return cast(Station, SimpleNamespace(link=body))


def test_the_highest_that_the_body_has_and_back() -> None:
    body = Body(("100", "1600", "3200"))
    with _lifted_iso(station(body), (6400.0, 3200.0, 1600.0, 100.0)) as iso:
        assert (iso, body.iso) == (3200.0, "3200")
    assert body.iso == "100"


def test_back_as_well_when_the_scout_fails() -> None:
    body = Body(("100", "6400"))
    with pytest.raises(BaseFailed, match="no picture"), _lifted_iso(station(body), (6400.0, 100.0)):
        raise BaseFailed("no picture")
    assert body.iso == "100"


def test_an_iso_that_stays_up_stops_the_long_frame() -> None:
    body = Body(("100", "6400"), stuck_after=1)
    with pytest.raises(BaseFailed, match="put back to 100"), _lifted_iso(station(body), (6400.0, 100.0)):
        pass


def test_a_body_that_does_not_tell_its_iso_is_left_alone() -> None:
    body = Body(())
    with _lifted_iso(station(body), (6400.0, 100.0)) as iso:
        assert iso is None
    assert body.asked == []
