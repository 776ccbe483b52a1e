"""The field: every request is answered whatever fails, faults are told by kind, and the body is set and read back.

The station is played; frames on a real one are tests/processes' business.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast

import pytest

from duskhold.app import evening_camera, evening_taking
from duskhold.app.clock_gate import ClockWord
from duskhold.app.evening_bell import Bell
from duskhold.app.evening_camera import CameraField, Post
from duskhold.app.evening_run import Last, Opening
from duskhold.app.evening_taking import LATE_MAX_S, still_open, take_frame, told_of
from duskhold.app.exposing import Order, Watch
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
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder_link import HolderRefused, HolderSilent
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


@dataclass
class Link:
    """The shutter process, played: settings as words, some of which cannot be set."""

    said: dict[BodySetting, str]
    refuses: tuple[BodySetting, ...] = ()
    ignores: tuple[BodySetting, ...] = ()
    changed: list[tuple[BodySetting, str]] = field(default_factory=list)
    refusal: Mapping[str, object] | None = None

    def state(self) -> dict[str, object]:
        return {"phase": "ready", "refusal": self.refusal, "identity": None}

    def settings(self) -> Mapping[BodySetting, str]:
        return self.said

    def change(self, setting: BodySetting, value: str) -> str:
        self.changed.append((setting, value))
        if setting in self.refuses:
            raise HolderRefused("body_refused", "the body did not take it")
        if setting not in self.ignores:
            self.said[setting] = value
        return self.said[setting]


@dataclass
class Bench:
    """A station with that link; what would have been exposed or refused."""

    link: Link
    exposed: list[Order] = field(default_factory=list)
    refused: list[tuple[str, str]] = field(default_factory=list)

    def identity(self) -> None:
        return None


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    made = Bench(Link({BodySetting.APERTURE: "8", BodySetting.ISO: "ISO 200", BodySetting.SHUTTER: "bulb"}))

    def exposes(_station: Station, order: Order, _watch: Watch) -> Outcome:
        made.exposed.append(order)
        return _outcome(order.frame_id, "complete")

    def refuses(_station: Station, order: Order, code: str, reason: str) -> Outcome:
        made.refused.append((code, reason))
        return _outcome(order.frame_id, "refused")

    monkeypatch.setattr(evening_taking, "expose", exposes)
    monkeypatch.setattr(evening_taking, "refuse", refuses)
    return made


def _outcome(frame_id: str, word: str) -> Outcome:
    return Outcome(frame_id, word, 4.0, None, None, None, "closed", True, "")


def taken(bench: Bench, take: Take, waited_s: float = 0.0) -> evening_taking.Taken:
    watch = Watch(lambda _state: None, lambda: False)
    return take_frame(cast(Station, bench), take, watch, mono_now_s() - waited_s)


def test_an_order_that_had_to_wait_is_not_carried_out(bench: Bench) -> None:
    bench.link.said[BodySetting.ISO] = "100"
    assert taken(bench, LONG, waited_s=LATE_MAX_S - 1.0).fault is None
    assert taken(bench, LONG, waited_s=LATE_MAX_S + 1.0).fault is Fault.CAMERA
    assert [code for code, _ in bench.refused] == ["opening_missed"] and len(bench.exposed) == 1


def test_only_what_differs_is_set_and_a_held_frame_leaves_the_dial_alone(bench: Bench) -> None:
    bench.link.said[BodySetting.ISO] = "200"
    taken(bench, LONG)
    assert bench.link.changed == [(BodySetting.ISO, "100")]
    (order,) = bench.exposed
    assert (order.kind.value, order.role.value, order.open_s, order.cap_s) == ("held", "long", 4.0, 9.0)
    assert order.decision["rate_stops_per_min"] == -0.2 and order.decision["filters"] == ["six"]


def test_a_frame_by_the_dial_sets_it_and_runs_the_dials_true_time(bench: Bench) -> None:
    bench.link.said[BodySetting.ISO] = "100"
    taken(bench, BASE)
    assert bench.link.changed == [(BodySetting.SHUTTER, "1/15")]
    (order,) = bench.exposed
    assert (order.kind.value, order.open_s) == ("dial", 0.0625)


def test_an_aperture_that_the_body_cannot_be_asked_is_the_persons(bench: Bench) -> None:
    bench.link.said = {BodySetting.ISO: "100", BodySetting.SHUTTER: "bulb"}
    taken(bench, LONG)
    assert bench.link.changed == [] and len(bench.exposed) == 1


@pytest.mark.parametrize("way", ["refuses", "ignores"])
def test_what_cannot_be_set_opens_nothing(bench: Bench, way: str) -> None:
    bench.link.said[BodySetting.ISO] = "200"
    setattr(bench.link, way, (BodySetting.ISO,))
    found = taken(bench, LONG)
    assert bench.exposed == []
    assert bench.refused[0][0] == "not_set" and "iso" in bench.refused[0][1]
    assert found.fault is Fault.CAMERA


def test_a_camera_that_may_not_be_exposed_with_is_not_set_either(bench: Bench) -> None:
    bench.link.said[BodySetting.ISO] = "200"
    bench.link.refusal = {"code": "latched", "reason": "look at the camera"}
    taken(bench, LONG)
    assert bench.link.changed == []


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
