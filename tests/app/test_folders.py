"""Folders: defaults by the XDG base directory specification 0.8; sockets short enough for unix(7)."""

import os
import socket
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.app.folders import (
    SOCKET_PATH_MAX_BYTES,
    FolderUnsafe,
    camera_key,
    ensure_private,
    folders_for,
)

HOME = {"HOME": "/home/someone"}


def test_defaults() -> None:
    folders = folders_for(None, HOME | {"XDG_RUNTIME_DIR": "/run/user/1000"})
    assert folders.data == Path("/home/someone/.local/share/duskhold")
    assert folders.state == Path("/home/someone/.local/state/duskhold")
    assert folders.runtime == Path("/run/user/1000/duskhold")
    assert folders.journal == Path("/home/someone/.local/share/duskhold/journal.sqlite")


def test_named_places() -> None:
    named = {"XDG_DATA_HOME": "/d", "XDG_STATE_HOME": "/s", "DUSKHOLD_RUNTIME": "/r", "XDG_RUNTIME_DIR": "/x"}
    folders = folders_for(None, HOME | named)
    assert (folders.data, folders.state, folders.runtime) == (Path("/d/duskhold"), Path("/s/duskhold"), Path("/r"))
    assert folders_for("/mine", HOME | named).data == Path("/mine")


def test_relative_base_directories_are_passed_over() -> None:
    assert folders_for(None, HOME | {"XDG_DATA_HOME": "d"}).data == Path("/home/someone/.local/share/duskhold")


def test_simulated_runs_lie_apart_and_share_one_keeper() -> None:
    folders = folders_for("/mine", HOME)
    simulated = folders.simulated()
    assert simulated.data == Path("/mine/simulated")
    assert simulated.journal != folders.journal
    assert simulated.places("usb") == folders.places("usb")


def test_one_keeper_per_camera_whatever_the_data_folder() -> None:
    assert folders_for("/one", HOME).places("usb") == folders_for("/two", HOME).places("usb")
    assert folders_for("/one", HOME).places("usb") != folders_for("/one", HOME).places("simulated")


def test_a_session_is_named_by_its_day() -> None:
    assert folders_for("/mine", HOME).session(date(2026, 10, 14)) == Path("/mine/frames/2026-10-14")


@given(st.text(min_size=1, max_size=300), st.text(min_size=1, max_size=300))
def test_keys_are_short_file_names_and_differ(one: str, other: str) -> None:
    assert len(camera_key(one)) <= 33
    assert "/" not in camera_key(one)
    assert (camera_key(one) == camera_key(other)) == (one == other)


@pytest.mark.parametrize("login", ["/run/user/4294967294", "/" + "x" * 200])
def test_socket_paths_can_be_bound(login: str) -> None:
    address = "ptpip:fe80::1234:5678:9abc:def0%enx001122334455:15740:15741"
    path = folders_for(None, HOME | {"XDG_RUNTIME_DIR": login}).places(address).socket
    assert len(os.fsencode(path)) <= SOCKET_PATH_MAX_BYTES


def test_a_private_folder_is_made_and_taken_again(tmp_path: Path) -> None:
    folder = ensure_private(tmp_path / "a" / "b")
    assert folder.stat().st_mode & 0o777 == 0o700
    assert ensure_private(folder) == folder
    with socket.socket(socket.AF_UNIX) as held:
        held.bind(str(folder / "it.sock"))


def test_folders_of_others_are_refused(tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    shared.mkdir()
    shared.chmod(0o777)
    with pytest.raises(FolderUnsafe, match="can be written to by others"):
        ensure_private(shared)
    mine = ensure_private(tmp_path / "mine")
    link = tmp_path / "link"
    link.symlink_to(mine)
    with pytest.raises(FolderUnsafe, match="is not a folder"):
        ensure_private(link)


def test_a_folder_of_another_user_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = ensure_private(tmp_path / "mine")
    uid = os.getuid()
    monkeypatch.setattr(os, "getuid", lambda: uid + 1)
    with pytest.raises(FolderUnsafe, match="belongs to user"):
        ensure_private(folder)
