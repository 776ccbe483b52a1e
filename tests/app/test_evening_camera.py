"""The field: every request is answered whatever fails, and faults are told by kind; what a frame is, is told once.

The station is played; frames on a real one are tests/processes' business.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast

import pytest

from duskhold.app import evening_camera, evening_taking
from duskhold.app.clock_gate import ClockWord
from duskhold.app.evening_bell import Bell
from duskhold.app.evening_camera import CameraField, Post
from duskhold.app.evening_run import Last, Opening
from duskhold.app.evening_taking import still_open, told_of
from duskhold.app.exposing import Watch
from duskhold.app.folders import Folders
from duskhold.app.settings import Settings
from duskhold.app.simulated_hand import SimulatedHand
from duskhold.app.station import Station
from duskhold.camera.hand import read_fitted
from duskhold.camera.port import Setting as BodySetting
from duskhold.journal.database import JournalUnwritable
from duskhold.journal.entry import Frame, Intent, Outcome, Stamp
from duskhold.light.filters import Filter
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.evening_words import (
    Begun,
    Checked,
    CloseNow,
    Event,
    Fault,
    FaultGone,
    FaultSeen,
    FrameTold,
    MeansTold,
    ReadMeans,
    Restarted,
    RunCheck,
    Take,
    Tell,
)  # fmt: skip
from duskhold.plan.outing import Bounds, ClockStart, Kind, Outing, OutingKit, Want
from duskhold.plan.role import Role
from duskhold.shutter.holder_link import HolderSilent
from duskhold.shutter.launch import NotStarted

EVENING = "20270309T172000-played"
NOW = datetime(2027, 3, 9, 17, 20, tzinfo=UTC)
SIX = BagFilter("six", Filter("six", 6.0), 0.05)
OUTING = Outing(
    "Played", ClockStart(NOW), Want(Kind.AGAIN, first_s=4.0),
    OutingKit((SIX,), (), Setting("f/8", 8.0), Setting("100", 100.0)), bounds=Bounds(frames=1),
)  # fmt: skip
LONG = Take(Role.LONG, 4.0, 9.0, None, ("six",), "f/8", "100", {"rate_stops_per_min": -0.2})
BASE = Take(Role.BASE, 0.0625, 5.0, "1/15", (), "f/8", "100", {})


@pytest.fixture(autouse=True)
def _looks_often(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(evening_camera, "LOOK_EVERY_S", 0.05)


def field_of(visit: Callable[[], Any]) -> tuple[CameraField, queue.Queue[Event]]:
    told: queue.Queue[Event] = queue.Queue()
    post = Post(
        evening_id=EVENING, outing=OUTING, visit=visit, post=told.put,
        bell=Bell((), lambda: None, pytest.fail), zone=None, fitted=(),
        since_utc=NOW, begin=lambda word, settled: [Begun(word.confirmed)], system=lambda: ClockWord(False, "unsure"),
    )  # fmt: skip
    return CameraField(post), told


@contextmanager
def no_camera() -> Iterator[Station]:
    raise NotStarted("no shutter process after 30 s")
    yield


@contextmanager
def full_disk() -> Iterator[Station]:
    raise JournalUnwritable("the journal cannot be written to")
    yield


@pytest.mark.parametrize(("visit", "fault"), [(no_camera, Fault.CAMERA), (full_disk, Fault.STORAGE)])
def test_without_a_camera_or_a_journal_everything_is_answered_and_the_fault_told(
    visit: Callable[[], Any], fault: Fault
) -> None:
    made, told = field_of(visit)
    made.start()
    assert told.get(timeout=5.0) == Begun(False)
    assert isinstance(told.get(timeout=5.0), FaultSeen)
    for asked, kind in ((RunCheck(), Checked), (ReadMeans(), MeansTold), (LONG, FrameTold)):
        made.carry_out(asked)
        answer, why = told.get(timeout=5.0), told.get(timeout=5.0)
        assert isinstance(answer, kind)
        assert isinstance(why, FaultSeen) and why.fault is fault and why.reason
        if isinstance(answer, FrameTold):
            assert (answer.outcome, answer.settled) == ("failed", True)
    until = time.monotonic() + 5.0
    while not made.is_idle and time.monotonic() < until:
        time.sleep(0.01)
    assert made.is_idle and made.is_alive
    made.stop()
    assert not made.is_alive


def _outcome(frame_id: str, word: str) -> Outcome:
    return Outcome(frame_id, word, 4.0, None, None, None, "closed", True, "")


def test_the_hand_fits_what_was_asked_once_done_is_said_and_leaves_everything_as_it_was(tmp_path: Path) -> None:
    file = tmp_path / "fitted.txt"

    @dataclass
    class Simulated:
        simulation: Mapping[str, object]

    station = cast(Station, Simulated({"fitted_file": str(file)}))
    hand = SimulatedHand.at(station, OUTING, ())
    assert hand is not None
    assert read_fitted(file) == "0.000000/0.000000/0.000000"
    hand.hear(Tell("prompt", "fit the six", {"remove": [], "fit": ["six"], "tries": 0}))
    assert read_fitted(file) == "0.000000/0.000000/0.000000"
    hand.hear(Tell("person", "done", {}))
    assert read_fitted(file) == "6.000000/6.000000/6.000000"
    hand.hear(Tell("prompt", "put the cap on", {"darks": 2}))
    hand.hear(Tell("person", "done", {}))
    assert str(read_fitted(file)).startswith("30.0")
    hand.leave()
    assert read_fitted(file) is None
    assert SimulatedHand.at(cast(Station, Simulated({})), OUTING, ()) is None


def test_the_camera_sleeps_while_the_start_is_far_off(monkeypatch: pytest.MonkeyPatch) -> None:
    from datetime import timedelta

    from evening_bench import VIEW

    from duskhold.plan.evening_view import Phase

    made, _ = field_of(no_camera)
    waits = replace(VIEW, phase=Phase.WAITING, until_utc=NOW + timedelta(hours=1))
    made._is_settled = True
    now_s = [500.0]
    monkeypatch.setattr(evening_camera, "mono_now_s", lambda: now_s[0])
    made.follow(waits, NOW)
    assert not made._needs_camera()
    now_s[0] += 56 * 60.0  # nothing happens meanwhile
    assert made._needs_camera()
    made.follow(replace(VIEW, phase=Phase.RESTING, until_utc=NOW + timedelta(minutes=9)), NOW)
    assert not made._needs_camera()
    made._post_frame(still_open("20270309-172100-aaaa"))
    assert made._needs_camera()
    made._post_frame(told_of(_outcome("20270309-172100-aaaa", "complete"), Role.LONG))
    assert not made._needs_camera()
    made._is_settled = False
    assert made._needs_camera()
    made.follow(replace(VIEW, phase=Phase.HELD), NOW)
    assert made._needs_camera()
    assert evening_camera.AWAKE_EVERY_S < 60.0  # the keeper lets an idle camera go after a minute


@dataclass
class Idle:
    """A shutter process with nothing in hand."""

    def state(self) -> dict[str, object]:
        return {"phase": "ready", "reports": [], "frame_id": None}

    def settings(self) -> Mapping[BodySetting, str]:
        return {}


class Played:
    """A field whose frames end as they are told; what an earlier run left is `past`."""

    def __init__(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        station = Station(
            "usb", Folders(tmp_path, tmp_path, tmp_path), cast(Any, None), cast(Any, Idle()), Settings(), {}
        )
        self.past: list[Frame] = []
        self.outcome = _outcome("20270309-172100-aaaa", "complete")
        self.during: Callable[[], None] = lambda: None
        self.recorded: list[Frame] = []
        self.watch = Watch(lambda _state: None, lambda: False)
        monkeypatch.setattr(evening_camera, "settle_the_past", lambda *_given: self.past)
        monkeypatch.setattr(evening_camera, "recorded_of", lambda *_given: self.recorded)
        monkeypatch.setattr(evening_camera, "take_frame", self._take)
        self.made, self.told = field_of(lambda: nullcontext(station))

    def _take(self, _station: Station, _take: Take, watch: Watch, _asked_s: float) -> evening_taking.Taken:
        self.watch = watch
        self.during()
        return evening_taking.Taken(self.outcome)

    def events(self) -> list[str]:
        """Everything told once the field rests."""
        until = time.monotonic() + 5.0
        while not self.made.is_idle and time.monotonic() < until:
            time.sleep(0.01)
        self.made.stop()
        return [type(self.told.get()).__name__ for _ in range(self.told.qsize())]


@pytest.fixture
def played(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Played:
    return Played(tmp_path, monkeypatch)


def test_a_program_told_to_end_says_nothing_of_a_picture_that_stays_on_the_card(played: Played) -> None:
    played.during = played.made.leave_to_next_start
    played.made.start()
    played.made.carry_out(LONG)
    assert played.events() == ["Begun", "FrameTold"]


def test_a_person_who_goes_without_the_pictures_does_not_keep_the_evening_waiting(played: Played) -> None:
    played.during = played.made.leave_pictures
    played.made.start()
    played.made.carry_out(LONG)
    assert played.events() == ["Begun", "FrameTold", "NotMeasured"]


def test_a_frame_is_told_once_however_late_its_picture_comes(played: Played) -> None:
    intent = Intent("20270309-172100-aaaa", "usb", "long", "held", 4.0, 9.0, {"evening_id": EVENING})
    played.past = [Frame(intent, Stamp(NOW, 0.0, "boot"), played.outcome)]
    played.made.start()
    played.made.carry_out(LONG)
    assert played.events().count("FrameTold") == 1


def test_a_frame_that_may_be_open_is_told_once_and_not_every_second(
    played: Played, monkeypatch: pytest.MonkeyPatch
) -> None:
    intent = Intent("20270309-172100-aaaa", "usb", "long", "held", 4.0, 9.0, {"evening_id": EVENING})
    outcome = replace(played.outcome, outcome="unknown", open_s=None, settled=False)
    played.past = [Frame(intent, Stamp(NOW, 0.0, "boot"), outcome)]
    reports = {"phase": "lost", "trouble": "gone", "reports": [{"frame_id": intent.frame_id}], "frame_id": None}
    monkeypatch.setattr(Idle, "state", lambda _self: reports)
    played.made.start()
    told = [played.told.get(timeout=5.0) for _ in range(3)]
    time.sleep(0.3)  # six looks
    assert played.events() == []
    assert [type(event).__name__ for event in told] == ["FrameTold", "Begun", "FaultSeen"]
    # As soon as it is proven closed that is news, though its outcome has the same word.
    played.made = CameraField(replace(played.made._at, told_before={}))
    settled = [replace(played.past[0], outcome=replace(outcome, settled=True))]
    monkeypatch.setattr(
        evening_camera, "settle_the_past", lambda *_given: [*played.past, *played.past, *settled, *settled]
    )
    monkeypatch.setattr(Idle, "state", lambda _self: {"phase": "ready", "reports": [], "frame_id": None})
    played.made.start()
    assert played.events() == ["FrameTold", "FrameTold", "Begun"]


def test_a_picture_that_does_not_come_home_is_not_asked_for_every_second(
    played: Played, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries, reports = list[int](), [{"frame_id": "20270309-172100-aaaa", "settled": False}]

    def settle(*_given: object) -> list[Frame]:
        tries.append(len(tries))
        return []

    monkeypatch.setattr(evening_camera, "settle_the_past", settle)
    monkeypatch.setattr(Idle, "state", lambda _self: {"phase": "lost", "reports": list(reports), "frame_id": None})
    played.made.start()
    played.told.get(timeout=5.0)
    time.sleep(0.5)  # ten looks
    assert len(tries) == 2  # at the beginning, and once between frames
    reports[0] = {**reports[0], "settled": True}
    time.sleep(0.2)
    assert len(tries) == 3  # it is news
    played.made.carry_out(ReadMeans())
    played.made.stop()
    assert len(tries) == 4  # whoever asks for something has it tried at once


def test_a_shutter_process_that_cannot_be_started_again_is_told_and_the_field_lives(
    played: Played, monkeypatch: pytest.MonkeyPatch
) -> None:
    def silent(_self: object) -> dict[str, object]:
        raise HolderSilent("no answer")

    def cannot(_self: object) -> None:
        raise NotStarted("the shutter process could not be started")

    played.made.start()
    assert isinstance(played.told.get(timeout=5.0), Begun)
    monkeypatch.setattr(Idle, "state", silent)
    monkeypatch.setattr(Station, "ensure_kept", cannot)
    fault = played.told.get(timeout=5.0)
    assert isinstance(fault, FaultSeen) and "could not be started" in fault.reason
    time.sleep(0.2)  # some looks
    assert played.made.is_alive
    assert played.events() == []


def test_a_frame_that_somebody_else_recorded_meanwhile_is_told_before_the_evening_goes_on(played: Played) -> None:
    intent = Intent("20270309-172100-aaaa", "usb", "long", "held", 4.0, 9.0, {"evening_id": EVENING})
    played.recorded = [Frame(intent, Stamp(NOW, 0.0, "boot"), played.outcome)]
    played.made = CameraField(replace(played.made._at, begin=Opening(Last(0.0, False))))
    played.made.start()
    assert played.events() == ["FrameTold", "Restarted"]
    # What it heard of itself before its program died is not told again.
    told = {intent.frame_id: "complete"}
    played.made = CameraField(replace(played.made._at, begin=Opening(Last(0.0, False)), told_before=told))
    played.made.start()
    assert played.events() == ["Restarted"]


def test_whoever_leaves_waits_only_so_long_for_what_became_of_a_frame(played: Played) -> None:
    waits: list[tuple[bool, bool]] = []

    def during() -> None:
        for close in (CloseNow(), CloseNow(60.0), CloseNow(-1.0), CloseNow(60.0)):
            played.made.carry_out(close)
            waits.append((played.watch.stop(), played.watch.given_up()))

    played.during = during
    played.made.start()
    played.made.carry_out(LONG)
    played.events()
    assert waits == [(True, False), (True, False), (True, True), (True, True)]


def test_a_shutter_process_that_is_silent_is_not_waited_for_when_nobody_waits() -> None:
    class Silent:
        tried = 0

        def state(self) -> dict[str, object]:
            self.tried += 1
            raise HolderSilent("no answer")

    @dataclass
    class Quiet:
        link: Silent

    station = Quiet(Silent())
    with pytest.raises(HolderSilent):
        evening_camera.ensure_awake(cast(Station, station), 30.0, lambda: True)
    assert station.link.tried == 1


def test_a_camera_that_answers_only_later_settles_what_the_time_before_left(
    played: Played, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(evening_camera, "SETTLE_EVERY_S", 0.0)
    intent = Intent("20270309-172100-aaaa", "usb", "long", "held", 4.0, 9.0, {"evening_id": EVENING})
    played.past = [Frame(intent, Stamp(NOW, 0.0, "boot"), played.outcome)]
    visits: list[int] = []

    def visit() -> AbstractContextManager[Station]:
        visits.append(len(visits))
        return no_camera() if len(visits) < 4 else found()

    found = played.made._at.visit
    again = replace(played.made._at, visit=visit, begin=Opening(Last(0.0, False)))
    made = CameraField(again)
    made.start()
    told = [played.told.get(timeout=5.0) for _ in range(5)]
    made.stop()
    assert told[0] == Restarted(False)
    assert isinstance(told[1], FaultSeen) and told[1].fault is Fault.CAMERA  # once, in three tries
    assert isinstance(told[2], FrameTold) and told[2].settled
    assert told[3:] == [Restarted(True), FaultGone(Fault.CAMERA)]
    assert len(visits) == 4 and played.told.empty()


def test_the_evening_begins_where_the_camera_falls_silent_at_the_question_for_its_clock(
    played: Played, monkeypatch: pytest.MonkeyPatch
) -> None:
    def silent(*_given: object) -> ClockWord:
        raise HolderSilent("no answer")

    monkeypatch.setattr(evening_camera, "camera_word", silent)
    played.made.start()
    assert played.events() == ["Begun", "FaultSeen"]
