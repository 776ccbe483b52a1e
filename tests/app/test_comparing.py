"""What an evening's frames are compared with, by verdicts that are played: what stands, what passes, what is gone over.

A view is where a picture was taken from; two pictures of one view have no finding of place between them.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import cast

import pytest

from duskhold.app.comparing import Comparer, Shown, frame_shown, go_over, is_plain
from duskhold.app.judging import Judge, Verdict, act_of, line_of
from duskhold.frames.gauge import Gauged
from duskhold.frames.verdict import Finding
from duskhold.journal.entry import Frame, Intent, Outcome, Stamp
from duskhold.journal.journal import Journal
from duskhold.plan.evening_words import Act
from duskhold.plan.role import Role

UTC_TEXT = "2026-10-14T17:20:00.000Z"
PLAIN = Gauged(1.0, 0.01, False)


@dataclass
class PlayedJudge:
    """Says by the names of two files what is between them: `view` differs is `moved`, further letters are codes."""

    asked: list[tuple[str, str, float | None, str, tuple[str, ...]]] = field(default_factory=list)

    def judge(
        self, base: Path, long: Path, scout: None, expected: float | None, against: str, ignored: tuple[str, ...]
    ) -> Verdict:
        self.asked.append((base.name, long.name, expected, against, ignored))
        (view, *had), (seen, *has) = base.name.split(), long.name.split()
        codes = ["moved"] * (view != seen) + [code for code in has if code not in had]
        findings = tuple(Finding(code, f"{code}: do", 1.0, 0.5) for code in codes if code not in ignored)
        measured = {"verdict": [asdict(one) for one in findings], "level_error_stops": 0.1, "good": not findings}
        line = line_of(findings, against)
        return Verdict(not findings, act_of(findings), line, findings, 0.1, measured, expected, against=against)

    def judge_scout(self, base: Path, scout: Path, expected: None, against: str, ignored: tuple[str, ...]) -> Verdict:
        return self.judge(base, scout, None, expected, against, ignored)


class Series:
    """Frames one after the other; each is named by its view and what can be seen in it."""

    def __init__(self) -> None:
        self.judge = PlayedJudge()
        self.comparer = Comparer(cast(Judge, self.judge), 60.0, lambda: 0.0)
        self.taken: list[tuple[Shown, dict[str, object]]] = []

    def first(self, name: str, wanted_stops: float = 0.0) -> Shown:
        shown = Shown("first", Role.LONG, Path(name), wanted_stops, True, frozenset({"six"}))
        assert self.comparer.compare(shown) is None and self.comparer.begins(shown, PLAIN)
        return shown

    def take(
        self, name: str, role: Role = Role.LONG, wanted: float = 0.0, filters: tuple[str, ...] = ("six",)
    ) -> Verdict:
        shown = Shown(f"{len(self.taken)}", role, Path(name), wanted, False, frozenset(filters))
        found = self.comparer.compare(shown)
        assert found is not None
        self.taken.append((shown, dict(found.body())))
        return found


def test_frames_are_compared_with_the_first_and_say_so() -> None:
    series = Series()
    series.first("here")
    assert series.take("here").line == "good: nothing is past its limit; compared with the first long frame"
    spoiled = series.take("here dew")
    assert (spoiled.act, spoiled.against) == (Act.ASK, "first long frame")
    assert [base for base, *_ in series.judge.asked] == ["here", "here"], "dew is slow: only the first tells it"


@pytest.mark.parametrize(
    ("share", "at_least", "plain"), [(1.0, False, True), (6.0, False, True), (6.0, True, False), (0.005, False, False)]
)
def test_a_burnt_or_black_frame_is_no_measure_for_others(share: float, at_least: bool, plain: bool) -> None:
    assert is_plain(Gauged(share, 0.01, at_least)) is plain


def test_the_level_is_held_against_the_tone_that_was_meant() -> None:
    series = Series()
    series.first("here", wanted_stops=-1.0)  # closed at half its time
    series.take("here", wanted=-0.25)
    assert series.judge.asked[-1][2] == 0.75


def test_a_knock_is_a_fault_once_and_then_the_view() -> None:
    series = Series()
    series.first("here")
    knocked = series.take("there")
    assert (knocked.act, knocked.stands) == (Act.RETAKE, False)
    again = series.take("there", wanted=0.5)
    assert (again.act, again.stands, again.good) == (Act.KEEP, True, False)
    assert "so it stands now" in again.line
    after = series.take("there", wanted=0.5)
    assert (after.act, after.good, after.against) == (Act.KEEP, True, "first long frame of this view")
    # The one that it is compared with came out 0.1 stop off what was wanted of it.
    assert series.judge.asked[-1][2] == pytest.approx(-0.1)


def test_what_gives_further_with_every_frame_is_a_fault_each_time() -> None:
    series = Series()
    series.first("here")
    found = [series.take(name) for name in ("lower", "lower-still", "lowest")]
    assert [one.act for one in found] == [Act.RETAKE] * 3 and not any(one.stands for one in found)


def test_back_where_it_was_is_good_and_forgets_the_knock() -> None:
    series = Series()
    series.first("here")
    series.take("there")
    assert series.take("here").good
    assert series.take("there").act is Act.RETAKE


def test_a_scout_shows_the_new_view_and_the_long_frame_behind_it_keeps_it() -> None:
    series = Series()
    series.first("here")
    series.take("there")
    assert series.take("there", Role.SCOUT).stands
    assert series.take("there").stands
    assert series.take("there").good


def test_a_frame_that_lies_as_the_one_before_keeps_what_else_is_wrong_with_it() -> None:
    series = Series()
    series.first("here")
    series.take("there")
    wrong = series.take("there soft")
    assert (wrong.act, wrong.stands) == (Act.ASK, True)
    assert series.take("there soft").act is Act.ASK, "it is no measure for the next one"
    assert series.take("there").act is Act.KEEP
    assert series.take("there soft").codes == {"soft"}
    unsteady = Series()
    unsteady.first("here")
    unsteady.take("there")
    assert not unsteady.take("there moved_during").stands, "one that moved while it was open stands nowhere"


@pytest.mark.parametrize("code", ["leak", "spots", "lamp", "step"])
def test_what_the_last_good_frame_has_as_well_is_a_cloud(code: str) -> None:
    series = Series()
    series.first("here")
    assert series.take(f"here {code}").codes == {code}, "nothing else to tell by"
    series.take("here")
    assert series.take(f"here {code}").codes == {code}
    assert series.take(f"here {code}").codes == {code}, "it stays on the glass, and the last good frame stays the same"
    cloudy = Series()
    cloudy.first("here")
    cloudy.take("here")
    cloudy.comparer.follow(Shown("f", Role.LONG, Path(f"here {code}")), {"measured": {"verdict": []}, "reason": None})
    assert cloudy.take(f"here {code}").good


def test_other_filters_make_no_fault_of_colour_and_fewer_none_of_corners() -> None:
    series = Series()
    series.first("here")
    assert series.take("here cast corners").codes == {"cast", "corners"}
    assert series.take("here cast corners", filters=("three",)).codes == {"corners"}
    assert series.take("here cast corners", filters=()).good


def test_a_base_frame_is_what_others_are_compared_with_and_no_cloud_is_looked_for_twice() -> None:
    series = Series()
    assert series.comparer.begins(Shown("base", Role.BASE, Path("here"), 0.0, False, None))
    assert not series.comparer.begins(Shown("long", Role.LONG, Path("here")), PLAIN)
    series.take("here", wanted=0.3)
    found = series.take("here leak cast", filters=("three",))
    assert found.codes == {"leak", "cast"} and found.against == "base frame" and "compared" not in found.line
    assert [(one[0], one[2]) for one in series.judge.asked] == [("here", 0.3), ("here", 0.0)]


@pytest.mark.parametrize(
    "story", [["here"], ["here", "there"], ["there", "there"], ["there", "there", "there leak", "here"]]
)
def test_the_record_alone_leads_to_the_same(story: list[str]) -> None:
    series = Series()
    first = series.first("here")
    for name in story:
        series.take(name)
    anew = Series()
    anew.comparer.begin(first)
    for shown, body in series.taken:
        anew.comparer.follow(shown, body)
    for one in ("there leak", "here leak", "there", "elsewhere"):
        assert anew.take(one) == series.take(one)


@dataclass
class Shelf:
    """A journal of a few frames, whose pictures are on the disk."""

    folder: Path
    frames: dict[str, Frame] = field(default_factory=dict)

    def keep(self, frame_id: str, role: str, view: str, verdict: dict[str, object] | None = None) -> Frame:
        path = self.folder / view
        path.touch()
        report = {} if verdict is None else {"verdict": verdict}
        files = ({"path": str(path)},)
        outcome = Outcome(frame_id, "complete", 30.0, None, UTC_TEXT, UTC_TEXT, "closed", True, "", files, report)
        made = Frame(Intent(frame_id, "usb", role, "held", 30.0, 35.0), Stamp(datetime.now(UTC), 0.0, "boot"), outcome)
        self.frames[frame_id] = made
        return made

    def frame(self, frame_id: str) -> Frame | None:
        return self.frames.get(frame_id)


def test_gone_over_the_newest_base_frame_counts_and_a_lost_picture_does_not(tmp_path: Path) -> None:
    shelf, series = Shelf(tmp_path), Series()
    earlier = [shelf.keep("a", "base", "one"), shelf.keep("b", "base", "two"), shelf.keep("c", "base", "three")]
    (tmp_path / "three").unlink()
    go_over(series.comparer, cast(Journal, shelf), earlier)
    reference = series.comparer.reference
    assert reference is not None and (reference.frame_id, series.comparer.against) == ("b", "base frame")


def test_gone_over_a_verdict_names_a_first_frame_that_is_older_than_what_is_read(tmp_path: Path) -> None:
    shelf, series = Shelf(tmp_path), Series()
    shelf.keep("first", "long", "here")
    verdict: dict[str, object] = {"base_frame_id": "first", "compared_with": "first long frame of this view"}
    verdict |= {"measured": {"verdict": [{"code": "moved"}]}, "reason": None, "stands": False}
    known = [shelf.keep("later", "long", "there", verdict)]
    go_over(series.comparer, cast(Journal, shelf), known)
    reference = series.comparer.reference
    assert reference is not None and reference.frame_id == "first"
    assert series.comparer.against == "first long frame of this view"
    assert series.comparer.compare(Shown("next", Role.LONG, tmp_path / "there")) is not None
    assert [Path(base).name for base, *_ in series.judge.asked] == ["here", "there"], "it knows of the knock, too"


def test_a_record_says_what_a_frame_can_be_compared_by() -> None:
    decision = {"chosen_by": "person", "filters": ["six"]}
    files = ({"path": "/f/a.JPG"}, {"path": "/f/a.DNG"})
    outcome = Outcome("f", "cut_short", 15.0, None, UTC_TEXT, UTC_TEXT, "closed", True, "", files)
    stamp = Stamp(datetime(2026, 10, 14, 17, 20, tzinfo=UTC), 0.0, "boot")
    first = frame_shown(Frame(Intent("f", "usb", "long", "held", 30.0, 35.0, decision), stamp, outcome))
    assert first == Shown("f", Role.LONG, Path("/f/a.DNG"), -1.0, True, frozenset({"six"}))
    later = frame_shown(Frame(Intent("f", "usb", "long", "held", 30.0, 35.0, {"wanted_stops": 0.5}), stamp, outcome))
    assert later == Shown("f", Role.LONG, Path("/f/a.DNG"), 0.5, False, None)
    assert frame_shown(Frame(Intent("f", "usb", "dark", "held", 30.0, 35.0), stamp, outcome)) is None
