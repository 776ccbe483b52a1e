"""Settings put right and put back in an order that a body takes, and each body's memory for itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import cast

from duskhold.app.check import awaits_restore, fix, memory_path, restore
from duskhold.app.check_memory import read_memory
from duskhold.app.checklist import Facts, Wanted
from duskhold.app.folders import Folders
from duskhold.app.settings import Settings
from duskhold.app.station import Station
from duskhold.camera.port import Identity, Setting
from duskhold.camera.target_found import FOLDER, forget_found, keep_found
from duskhold.journal.journal import Journal
from duskhold.shutter.holder_link import HolderLink, HolderRefused

FOUND = {Setting.MODE: "aperture", Setting.SHUTTER: "1/60", Setting.ISO: "800"}


@dataclass
class StrictLink:
    """A body whose shutter can be set in manual only, as libgphoto2#694 tells of real ones."""

    now: dict[Setting, str]

    def change(self, setting: Setting, value: str) -> str:
        if setting is Setting.SHUTTER and self.now[Setting.MODE] != "manual":
            raise HolderRefused("body_refused", "not in this mode")
        self.now[setting] = value
        return value


def facts(said: Mapping[Setting, str], serial: str = "A") -> Facts:
    return Facts(Identity("body", serial, 0x000A, "bulb toggle", "paper"), dict(said), 10**12)


def test_the_mode_goes_first_when_put_right_and_last_when_put_back(tmp_path: Path) -> None:
    link = StrictLink(dict(FOUND))
    folders = Folders(tmp_path / "data", tmp_path / "state", tmp_path / "run")
    station = Station("usb", folders, cast(Journal, None), cast(HolderLink, link), Settings(), {})
    memory = read_memory(tmp_path / "check.json")
    changes = fix(station, facts(link.now), Wanted(), memory, None)
    assert [change.trouble for change in changes] == [None] * 3
    assert link.now == {Setting.MODE: "manual", Setting.SHUTTER: "bulb", Setting.ISO: "100"}
    changes = restore(station, facts(link.now), memory, None)
    assert [change.trouble for change in changes] == [None] * 3
    assert link.now == FOUND
    assert not memory.found


def test_whoever_goes_home_is_told_of_settings_that_are_not_put_back(tmp_path: Path) -> None:
    link = StrictLink(dict(FOUND))
    folders = Folders(tmp_path / "data", tmp_path / "state", tmp_path / "run")
    station = Station("usb", folders, cast(Journal, None), cast(HolderLink, link), Settings(), {})
    state = folders.places("usb").state
    state.mkdir(parents=True)
    memory = read_memory(memory_path(state, "A"))
    assert not awaits_restore(state)
    fix(station, facts(link.now), Wanted(), memory, None)
    assert awaits_restore(state)
    restore(station, facts(link.now), memory, None)
    assert not awaits_restore(state)
    (state / FOLDER).mkdir()
    keep_found(state / FOLDER, "A", "Internal RAM")
    assert awaits_restore(state)
    forget_found(state / FOLDER, "A")
    assert not awaits_restore(state)
    memory_path(state, "B").write_text("{")
    assert awaits_restore(state)  # nobody knows


def test_what_was_said_and_found_of_one_body_holds_for_no_other(tmp_path: Path) -> None:
    paths = {memory_path(tmp_path, serial) for serial in ("", "A-1", "A/1", "a-1")}
    assert len(paths) == 4
    assert all(path.parent == tmp_path for path in paths)
