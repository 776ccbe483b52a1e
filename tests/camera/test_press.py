"""Vendor extension 0x000B and open capture at the served body's desk, operation by operation."""

from __future__ import annotations

import struct

import pytest

from duskhold.camera.body import SimulatedBody
from duskhold.camera.card import CardFile, MemoryCard
from duskhold.camera.faults import Faults, Strike
from duskhold.camera.operations import Desk, Family
from duskhold.camera.press import OldPressFamily, PressFamily
from duskhold.camera.press_properties import press_properties
from duskhold.camera.properties import NoSuchValue
from duskhold.camera.ptp import Request
from duskhold.camera.ptp_codes import Event, Operation, PressEvent, PressOperation, PressProperty, Response
from duskhold.camera.shot import BodyProfile
from duskhold.camera.stage import Stage
from duskhold.camera.standard import StandardFamily


def make_body(faults: Faults | None = None, dial_has_bulb: bool = True) -> SimulatedBody:
    profile = BodyProfile(render=False, storing_s=0.1, dial_has_bulb=dial_has_bulb)
    return SimulatedBody(profile, Stage(), MemoryCard(), faults)


def make_desk(body: SimulatedBody, family: Family, leftovers: tuple[CardFile, ...] = ()) -> Desk:
    desk = Desk(body, family, leftovers)
    assert ask(desk, Operation.OPEN_SESSION, 0.0, 1) == Response.OK
    return desk


def ask(desk: Desk, operation: int, now_s: float, *params: int, data: bytes = b"", transaction: int = 7) -> int:
    return desk.perform(Request(operation, transaction, params, data), now_s).response


def settle(desk: Desk, body: SimulatedBody, now_s: float) -> None:
    for event in body.advance(now_s):
        desk.tell(event)


def records(desk: Desk, now_s: float) -> list[tuple[int, bytes]]:
    data = desk.perform(Request(PressOperation.GET_EVENT, 1), now_s).data
    assert data is not None
    found = []
    while (head := struct.unpack_from("<II", data))[1]:
        found.append((head[1], data[8 : head[0]]))
        data = data[head[0] :]
    return found


def setting(code: int) -> bytes:
    body = make_body()
    return next(each.value(body, 0.0) for each in press_properties() if each.code == code)


@pytest.mark.parametrize("each", press_properties(), ids=lambda each: str(each.setting))
def test_every_word_comes_back_from_the_wire(each: object) -> None:
    body = make_body()
    known = next(one for one in press_properties() if one is each or one.setting == getattr(each, "setting", None))
    for word in body.choices(known.setting):
        assert known.word(body, known.pack(word)) == word


def test_numbers_are_those_of_the_librarys_tables() -> None:
    # libgphoto2 camlibs/ptp2/config.c, canon_shutterspeed, canon_aperture and canon_isospeed.
    assert setting(PressProperty.SHUTTER_SPEED) == struct.pack("<I", 0x0C)
    assert setting(PressProperty.APERTURE) == struct.pack("<I", 0x38)
    assert setting(PressProperty.ISO) == struct.pack("<I", 0x48)
    shutter = next(each for each in press_properties() if each.code == PressProperty.SHUTTER_SPEED)
    for word, number in (("30", 0x10), ("1/4", 0x48), ("1", 0x38), ("0.8", 0x3B), ("1/4000", 0x98)):
        assert shutter.pack(word) == struct.pack("<I", number)


def test_a_value_far_from_every_mark_is_none() -> None:
    shutter = next(each for each in press_properties() if each.code == PressProperty.SHUTTER_SPEED)
    with pytest.raises(NoSuchValue):
        shutter.word(make_body(), struct.pack("<I", 0xFFFF))


def test_everything_is_told_once_and_then_only_what_changed() -> None:
    body = make_body()
    desk = make_desk(body, PressFamily(body))
    first = [code for code, _ in records(desk, 1.0)]
    assert first.count(PressEvent.PROPERTY_CHANGED) == len(press_properties())
    assert PressEvent.CHOICES_CHANGED in first
    assert not records(desk, 1.1)
    change = struct.pack("<III", 12, PressProperty.ISO, 0x50)
    assert ask(desk, PressOperation.SET_PROPERTY, 1.2, data=change) == Response.OK
    assert records(desk, 1.2) == [(PressEvent.PROPERTY_CHANGED, struct.pack("<II", PressProperty.ISO, 0x50))]
    assert body.value("iso", 1.2) == "200"


def test_the_button_holds_and_seconds_are_told_while_it_is_open() -> None:
    body = make_body()
    desk = make_desk(body, PressFamily(body))
    records(desk, 0.0)
    assert ask(desk, PressOperation.REMOTE_RELEASE_ON, 0.0, 1, 1) == Response.OK
    assert not body.is_exposing(0.0)
    assert ask(desk, PressOperation.REMOTE_RELEASE_ON, 0.0, 3, 1) == Response.OK
    assert ask(desk, PressOperation.REMOTE_RELEASE_ON, 0.01, 3, 1) == Response.DEVICE_BUSY
    settle(desk, body, 2.5)
    told = [body_ for code, body_ in records(desk, 2.5) if code == PressEvent.BULB_TIME]
    assert told == [struct.pack("<I", 2)]
    assert ask(desk, PressOperation.REMOTE_RELEASE_OFF, 2.5, 3) == Response.OK
    settle(desk, body, 4.0)
    codes = [code for code, _ in records(desk, 4.0)]
    assert PressEvent.OBJECT_ADDED in codes and PressEvent.BULB_TIME not in codes


def test_a_button_that_comes_up_is_right_whether_it_was_down_or_not() -> None:
    body = make_body()
    assert ask(make_desk(body, PressFamily(body)), PressOperation.REMOTE_RELEASE_OFF, 0.0, 3) == Response.OK


def test_the_old_bulb_says_that_nothing_is_open() -> None:
    body = make_body()
    desk = make_desk(body, OldPressFamily(body))
    assert ask(desk, PressOperation.BULB_END, 0.0) == Response.GENERAL_ERROR
    assert ask(desk, PressOperation.BULB_START, 0.0) == Response.OK
    assert ask(desk, PressOperation.BULB_END, 1.0) == Response.OK
    assert ask(desk, PressOperation.REMOTE_RELEASE_ON, 1.0, 3, 1) == Response.OPERATION_NOT_SUPPORTED


def test_a_stop_that_is_refused_leaves_it_open() -> None:
    body = make_body(Faults(stop_refused=Strike.at(1)))
    desk = make_desk(body, PressFamily(body))
    ask(desk, PressOperation.REMOTE_RELEASE_ON, 0.0, 3, 1)
    assert ask(desk, PressOperation.REMOTE_RELEASE_OFF, 1.0, 3) == Response.GENERAL_ERROR
    assert body.shutter_is_open(1.5)
    assert ask(desk, PressOperation.REMOTE_RELEASE_OFF, 1.5, 2) == Response.OK
    assert not body.shutter_is_open(2.0)


def test_open_capture_ends_by_its_own_number_or_by_none() -> None:
    body = make_body(dial_has_bulb=False)
    desk = make_desk(body, StandardFamily(body))
    # ISO 15740: TerminateOpenCapture names the transaction that began the capture.
    assert ask(desk, Operation.INITIATE_OPEN_CAPTURE, 0.0, 0, 0, transaction=41) == Response.OK
    assert ask(desk, Operation.TERMINATE_OPEN_CAPTURE, 1.0, 40) == Response.INVALID_TRANSACTION_ID
    assert ask(desk, Operation.TERMINATE_OPEN_CAPTURE, 1.0, 41) == Response.OK
    assert ask(desk, Operation.TERMINATE_OPEN_CAPTURE, 1.1, 41) == Response.INVALID_TRANSACTION_ID
    settle(desk, body, 3.0)
    assert [code for code, _ in desk.take_events()] == [Event.OBJECT_ADDED, Event.OBJECT_ADDED, Event.CAPTURE_COMPLETE]
    assert not desk.take_events()


def test_what_was_left_over_is_told_to_every_session() -> None:
    body = make_body(dial_has_bulb=False)
    (left,) = body.card.store(1, {".JPG": lambda: b"x"})
    desk = make_desk(body, StandardFamily(body), (left,))
    assert [code for code, _ in desk.take_events()] == [Event.OBJECT_ADDED]
    ask(desk, Operation.CLOSE_SESSION, 1.0)
    ask(desk, Operation.OPEN_SESSION, 2.0, 1)
    assert [code for code, _ in desk.take_events()] == [Event.OBJECT_ADDED]


def test_a_pair_can_come_in_either_order() -> None:
    body = make_body(Faults(pair_reversed=Strike.at(2)))
    orders = []
    for now_s in (0.0, 10.0):
        body.press(now_s)
        body.release(now_s + 1.0)
        body.advance(now_s + 5.0)
        orders.append([str(line.detail["name"])[-4:] for line in body.log if line.word == "stored"][-2:])
    assert orders == [[".DNG", ".JPG"], [".JPG", ".DNG"]]
