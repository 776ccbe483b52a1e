"""The simulated body: shutter, dials, card, battery, clock and faults, in simulated time."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duskhold.camera.body import (
    BecameReady,
    BodyBusy,
    BodyRefusal,
    CaptureComplete,
    PictureStored,
    Released,
    ShutterClosed,
    ShutterOpened,
    SimulatedBody,
)
from duskhold.camera.card import CardFile, FolderCard, MemoryCard
from duskhold.camera.faults import ALWAYS, Faults, PictureFault, Strike, read_faults
from duskhold.camera.shot import BodyProfile
from duskhold.camera.stage import Stage

PROFILE = BodyProfile(render=False)
EXACT = replace(PROFILE, latency_sigma_s=0.0)


def _body(profile: BodyProfile = EXACT, faults: Faults | None = None, seed: int = 0) -> SimulatedBody:
    return SimulatedBody(profile, Stage(), MemoryCard(), faults, seed)


def _words(body: SimulatedBody) -> list[str]:
    return [line.word for line in body.log]


def _opened_closed(body: SimulatedBody) -> list[float]:
    return [line.now_s for line in body.log if line.word in ("opened", "closed")]


def test_a_held_exposure_has_both_latencies() -> None:
    body = _body()
    body.press(10.0)
    assert not body.shutter_is_open(10.059)
    assert body.shutter_is_open(10.061)
    assert body.release(14.0) is Released.CLOSED
    assert body.shutter_is_open(14.03)
    assert not body.shutter_is_open(14.04)
    assert _opened_closed(body) == pytest.approx([10.060, 14.035])


def test_events_come_in_order_and_files_only_when_stored() -> None:
    body = _body()
    body.press(0.0)
    body.release(2.0)
    early = body.advance(2.5)
    assert [type(each) for each in early] == [ShutterOpened, ShutterClosed]
    assert body.files() == [] and body.is_busy(2.5)
    late = body.advance(5.0)
    assert [type(each) for each in late] == [PictureStored, PictureStored, CaptureComplete, BecameReady]
    assert [each.name for each in body.files()] == ["DSK_0001.DNG", "DSK_0001.JPG"]
    assert body.advance(6.0) == []


def test_jitter_is_seeded_and_small() -> None:
    def opening(seed: int) -> float:
        body = _body(PROFILE, seed=seed)
        body.press(0.0)
        body.advance(1.0)
        return _opened_closed(body)[0]

    found = [opening(seed) for seed in range(60)]
    assert found == [opening(seed) for seed in range(60)]
    assert 0.05 < min(found) < max(found) < 0.07
    assert len(set(found)) == 60


@pytest.mark.parametrize(("mark", "true_s"), [("30", 32.0), ("1/60", 1 / 64), ("1/4", 0.25), ("6", 2 ** (8 / 3))])
def test_the_dial_runs_true_powers_of_two(mark: str, true_s: float) -> None:
    # Exact powers of two behind rounded marks: thirds t = 2^(5 - i/3).
    body = _body(replace(EXACT, settings={"shutter": mark}))
    body.expose_dial(1.0)
    body.advance(100.0)
    opened, closed = _opened_closed(body)
    assert closed - opened == pytest.approx(true_s)


def test_a_timed_exposure_cannot_be_ended() -> None:
    body = _body(replace(EXACT, settings={"shutter": "4"}))
    body.expose_dial(0.0)
    assert body.release(1.0) is Released.IGNORED
    assert body.shutter_is_open(3.9)
    assert not body.shutter_is_open(4.1)


def test_the_dark_frame_keeps_the_body_busy_as_long_again() -> None:
    body = _body(replace(EXACT, settings={"dark_frame": "on"}))
    body.press(0.0)
    body.release(10.0)
    assert body.is_busy(19.9 + EXACT.storing_s)
    assert not body.is_busy(20.1 + EXACT.storing_s)
    with pytest.raises(BodyBusy):
        _pressed_while_busy().press(3.0)


def _pressed_while_busy() -> SimulatedBody:
    body = _body(replace(EXACT, settings={"dark_frame": "on"}))
    body.press(0.0)
    body.release(2.0)
    return body


def test_one_opening_at_a_time() -> None:
    body = _body()
    body.press(0.0)
    for now_s in (0.01, 1.0):
        with pytest.raises(BodyBusy):
            body.press(now_s)
    body.release(2.0)
    assert body.release(2.5) is Released.NOTHING_OPEN
    assert _words(body).count("opened") == _words(body).count("closed") == 1


def test_released_before_it_opened_it_still_opens_and_closes() -> None:
    body = _body()
    body.press(0.0)
    assert body.release(0.001) is Released.CLOSED
    body.advance(1.0)
    opened, closed = _opened_closed(body)
    assert 0 < closed - opened < 0.01


@given(st.lists(st.tuples(st.sampled_from(["press", "release", "dial", "look"]), st.floats(0.0, 3.0)), max_size=25))
def test_whatever_is_asked_the_shutter_opens_and_closes_in_turn(acts: list[tuple[str, float]]) -> None:
    body, now_s = _body(PROFILE), 0.0
    for act, after_s in acts:
        now_s += after_s
        try:
            if act == "press":
                body.press(now_s)
            elif act == "dial":
                body.set_value("shutter", "1/4", now_s)
                body.expose_dial(now_s)
                body.set_value("shutter", "bulb", now_s + 5)
                now_s += 5
            elif act == "release":
                body.release(now_s)
        except (BodyBusy, BodyRefusal):
            body.advance(now_s)
    body.release(now_s + 1)
    body.advance(now_s + 20)
    instants = _opened_closed(body)
    moves = [word for word in _words(body) if word in ("opened", "closed")]
    assert moves == ["opened", "closed"] * (len(moves) // 2)
    assert instants == sorted(instants)
    assert len(body.files()) == len(moves)  # raw and JPEG of each


def test_settings_take_only_their_own_words() -> None:
    body = _body()
    assert body.value("iso", 0.0) == "100"
    body.set_value("iso", "400", 0.0)
    assert body.value("iso", 0.0) == "400"
    with pytest.raises(BodyRefusal, match="iso cannot be 123"):
        body.set_value("iso", "123", 0.0)
    body.press(1.0)
    with pytest.raises(BodyBusy):
        body.set_value("iso", "100", 2.0)


def test_holding_needs_the_dial_at_bulb_and_timing_needs_it_elsewhere() -> None:
    body = _body()
    with pytest.raises(BodyRefusal, match="at bulb"):
        body.expose_dial(0.0)
    body.set_value("shutter", "1/4", 0.0)
    with pytest.raises(BodyRefusal, match="shutter bulb"):
        body.press(0.0)


def test_the_battery_falls_with_open_time_and_closes_when_flat() -> None:
    body = _body(replace(EXACT, battery_percent=10.0, battery_percent_per_min=6.0))
    body.press(0.0)
    assert body.value("battery", 30.060) == "7%"
    body.advance(200.0)
    opened, closed = _opened_closed(body)
    assert closed - opened == pytest.approx(100.0)
    assert body.value("battery", 201.0) == "0%"
    with pytest.raises(BodyRefusal, match="battery flat"):
        body.press(202.0)


def test_the_clock_has_its_own_offset_and_can_be_set() -> None:
    stage = Stage(epoch_utc=datetime(2026, 3, 20, 18, 0, tzinfo=UTC))
    body = SimulatedBody(replace(EXACT, clock_offset_s=90.0, zone_offset_min=60), stage, MemoryCard())
    assert body.value("clock", 10.0) == "2026-03-20T19:01:40"
    body.set_value("clock", "2026-03-20T19:00:10", 10.0)
    assert body.value("clock", 70.0) == "2026-03-20T19:01:10"
    with pytest.raises(BodyRefusal):
        body.set_value("clock", "soon", 70.0)


def test_a_full_or_missing_card_refuses() -> None:
    body = SimulatedBody(EXACT, Stage(), MemoryCard(capacity_shots=1))
    body.press(0.0)
    body.release(1.0)
    assert body.value("shots_left", 3.0) == "0"
    with pytest.raises(BodyRefusal, match="card full"):
        body.press(3.0)
    body.card.present = False
    with pytest.raises(BodyRefusal, match="no card"):
        body.press(4.0)


def test_pictures_on_a_folder_outlive_the_body_and_are_never_replaced(tmp_path: Path) -> None:
    tiny = replace(EXACT, render=True, width=48, height=32)
    for life in (1, 2):
        body = SimulatedBody(tiny, Stage(), FolderCard(tmp_path), seed=3)
        body.press(0.0)
        body.release(1.0)
        body.advance(5.0)
        assert len(body.files()) == 2 * life
    first, second = (body.card.read(CardFile("/DCIM/100DUSKH", f"DSK_000{each}.DNG")) for each in (1, 2))
    assert first != second
    with pytest.raises(FileExistsError):
        body.card.store(1, {".DNG": lambda: b"other"})
    assert body.card.read(CardFile("/DCIM/100DUSKH", "DSK_0001.DNG")) == first
    with pytest.raises(KeyError):
        body.card.read(CardFile("/DCIM/100DUSKH", "../DSK_0001.DNG"))


def test_open_ignored_says_yes_and_stays_shut() -> None:
    body = _body(faults=Faults(open_ignored=Strike.at(1)))
    body.press(0.0)
    assert not body.shutter_is_open(1.0)
    assert body.release(2.0) is Released.NOTHING_OPEN
    assert ("fault", "open_ignored") in [(line.word, line.detail.get("name")) for line in body.log]
    body.press(3.0)
    assert body.shutter_is_open(4.0)


def test_busy_and_refused_strike_the_attempts_named() -> None:
    body = _body(faults=Faults(press_busy=Strike.first(2), press_refused=Strike.at(1)))
    for now_s in (0.0, 1.0):
        with pytest.raises(BodyBusy):
            body.press(now_s)
    with pytest.raises(BodyRefusal, match="says no"):
        body.press(2.0)
    body.press(3.0)
    assert body.shutter_is_open(4.0)


def test_release_ignored_stays_open_until_asked_again() -> None:
    body = _body(faults=Faults(release_ignored=Strike.at(1)))
    body.press(0.0)
    assert body.release(2.0) is Released.IGNORED
    assert body.shutter_is_open(3.0)
    assert body.release(3.0) is Released.CLOSED
    assert not body.shutter_is_open(3.1)


def test_opening_late() -> None:
    body = _body(faults=Faults(open_late=ALWAYS, open_late_s=2.0))
    body.press(0.0)
    body.advance(5.0)
    assert _opened_closed(body) == pytest.approx([2.06])


def test_events_lost_and_late() -> None:
    body = _body(faults=Faults(event_lost=Strike.at(1), event_late=Strike.at(2), event_late_s=4.0))
    body.press(0.0)
    body.release(1.0)
    assert [type(each) for each in body.advance(3.0)][2:] == [CaptureComplete, BecameReady]
    assert len(body.files()) == 2
    body.press(10.0)
    body.release(11.0)
    body.advance(13.0)
    assert body.next_change_s() == pytest.approx(11.035 + 0.8 + 4.0)
    assert [type(each) for each in body.advance(16.0)] == [PictureStored, PictureStored]


def test_card_and_battery_fail_at_their_time() -> None:
    body = _body(faults=Faults(card_absent_from_s=5.0, battery_flat_at_s=8.0))
    body.press(0.0)
    body.release(4.9)
    body.advance(6.0)
    assert body.files() == [] and "lost" in _words(body)
    with pytest.raises(BodyRefusal, match="no card"):
        body.press(7.0)
    with pytest.raises(BodyRefusal, match="battery flat"):
        body.press(9.0)


def test_a_battery_that_dies_closes_the_shutter() -> None:
    body = _body(faults=Faults(battery_flat_at_s=8.0))
    body.press(0.0)
    body.advance(20.0)
    assert _opened_closed(body) == pytest.approx([0.06, 8.0])


def test_faults_are_read_from_words() -> None:
    faults = read_faults(["open_ignored=2", "press_busy=1-3,7", "event_lost=25%", "link_return_after_s=4"], seed=5)
    assert [each for each in range(1, 9) if faults.strikes("press_busy", each)] == [1, 2, 3, 7]
    assert faults.strikes("open_ignored", 2) and not faults.strikes("open_ignored", 1)
    assert faults.link_return_after_s == 4.0
    struck = sum(faults.strikes("event_lost", each) for each in range(1, 2001))
    assert 400 < struck < 600
    with pytest.raises(ValueError, match="no fault"):
        read_faults(["catastrophe=1"])
    for word in ("link_drop=x", "link_drop=0", "link_drop=3-1", "press_busy=130%", "press_busy=nan%"):
        with pytest.raises(ValueError, match=f"'{word}' is no fault: .* takes attempts such as 2,5"):
            read_faults([word])
    for word in ("link_return_after_s=soon", "link_return_after_s=-1", "link_return_after_s=nan"):
        with pytest.raises(ValueError, match="takes seconds such as 4"):
            read_faults([word])
    assert read_faults(["spoiled=3", "drops=4", "shift_x=0.004"]).spoil == PictureFault(shift_x=0.004, drops=4)
    for word, takes in (
        ("dew=wet", "a share such as 0.004"), ("drops=1.5", "a whole number"), ("drops=-3", "a whole number"),
        ("shift_x=5", "a share such as 0.004, 0.5 at most"), ("blur=3", "a share such as 0.004, 0.1 at most"),
        ("leak=-1", "a share such as 0.004"), ("hot_corner=inf", "10 at most"),
    ):  # fmt: skip
        with pytest.raises(ValueError, match=takes):
            read_faults([word])


def test_outages_follow_the_opening_they_are_for() -> None:
    faults = Faults(link_drop=Strike.at(2), link_drop_after_s=1.0, link_return_after_s=3.0)
    assert faults.outages(1, 50.0) == ()
    (outage,) = faults.outages(2, 50.0)
    assert (outage.kind, outage.from_s, outage.until_s) == ("dropped", 51.0, 54.0)


def test_a_night_repeats_exactly_from_its_seed() -> None:
    def night(seed: int) -> list[object]:
        body = _body(PROFILE, Faults(seed=seed, press_busy=Strike(chance=0.2), event_lost=Strike(chance=0.2)), seed)
        for start in range(0, 600, 10):
            try:
                body.press(float(start))
            except BodyBusy:
                continue
            body.release(start + 4.0)
        body.advance(700.0)
        return [(line.now_s, line.word, dict(line.detail)) for line in body.log]

    assert night(4) == night(4)
    assert night(4) != night(5)
