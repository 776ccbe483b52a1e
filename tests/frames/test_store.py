"""Pictures in their place: whole, checked, never over another file. Digests by FIPS 180-4's own examples."""

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.frames import rename, store
from duskhold.frames.store import (
    Arrival,
    DiskShort,
    PictureChanged,
    PictureIncomplete,
    StoredFile,
    ensure_room,
    file_name,
)
from duskhold.plan.role import Role

# FIPS 180-4 example computations, one-block message "abc"
ABC_SHA256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def stored(folder: Path, data: bytes, name: str = "one.dng") -> StoredFile:
    with Arrival(folder, name, Role.LONG, len(data)) as arrival:
        os.write(arrival.descriptor, data)
        return arrival.keep()


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_picture_arrives_whole(tmp_path: Path) -> None:
    folder = tmp_path / "frames" / "2026-10-14"
    kept = stored(folder, b"abc")
    assert kept == StoredFile(folder / "one.dng", Role.LONG, 3, ABC_SHA256)
    assert kept.path.read_bytes() == b"abc"
    assert names(folder) == ["one.dng"]
    assert kept.record() == {
        "path": str(folder / "one.dng"),
        "role": "long",
        "bytes": 3,
        "sha256": ABC_SHA256,
    }


def test_another_picture_of_the_same_name_stands_beside_it(tmp_path: Path) -> None:
    places = [stored(tmp_path, data).path.name for data in (b"first", b"second", b"third")]
    assert places == ["one.dng", "one-2.dng", "one-3.dng"]
    assert (tmp_path / "one.dng").read_bytes() == b"first"


def test_a_name_tells_whose_picture_it_is() -> None:
    assert store.frame_of(file_name("20261014-172110-3f2a", Role.LONG, "CAP_0001.DNG")) == "20261014-172110-3f2a"
    assert store.frame_of("CAP_0001.DNG") is None


def test_what_a_killed_process_left_unfinished_goes_and_what_is_being_written_stays(tmp_path: Path) -> None:
    (tmp_path / ".one.dng.0badc0de.part").write_bytes(b"ab")
    (tmp_path / ".two.dng.0badc0de.part").write_bytes(b"ab")
    with Arrival(tmp_path, "one.dng", Role.LONG, 3) as other:
        os.write(other.descriptor, b"a")
        stored(tmp_path, b"abc")
        left = [name for name in names(tmp_path) if name != ".two.dng.0badc0de.part"]
        assert len(left) == 2 and left[1] == "one.dng" and "0badc0de" not in left[0]
    assert names(tmp_path) == [".two.dng.0badc0de.part", "one.dng"], "only what has its place by now"


def test_the_same_picture_again_adds_nothing(tmp_path: Path) -> None:
    first = stored(tmp_path, b"abc")
    assert stored(tmp_path, b"abc") == first
    assert names(tmp_path) == ["one.dng"]


@pytest.mark.parametrize("data", [b"", b"ab", b"abcd"])
def test_too_few_or_too_many_bytes_leave_nothing(tmp_path: Path, data: bytes) -> None:
    with Arrival(tmp_path, "one.dng", Role.LONG, 3) as arrival:
        os.write(arrival.descriptor, data)
        with pytest.raises(PictureIncomplete, match=f"{len(data)} bytes came, 3 were announced"):
            arrival.keep()
    assert names(tmp_path) == []


def test_a_disk_that_lies_is_found_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "sha256_on_disk", lambda path: "0" * 64)
    with Arrival(tmp_path, "one.dng", Role.LONG, 3) as arrival:
        os.write(arrival.descriptor, b"abc")
        with pytest.raises(PictureChanged, match="other bytes"):
            arrival.keep()
    assert names(tmp_path) == []


def test_an_interruption_leaves_nothing_under_the_name(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt), Arrival(tmp_path, "one.dng", Role.LONG, 3) as arrival:
        os.write(arrival.descriptor, b"ab")
        raise KeyboardInterrupt
    assert names(tmp_path) == []


def fall_back(old: Path, new: Path) -> int:
    return errno.EINVAL


@pytest.mark.parametrize("at_once", [rename._rename_at_once, fall_back], ids=["at_once", "fall_back"])
def test_a_rename_never_replaces(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at_once: Callable[[Path, Path], int]
) -> None:
    monkeypatch.setattr(rename, "_rename_at_once", at_once)
    old, new, free = (tmp_path / name for name in ("old", "new", "free"))
    old.write_text("old")
    new.write_text("new")
    with pytest.raises(FileExistsError):
        rename.rename_to_free_name(old, new)
    assert (old.read_text(), new.read_text()) == ("old", "new")
    rename.rename_to_free_name(old, free)
    assert (free.read_text(), old.exists()) == ("old", False)


def test_a_rename_into_nowhere_is_the_systems_error(tmp_path: Path) -> None:
    (tmp_path / "old").write_text("old")
    with pytest.raises(FileNotFoundError):
        rename.rename_to_free_name(tmp_path / "old", tmp_path / "none" / "new")


def test_room_on_the_disk(tmp_path: Path) -> None:
    ensure_room(tmp_path / "not" / "yet", 1, 0)
    for needed_bytes, reserve_bytes, would_do in ((1, 1 << 60, True), (1 << 60, 1, False)):
        with pytest.raises(DiskShort, match="must stay free") as short:
            ensure_room(tmp_path, needed_bytes, reserve_bytes)
        assert short.value.but_for_reserve is would_do


def test_names_sort_by_time_tell_the_role_and_keep_the_cameras_own() -> None:
    name = file_name("20261014-172110-3f2a", Role.LONG, "CAP_0001.DNG")
    assert name == "20261014-172110-3f2a-long-CAP_0001.DNG"


@given(st.text(max_size=400))
def test_no_camera_name_leads_out_of_the_folder(camera_name: str) -> None:
    name = file_name("20261014-172110-3f2a", Role.DARK, camera_name)
    assert Path(name).name == name
    assert len(name.encode()) <= 200
    assert "\0" not in name
