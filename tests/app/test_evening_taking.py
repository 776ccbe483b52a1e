"""One frame of an evening: the body is set and read back before it is exposed. The station is played."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import cast

import pytest

from duskhold.app import evening_taking
from duskhold.app.evening_taking import LATE_MAX_S, take_frame
from duskhold.app.exposing import Order, Watch
from duskhold.app.station import Station
from duskhold.camera.port import Setting as BodySetting
from duskhold.journal.entry import Outcome
from duskhold.plan.evening_words import Fault, Take
from duskhold.plan.role import Role
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.holder_link import HolderRefused

LONG = Take(Role.LONG, 4.0, 9.0, None, ("six",), "f/8", "100", {"rate_stops_per_min": -0.2})
BASE = Take(Role.BASE, 0.0625, 5.0, "1/15", (), "f/8", "100", {})


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
