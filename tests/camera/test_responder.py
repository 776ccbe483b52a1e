"""The served body at the other end of a plain socket: sessions, faults of the link, its end."""

from __future__ import annotations

import os
import signal
import socket
import struct
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from duskhold.camera.ptp import Packet, PacketReader, PacketType, pack_packet
from duskhold.camera.ptp_codes import Operation, Property, Response, ToggleOperation, ToggleResponse
from duskhold.camera.serving import ServedBody, ServingFailed

QUICK = ["--profile", "render=false", "--profile", "storing_s=0.05", "--lifetime", "120"]
ANSWER_S = 3.0


class Initiator:
    """The other side of the link, as small as it can be."""

    def __init__(self, port: int) -> None:
        self._reader = PacketReader()
        self._packets: list[Packet] = []
        self._transaction = 0
        self.link = socket.create_connection(("127.0.0.1", port), ANSWER_S)
        self.send(PacketType.INIT_COMMAND_REQUEST, bytes(16) + b"\0\0" + struct.pack("<I", 0x10000))

    def send(self, kind: PacketType, body: bytes) -> None:
        self.link.sendall(pack_packet(kind, body))

    def hear(self) -> Packet:
        while not self._packets:
            received = self.link.recv(1 << 16)
            if not received:
                raise ConnectionError("the body has ended the connection")
            self._packets += self._reader.feed(received)
        return self._packets.pop(0)

    def begin(self) -> Initiator:
        assert self.hear().kind == PacketType.INIT_COMMAND_ACK
        assert self.ask(Operation.OPEN_SESSION, 1)[0] == Response.OK
        return self

    def request(self, operation: int, *params: int) -> None:
        self._transaction += 1
        body = struct.pack(f"<IHI{len(params)}I", 1, operation, self._transaction, *params)
        self.send(PacketType.OPERATION_REQUEST, body)

    def answer(self) -> tuple[int, bytes]:
        """The response code and the data that came before it."""
        data = b""
        while (packet := self.hear()).kind != PacketType.OPERATION_RESPONSE:
            data += packet.body[4:] if packet.kind in (PacketType.DATA, PacketType.END_DATA) else b""
        return struct.unpack_from("<H", packet.body)[0], data

    def ask(self, operation: int, *params: int) -> tuple[int, bytes]:
        self.request(operation, *params)
        return self.answer()

    def close(self) -> None:
        self.link.close()


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedBody]:
    with ServedBody(tmp_path_factory.mktemp("served"), QUICK) as started:
        yield started


@pytest.fixture
def body(running: ServedBody) -> Iterator[ServedBody]:
    yield running
    running.order("return")
    running.order("resume")
    running.order("slow", seconds=0)


@pytest.fixture
def initiator(body: ServedBody) -> Iterator[Initiator]:
    started = Initiator(body.port).begin()
    yield started
    started.close()


def test_before_a_session_only_the_device_tells_of_itself(body: ServedBody) -> None:
    initiator = Initiator(body.port)
    assert initiator.hear().kind == PacketType.INIT_COMMAND_ACK
    assert initiator.ask(Operation.GET_DEVICE_INFO)[0] == Response.OK
    assert initiator.ask(Operation.GET_STORAGE_IDS)[0] == Response.SESSION_NOT_OPEN
    assert initiator.ask(Operation.OPEN_SESSION, 1)[0] == Response.OK
    assert initiator.ask(Operation.OPEN_SESSION, 2)[0] == Response.SESSION_ALREADY_OPEN
    initiator.close()


def test_what_it_does_not_know_it_says(initiator: Initiator) -> None:
    assert initiator.ask(0x9999)[0] == Response.OPERATION_NOT_SUPPORTED
    assert initiator.ask(Operation.GET_DEVICE_PROP_VALUE, 0x5FFF)[0] == Response.DEVICE_PROP_NOT_SUPPORTED
    assert initiator.ask(Operation.GET_OBJECT_INFO, 4711)[0] == Response.INVALID_OBJECT_HANDLE
    assert initiator.ask(Operation.GET_STORAGE_INFO, 7)[0] == Response.STORE_NOT_AVAILABLE


def test_nothing_can_be_deleted(initiator: Initiator) -> None:
    # ISO 15740: DeleteObject 0x100B, FormatStore 0x100F.
    assert initiator.ask(0x100B, 0xFFFFFFFF)[0] == Response.OPERATION_NOT_SUPPORTED
    assert initiator.ask(0x100F, 0x00010001)[0] == Response.OPERATION_NOT_SUPPORTED


def test_the_shutter_state_can_be_asked(body: ServedBody, initiator: Initiator) -> None:
    assert initiator.ask(ToggleOperation.DEVICE_READY)[0] == Response.OK
    assert initiator.ask(ToggleOperation.INITIATE_CAPTURE_REC_IN_MEDIA, 0xFFFFFFFF, 0)[0] == Response.OK
    assert initiator.ask(ToggleOperation.DEVICE_READY)[0] == ToggleResponse.BULB_RELEASE_BUSY
    again = initiator.ask(ToggleOperation.INITIATE_CAPTURE_REC_IN_MEDIA, 0xFFFFFFFF, 0)
    assert again[0] == Response.DEVICE_BUSY
    assert initiator.ask(ToggleOperation.TERMINATE_CAPTURE, 0, 0)[0] == Response.OK
    body.wait_for("ready", count=len(body.lines("opened")) or 1)
    assert initiator.ask(ToggleOperation.DEVICE_READY)[0] == Response.OK
    assert initiator.ask(ToggleOperation.TERMINATE_CAPTURE, 0, 0)[0] == ToggleResponse.INVALID_STATUS


def test_a_new_initiator_takes_over(body: ServedBody, initiator: Initiator) -> None:
    other = Initiator(body.port).begin()
    with pytest.raises(ConnectionError):
        initiator.ask(ToggleOperation.DEVICE_READY)
    assert other.ask(ToggleOperation.DEVICE_READY)[0] == Response.OK
    other.close()


def test_a_probe_is_answered(initiator: Initiator) -> None:
    initiator.send(PacketType.PROBE_REQUEST, b"")
    assert initiator.hear().kind == PacketType.PROBE_RESPONSE


def test_a_dropped_link_breaks_off_and_refuses_until_it_returns(body: ServedBody, initiator: Initiator) -> None:
    body.order("drop")
    with pytest.raises(ConnectionError):
        initiator.ask(ToggleOperation.DEVICE_READY)
    with pytest.raises(ConnectionRefusedError):
        Initiator(body.port)
    body.order("return")
    again = Initiator(body.port).begin()
    assert again.ask(ToggleOperation.DEVICE_READY)[0] == Response.OK
    again.close()


def test_what_was_asked_of_a_hung_body_is_answered_when_it_goes_on(body: ServedBody, initiator: Initiator) -> None:
    body.order("hang")
    initiator.request(Operation.GET_STORAGE_IDS)
    initiator.link.settimeout(0.2)
    with pytest.raises(TimeoutError):
        initiator.answer()
    initiator.link.settimeout(ANSWER_S)
    body.order("resume")
    assert initiator.answer()[0] == Response.OK


def test_what_a_dead_initiator_left_in_a_hung_body_never_opens_the_shutter(body: ServedBody) -> None:
    pressed = len(body.lines("pressed"))
    dead = Initiator(body.port).begin()
    body.order("hang")
    dead.request(ToggleOperation.INITIATE_CAPTURE_REC_IN_MEDIA, 0xFFFFFFFF, 0)
    dead.close()
    # Two more gave up before the body went on; the one that is still there is served at once.
    for _ in range(2):
        Initiator(body.port).close()
    living = Initiator(body.port)
    body.order("resume")
    began_s = time.monotonic()
    assert living.begin().ask(ToggleOperation.DEVICE_READY)[0] == Response.OK
    assert time.monotonic() - began_s < 0.9  # to wait for one that is gone takes a second each
    assert len(body.lines("pressed")) == pressed
    living.close()


def test_a_slow_body_answers_late(body: ServedBody, initiator: Initiator) -> None:
    body.order("slow", seconds=0.2)
    began_s = time.monotonic()
    assert initiator.ask(ToggleOperation.DEVICE_READY)[0] == Response.OK
    assert initiator.ask(ToggleOperation.DEVICE_READY)[0] == Response.OK
    assert time.monotonic() - began_s >= 0.4


def test_a_garbled_packet_ends_the_connection_and_nothing_else(body: ServedBody, initiator: Initiator) -> None:
    initiator.link.sendall(b"\xff" * 32)
    with pytest.raises(ConnectionError):
        initiator.answer()
    other = Initiator(body.port).begin()
    assert other.ask(ToggleOperation.DEVICE_READY)[0] == Response.OK
    other.close()


def test_an_order_that_makes_no_sense_is_refused_and_the_body_goes_on(body: ServedBody) -> None:
    for word, detail in (("explode", {}), ("set", {"name": "iso", "value": "7"}), ("strike", {})):
        with pytest.raises(ServingFailed):
            body.order(word, **detail)
    body.order("fit", filters="6.2,d0.9")
    assert body.lines("fitted")[-1].detail["green"] == pytest.approx(6.2 + 0.9 / 0.30103, abs=1e-3)
    body.order("fit", filters="none")


def test_the_battery_is_told_in_per_cent(initiator: Initiator) -> None:
    assert initiator.ask(Operation.GET_DEVICE_PROP_VALUE, Property.BATTERY_LEVEL)[1] in (b"\x60", b"\x5f")


def test_a_planned_outage_counts_from_the_opening(tmp_path: Path) -> None:
    faults = ["--fault", "link_drop=1", "--fault", "link_drop_after_s=0.1", "--fault", "link_return_after_s=0.2"]
    with ServedBody(tmp_path, [*QUICK, *faults]) as body:
        initiator = Initiator(body.port).begin()
        initiator.ask(ToggleOperation.INITIATE_CAPTURE_REC_IN_MEDIA, 0xFFFFFFFF, 0)
        orders = {line.detail["order"]: line.now_mono for line in body.wait_for("link", count=3)}
        (opened,) = body.lines("opened")
        assert orders["drop"] - opened.now_mono == pytest.approx(0.1, abs=0.05)
        assert orders["return"] - opened.now_mono == pytest.approx(0.3, abs=0.05)
        initiator.close()


def test_it_ends_when_its_starter_lets_go(tmp_path: Path) -> None:
    body = ServedBody(tmp_path, QUICK)
    body.start()
    body.stop()
    assert body.lines("ended")


def test_it_ends_when_told_by_a_signal(tmp_path: Path) -> None:
    with ServedBody(tmp_path, QUICK) as body:
        os.kill(body.pid, signal.SIGTERM)
        assert body.wait_for("ended")


def test_it_ends_after_its_lifetime(tmp_path: Path) -> None:
    with ServedBody(tmp_path, [*QUICK, "--lifetime", "0.2"]) as body:
        assert body.wait_for("ended")
