"""Which outings are due: by day, by their own sun, in the middle, over, missed, spoilt. Files and journal are real."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import NoReturn

import pytest

from duskhold.app import evening_record
from duskhold.app.evening_record import END, EveningDamaged, EveningRecord, mint_evening_id
from duskhold.app.evening_run import Place, take_up
from duskhold.app.folders import Folders
from duskhold.app.outing_calendar import AHEAD, Calendar, calendar_of
from duskhold.app.outing_file import load_outing
from duskhold.app.settings import Settings
from duskhold.app.station import stamp_now
from duskhold.journal.entry import Stamp
from duskhold.journal.journal import Journal
from duskhold.plan.evening import Evening
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import Begun, Checked, FrameTold, MeansTold, Said, Word
from duskhold.plan.outing import Outing
from duskhold.plan.role import Role
from duskhold.plan.stamp import utc_text
from duskhold.shutter.clock import mono_now_s

NOW = datetime.now(UTC).replace(microsecond=0)
CLOCK = """\
name: {name}
start: {{clock: "{at}"}}
want: {{kind: again, first_s: 4, between_s: 5}}
kit: {{filters: [], aperture: f/8, iso: 100}}
bounds: {{longest_s: 60, frames: 3}}
"""
EVERY_DUSK = """\
name: Every dusk
place: {name: Ardvane Narrows, latitude_deg: 56.04, longitude_deg: -5.93}
start: {sun: {altitude_deg: -2, direction: down}}
want: {kind: again, first_s: 4, between_s: 5}
kit: {filters: [], aperture: f/8, iso: 100}
bounds: {longest_s: 60, frames: 3}
"""


@pytest.fixture
def place(tmp_path: Path) -> Place:
    return Place("simulated", Settings(), Folders(tmp_path / "data", tmp_path / "state", tmp_path / "run"), (), UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "outings"
    made.mkdir()
    return made


def write(folder: Path, name: str, after: timedelta) -> Path:
    path = folder / f"{name}.yaml"
    path.write_text(CLOCK.format(name=name, at=(NOW + after).isoformat()), encoding="utf-8")
    return path


def look(place: Place, folder: Path, now_utc: datetime = NOW) -> Calendar:
    with Journal.open(place.own.journal) as journal:
        return calendar_of(place, folder, journal, now_utc)


def happened(place: Place, path: Path, *words: object, now_utc: datetime = NOW) -> None:
    """An evening of this outing in the journal, with these events."""
    with Journal.open(place.own.journal) as journal:
        outing = load_outing(path, place.settings, place.bag, now_utc)
        record = EveningRecord.begin(
            journal, mint_evening_id(outing, now_utc), place.camera, path.read_text(encoding="utf-8"), stamp(now_utc)
        )
        for event in (Begun(True), Checked(()), MeansTold(90.0, 10**11), *words):
            record.keep(event, now_utc, stamp(now_utc))  # type: ignore[arg-type]


def stamp(now_utc: datetime) -> Stamp:
    """Written a minute ago, in this boot."""
    return Stamp(now_utc, mono_now_s() - 60.0, "boot")


def test_the_soonest_comes_first_and_is_begun_ahead_of_its_start(place: Place, folder: Path) -> None:
    late, soon = write(folder, "late", timedelta(hours=5)), write(folder, "soon", timedelta(hours=1))
    due = look(place, folder).due
    assert [one.path for one in due] == [soon, late]
    assert due[0].at_utc == NOW + timedelta(hours=1) - AHEAD


def test_one_that_was_missed_is_not_begun_by_itself(place: Place, folder: Path) -> None:
    write(folder, "missed", timedelta(hours=-1))
    just = write(folder, "just", timedelta(minutes=-5))
    assert [one.path for one in look(place, folder).due] == [just]


def test_without_a_day_it_is_run_at_every_dusk_and_only_once_at_each(place: Place, folder: Path) -> None:
    path = folder / "every.yaml"
    path.write_text(EVERY_DUSK, encoding="utf-8")
    (first,) = look(place, folder).due
    assert NOW - AHEAD <= first.at_utc < NOW + timedelta(hours=24)
    # Ended early, by a person, before its own start: not again at the same dusk.
    ended_utc = first.at_utc + timedelta(minutes=1)
    happened(place, path, Said(Word.LEAVING), now_utc=ended_utc)
    assert look(place, folder, ended_utc + timedelta(seconds=30)).due == ()
    (second,) = look(place, folder, ended_utc + timedelta(hours=1)).due
    assert timedelta(hours=23) < second.at_utc - first.at_utc < timedelta(hours=25)


BY_LIGHT = """\
name: When the light has come
place: {name: Ardvane Narrows, latitude_deg: 56.04, longitude_deg: -5.93}
start: {light: {base: 1/2, direction: down}}
want: {kind: again}
kit: {filters: [], aperture: f/11, iso: 100}
bounds: {longest_s: 60, frames: 3}
"""


@pytest.mark.parametrize("has_day", [False, True])
def test_a_start_by_the_light_is_due_once_a_dusk_and_not_late_while_the_light_may_come(
    place: Place, folder: Path, has_day: bool
) -> None:
    """There on 20 March a clear sky comes to it at 18:48, and is 4 stops from that at 18:12 and at 19:08."""
    path = folder / "light.yaml"
    path.write_text(("day: 2026-03-20\n" if has_day else "") + BY_LIGHT, encoding="utf-8")
    noon_utc = datetime(2026, 3, 20, 13, tzinfo=UTC)
    (first,) = look(place, folder, noon_utc).due
    assert abs(first.at_utc + AHEAD - datetime(2026, 3, 20, 18, 12, 14, tzinfo=UTC)) < timedelta(seconds=1)
    assert [one.at_utc for one in look(place, folder, noon_utc.replace(hour=19)).due] == [first.at_utc]
    assert look(place, folder, noon_utc.replace(hour=20)).due == ()
    over_utc = first.at_utc + timedelta(minutes=50)
    happened(place, path, Said(Word.LEAVING), now_utc=over_utc)
    assert look(place, folder, over_utc + AHEAD).due == ()
    tomorrow = look(place, folder, noon_utc + timedelta(hours=24)).due
    assert len(tomorrow) == (not has_day)


def test_without_a_place_a_dusk_is_told_from_the_next_by_the_zone(place: Place, folder: Path) -> None:
    """Ten hours east of Greenwich UTC's noon is 22:00: the same dusk, and long dark."""
    path = folder / "light.yaml"
    path.write_text(re.sub("(?m)^place.*\n", "", BY_LIGHT), encoding="utf-8")
    east = replace(place, zone=timezone(timedelta(hours=10)))
    afternoon_utc = datetime(2026, 3, 20, 6, tzinfo=UTC)
    (first,) = look(east, folder, afternoon_utc).due
    assert first.at_utc + AHEAD == datetime(2026, 3, 20, 2, tzinfo=UTC)
    happened(east, path, Said(Word.LEAVING), now_utc=afternoon_utc + timedelta(hours=3))
    assert look(east, folder, afternoon_utc + timedelta(hours=8)).due == ()
    assert len(look(east, folder, afternoon_utc + timedelta(hours=24)).due) == 1


def test_what_was_left_in_the_middle_is_due_at_once(place: Place, folder: Path) -> None:
    path = write(folder, "middle", timedelta(minutes=-40))
    happened(place, path)
    (due,) = look(place, folder).due
    assert due.at_utc == NOW and "in the middle" in due.line


def test_what_is_over_or_was_left_too_long_ago_is_not(place: Place, folder: Path) -> None:
    over, old = write(folder, "over", timedelta(minutes=5)), write(folder, "old", timedelta(hours=-20))
    happened(place, over, Said(Word.LEAVING))
    happened(place, old, now_utc=NOW - timedelta(hours=20))
    assert look(place, folder).due == ()


def test_what_has_ended_is_gone_over_at_most_once(place: Place, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(folder, "over", timedelta(minutes=5))
    happened(place, path, Said(Word.LEAVING))
    gone_over: list[str] = []
    go_over = EveningRecord.go_over

    def counts(record: EveningRecord, outing: Outing) -> Evening | None:
        gone_over.append(record.evening_id)
        return go_over(record, outing)

    monkeypatch.setattr(EveningRecord, "go_over", counts)
    assert look(place, folder).due == ()
    assert look(place, folder).due == ()  # nothing remembered but what the journal has
    assert len(gone_over) == 1


def test_an_end_that_is_in_the_journal_needs_no_going_over(
    place: Place, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(folder, "over", timedelta(minutes=5))
    happened(place, path, Said(Word.LEAVING))
    over: dict[str, datetime] = {}
    with Journal.open(place.own.journal) as journal:
        (evening,) = journal.evenings(9)
        record = EveningRecord(journal, evening.evening_id)
        journal.note(record.note_of(END, "left", {}), stamp(NOW))
        monkeypatch.setattr(EveningRecord, "go_over", lambda *_given: pytest.fail("gone over"))
        assert calendar_of(place, folder, journal, NOW, over).due == ()
        assert over == {evening.evening_id: NOW}
        monkeypatch.setattr(EveningRecord, "last_utc", lambda *_given: pytest.fail("read again"))
        assert calendar_of(place, folder, journal, NOW, over).due == ()


def test_a_program_that_died_with_its_last_frame_untold_is_gone_on_with_first(place: Place, folder: Path) -> None:
    late, path = write(folder, "a-late", timedelta(minutes=-5)), write(folder, "middle", timedelta(minutes=-40))
    told = FrameTold("20261125-132719-3460", Role.LONG, "cut_short", 4.0, NOW, NOW + timedelta(seconds=4), True, "", 0)
    happened(place, path, told)
    first, second = look(place, folder).due
    assert first.path == path and first.taken is not None
    assert first.taken.told == {told.frame_id: "cut_short"}
    assert second.path == late and second.taken is None


def test_a_file_that_cannot_be_used_is_said_and_the_others_stay(place: Place, folder: Path) -> None:
    good = write(folder, "good", timedelta(hours=1))
    (folder / "bad.yaml").write_text("name: 5\n", encoding="utf-8")
    (folder / "notes.txt").write_text("not an outing", encoding="utf-8")
    found = look(place, folder)
    assert [one.path for one in found.due] == [good]
    (trouble,) = found.troubles
    assert "bad.yaml" in trouble


@pytest.mark.parametrize("way", ["step", "view", "message"])
def test_an_evening_that_cannot_be_gone_over_is_left_out_with_a_word_and_the_others_stay(
    place: Place, folder: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    def fails(*_given: object) -> NoReturn:
        raise AssertionError("no such decision")

    good, path = write(folder, "good", timedelta(hours=1)), write(folder, "middle", timedelta(minutes=-40))
    happened(place, path, Said(Word.HOLD))
    if way == "message":
        monkeypatch.setattr(evening_record, "event_from", lambda message: Word(message["event"]))
    else:
        monkeypatch.setattr(Evening, way, fails)
    found = look(place, folder)
    assert [one.path for one in found.due] == [good]
    (trouble,) = found.troubles
    with Journal.open(place.own.journal) as journal:
        (evening,) = journal.evenings(9)
        assert evening.evening_id in trouble and "middle.yaml" in trouble and f"at {utc_text(NOW)}" in trouble
        with pytest.raises(EveningDamaged, match=evening.evening_id):
            take_up(place, path, journal, stamp_now())


def test_one_that_was_left_too_long_ago_need_not_be_understood(
    place: Place, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    happened(place, write(folder, "old", timedelta(hours=1)), now_utc=NOW - timedelta(hours=20))
    monkeypatch.setattr(evening_record, "event_from", lambda _message: pytest.fail("read"))
    assert len(look(place, folder).due) == 1


def test_a_folder_that_is_not_there_is_empty(place: Place, tmp_path: Path) -> None:
    assert look(place, tmp_path / "none") == Calendar((), ())


def test_an_evening_taken_up_stands_as_it_stood(place: Place, folder: Path) -> None:
    path = write(folder, "middle", timedelta(seconds=0))
    told = FrameTold("20261125-132719-3460", Role.LONG, "complete", 4.0, NOW, NOW + timedelta(seconds=4), True, "", 2)
    happened(place, path, told)
    with Journal.open(place.own.journal) as journal:
        now_s = mono_now_s()
        died = journal.last_happening(journal.evenings(1)[0].evening_id)
        assert died is not None
        taken = take_up(place, path, journal, Stamp(NOW + timedelta(seconds=now_s - died.mono_s), now_s, "boot"))
        assert taken.evening.view(NOW).phase is Phase.MEASURING
        assert (taken.clock.now_utc() - NOW).total_seconds() == pytest.approx(60.0, abs=1.0)
        assert len(journal.evenings(9)) == 1
        path.write_text(path.read_text(encoding="utf-8") + "# changed\n", encoding="utf-8")
        take_up(place, path, journal, Stamp(NOW + timedelta(seconds=61), now_s, "boot"))
        assert len(journal.evenings(9)) == 2  # another outing, another evening


def test_an_evening_under_way_is_not_due_and_its_outing_at_its_next_start(place: Place, folder: Path) -> None:
    path = folder / "every.yaml"
    path.write_text(EVERY_DUSK, encoding="utf-8")
    (first,) = look(place, folder).due
    happened(place, path, now_utc=first.at_utc)
    with Journal.open(place.own.journal) as journal:
        running_id = journal.evenings(1)[0].evening_id
        assert calendar_of(place, folder, journal, first.at_utc + AHEAD / 2, None, running_id).due == ()
        (second,) = calendar_of(place, folder, journal, first.at_utc + timedelta(hours=1), None, running_id).due
    assert second.taken is None and second.at_utc - first.at_utc > timedelta(hours=23)
