"""An evening that takes no base frame, rehearsed: judged against the first long one, with planted faults and without.

Pictures are small and the evenings short, so that two of them take a few seconds together.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from duskhold.app.evening_measuring import Measuring
from duskhold.app.evening_rehearsal import Rehearsed, Staging, rehearse_outing
from duskhold.app.folders import Folders
from duskhold.app.outing_file import load_outing
from duskhold.app.settings import Settings
from duskhold.app.station import Station
from duskhold.frames.evening import compared_with, unjudged_frames
from duskhold.frames.page import page_html
from duskhold.journal.entry import Frame
from duskhold.journal.journal import Journal
from duskhold.plan.evening_words import Act, Measured, Take
from duskhold.plan.outing import Outing
from duskhold.plan.role import Role

OUTING = """
name: One tone at Polvarrow Quay
place: {name: Polvarrow Quay, latitude_deg: 50.20, longitude_deg: -4.10}
start: {clock: "2026-03-20T18:40:00Z"}
want: {kind: tone, first_s: 20, between_s: 6}
kit:
  filters: [six]
  aperture: f/11
  iso: 100
  bag: [{name: six, label: 6.1}]
bounds: {longest_s: 600, frames: 7}
"""


@dataclass(frozen=True, slots=True)
class Rehearsal:
    outing: Outing
    found: Rehearsed
    said: list[tuple[str, str]]

    @property
    def longs(self) -> list[Frame]:
        return [one for one in self.found.frames if one.asked.role == "long"]

    def verdicts(self) -> list[dict[str, Any] | None]:
        return [cast("dict[str, Any] | None", one.outcome.report.get("verdict")) for one in self.longs if one.outcome]


def rehearse(home: Path, *faults: str) -> Rehearsal:
    home.mkdir()
    path = home / "outing.yaml"
    path.write_text(OUTING, encoding="utf-8")
    outing = load_outing(path, Settings(), (), datetime.now(UTC))
    said: list[tuple[str, str]] = []
    found = rehearse_outing(
        outing, OUTING, Staging(4, "thin", faults=faults), Folders(home, home / "state", home / "run"),
        lambda _at, word, line: said.append((word, line)), lambda: False,
    )  # fmt: skip
    return Rehearsal(outing, found, said)


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rehearsal]:
    yield rehearse(tmp_path_factory.mktemp("clean") / "home")


@pytest.fixture(scope="module")
def sunk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rehearsal]:
    """From the fourth frame on everything lies 3 px further to the side (0.4 % of 768)."""
    yield rehearse(tmp_path_factory.mktemp("sunk") / "home", "spoiled=4-99", "shift_x=0.004")


def test_without_a_fault_every_later_frame_is_good_against_the_first(clean: Rehearsal) -> None:
    first, *later = clean.verdicts()
    assert first is None and len(later) == 6
    name = clean.longs[0].asked.frame_id
    for verdict in later:
        assert verdict is not None
        assert (verdict["good"], verdict["base_frame_id"]) == (True, name)
        assert verdict["line"] == "good: nothing is past its limit; compared with the first long frame"
        assert abs(verdict["level_error_stops"]) < 0.1


def test_the_page_says_what_nobody_can_see_and_why_it_ended(clean: Rehearsal) -> None:
    written = clean.found.written
    assert written is not None
    evening = written.evening
    assert [one.record["frame_id"] for one in compared_with(evening)] == [clean.longs[0].asked.frame_id]
    assert unjudged_frames(evening) == 0
    page = page_html(evening)
    assert "Without a base frame the others are compared with the long frame of 18:40:0" in page
    assert page.count("The others are compared with this one; a fault of its own is not seen.") == 1
    assert "The series ended at 18:4" in page and ": all 7 frames are taken (frames done)." in page


def test_a_sunk_tripod_is_told_once_and_followed(sunk: Rehearsal) -> None:
    codes = [[one["code"] for one in body["measured"]["verdict"]] if body else [] for body in sunk.verdicts()]
    assert codes[:3] == [[], [], []]
    assert codes[3:] == [["moved"], ["moved"], [], [], []], "one was taken again"
    body = sunk.verdicts()[3]
    assert body is not None and body["measured"]["shift_px"] == pytest.approx([0.004 * 768, 0.0], abs=0.15)
    told = [line for word, line in sunk.said if word == "picture_fault"]
    assert len(told) == 1 and told[0].startswith("moved 3.")
    stands = [bool(body and body["stands"]) for body in sunk.verdicts()]
    assert stands.count(True) == 1 and stands[4], "the frame after it lies as it did: that is the view now"
    after = sunk.verdicts()[5]
    assert after is not None and after["base_frame_id"] == sunk.longs[4].asked.frame_id and after["good"]
    assert sunk.found.reason == "frames_done", "no series ends for a tripod that stands"


def journaled(one: Rehearsal) -> Journal:
    return Journal.open(one.found.folder / "journal.sqlite")


@pytest.mark.parametrize(("number", "reference"), [(3, 0), (6, 4)])
def test_a_program_started_anew_finds_what_to_compare_with(sunk: Rehearsal, number: int, reference: int) -> None:
    """The frames up to that one are in the journal, and nothing of what the first program knew."""
    frame = sunk.longs[number]
    decision = frame.asked.decision
    known = sunk.verdicts()[number]
    assert frame.outcome is not None and known is not None
    take = Take(
        Role.LONG, frame.asked.planned_s or 0.0, 600.0, None, ("six",), "f/11", "100",
        {key: value for key, value in decision.items() if key != "filters"},
    )  # fmt: skip
    with journaled(sunk) as journal:
        kept = journal.frames(100)
        earlier = [one for one in kept if one.written.utc <= frame.written.utc]
        played = SimpleNamespace(
            frames=lambda _limit: earlier, frame=journal.frame, conclude=lambda outcome, _at: concluded.append(outcome)
        )
        concluded: list[Any] = []
        folder = sunk.found.folder
        station = SimpleNamespace(journal=played, settings=Settings(), folders=Folders(folder, folder, folder))
        with Measuring(sunk.outing, str(decision["evening_id"])) as measuring:
            told = measuring.measure(cast(Station, station), take, replace(frame.outcome, report={}))
    assert isinstance(told, Measured)
    (outcome,) = concluded
    again = outcome.report["verdict"]
    assert again["base_frame_id"] == known["base_frame_id"] == sunk.longs[reference].asked.frame_id
    assert (again["line"], again["act"], again["stands"]) == (known["line"], known["act"], known["stands"])
    assert json.dumps(again["measured"]) == json.dumps(known["measured"])
    assert told.act is Act(known["act"])


def test_the_first_frame_says_of_itself_that_it_is_the_measure(clean: Rehearsal) -> None:
    frame = clean.longs[0]
    assert frame.outcome is not None
    take = Take(Role.LONG, 20.0, 25.0, None, ("six",), "f/11", "100", {"chosen_by": "person"})
    folder = clean.found.folder
    played = SimpleNamespace(frames=lambda _limit: [frame])
    station = SimpleNamespace(journal=played, settings=Settings(), folders=Folders(folder, folder, folder))
    with Measuring(clean.outing, str(frame.asked.decision["evening_id"])) as measuring:
        told = measuring.measure(cast(Station, station), take, frame.outcome)
    assert isinstance(told, Measured) and told.act is Act.KEEP
    assert "compared with it" in told.text and "not seen" in told.text
