"""Put on and taken away exactly: what is not ours is never touched, whatever happened in between."""

from pathlib import Path

import pytest

from duskhold.app.arrangement import PlannedFile
from duskhold.app.installation import Done, Installation

ONE = PlannedFile(Path("/etc/some/one.conf"), "one", "first\n")
TWO = PlannedFile(Path("/home/me/two.conf"), "two", "second\n")


@pytest.fixture
def installation(tmp_path: Path) -> Installation:
    return Installation(tmp_path / "root", Path("/var/lib/us/list.json"))


def tree(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def outcomes(installation: Installation, *files: PlannedFile) -> list[Done]:
    return [one.done for one in installation.apply(files)]


def test_looking_writes_nothing(installation: Installation, tmp_path: Path) -> None:
    assert [one.done for one in installation.look([ONE, TWO])] == [Done.WOULD_WRITE, Done.WOULD_WRITE]
    assert tree(tmp_path) == []


def test_on_and_off_leaves_no_trace(installation: Installation, tmp_path: Path) -> None:
    (tmp_path / "root" / "home").mkdir(parents=True)
    before = tree(tmp_path)
    assert outcomes(installation, ONE, TWO) == [Done.WRITTEN, Done.WRITTEN]
    assert (installation.root / "etc/some/one.conf").read_text() == "first\n"
    assert [one.done for one in installation.look_back()] == [Done.WOULD_REMOVE, Done.WOULD_REMOVE]
    assert [one.done for one in installation.undo()] == [Done.REMOVED, Done.REMOVED]
    assert tree(tmp_path) == before


def test_twice_is_once(installation: Installation, tmp_path: Path) -> None:
    outcomes(installation, ONE, TWO)
    before = tree(tmp_path)
    assert outcomes(installation, ONE, TWO) == [Done.UNCHANGED, Done.UNCHANGED]
    assert tree(tmp_path) == before
    assert installation.undo() and installation.undo() == []


def test_our_own_file_is_brought_up_to_date(installation: Installation) -> None:
    outcomes(installation, ONE)
    newer = PlannedFile(ONE.path, ONE.what, "newer\n")
    assert outcomes(installation, newer) == [Done.WRITTEN]
    assert [one.done for one in installation.undo()] == [Done.REMOVED]


def test_a_file_of_somebody_else_is_kept(installation: Installation) -> None:
    place = installation.root / "etc/some/one.conf"
    place.parent.mkdir(parents=True)
    place.write_text("theirs\n")
    assert outcomes(installation, ONE, TWO) == [Done.KEPT, Done.WRITTEN]
    installation.undo()
    assert place.read_text() == "theirs\n"


def test_the_same_text_by_somebody_else_stays_theirs(installation: Installation) -> None:
    place = installation.root / "etc/some/one.conf"
    place.parent.mkdir(parents=True)
    place.write_text(ONE.text)
    assert outcomes(installation, ONE) == [Done.UNCHANGED]
    assert installation.undo() == []
    assert place.exists()


def test_a_file_changed_since_is_left_and_named(installation: Installation) -> None:
    outcomes(installation, ONE, TWO)
    place = installation.root / "etc/some/one.conf"
    place.write_text("first\nand more\n")
    assert outcomes(installation, ONE) == [Done.KEPT]
    assert [(one.path, one.done) for one in installation.undo()] == [
        (place, Done.KEPT),
        (installation.root / "home/me/two.conf", Done.REMOVED),
    ]
    assert place.read_text() == "first\nand more\n"


def test_a_file_removed_since_is_no_trouble(installation: Installation) -> None:
    outcomes(installation, ONE)
    (installation.root / "etc/some/one.conf").unlink()
    assert [one.done for one in installation.undo()] == [Done.GONE]
