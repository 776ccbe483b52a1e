"""The served body's one loop: sockets on one side, the simulated body on the other, time between them.

Single-threaded, so that a run with the same questions gives the same answers. Whatever the body does by itself
(opening after its latency, closing at the end of a dial time, storing) has its instant computed by the body; the
loop only has to look in often enough to tell of it.
"""

from __future__ import annotations

import select
import socket
from collections.abc import Callable
from enum import Enum

from duskhold.camera.body import ShutterOpened, SimulatedBody
from duskhold.camera.connection import Connection
from duskhold.camera.operations import Desk
from duskhold.camera.ptp import (
    Packet,
    PacketType,
    pack_command_ack,
    pack_event,
    pack_event_ack,
    pack_probe_response,
    pack_reply,
)
from duskhold.camera.ptp_codes import Response

_GUID = bytes(range(16))
_IDLE_S = 1.0

Note = Callable[..., None]


class LinkState(Enum):
    UP = "up"
    DROPPED = "dropped"
    HUNG = "hung"


class Responder:
    """Serves one body to one initiator at a time; a new one takes over from the one before."""

    def __init__(self, listener: socket.socket, body: SimulatedBody, desk: Desk, note: Note) -> None:
        listener.setblocking(False)
        self._listener = listener
        self._body = body
        self._desk = desk
        self._note = note
        self._connections: list[Connection] = []
        self._state = LinkState.UP
        self._planned: list[tuple[float, str]] = []
        self.slow_s = body.faults.link_slow_s

    @property
    def state(self) -> LinkState:
        return self._state

    def step(self, now_s: float, orders: int | None, until_s: float) -> bool:
        """Wait for the next thing to happen, at most `until_s`; return whether orders are waiting to be read.

        `orders` is the descriptor that they come on.
        """
        wait_s = max(0.0, min(self._next_change_s(now_s), until_s) - now_s)
        served = self._connections if self._state is LinkState.UP else []
        reading = [each.fileno() for each in served] + ([orders] if orders is not None else [])
        if self._state is LinkState.UP:
            reading.append(self._listener.fileno())
        writing = [each.fileno() for each in served if each.wants_to_send]
        readable, writable, _ = select.select(reading, writing, [], wait_s)
        for each in [each for each in served if each.fileno() in writable]:
            each.flush()
        for each in [each for each in served if each.fileno() in readable]:
            self._receive(each)
        if self._listener.fileno() in readable:
            self._accept()
        return orders in readable

    def settle(self, now_s: float) -> None:
        """Let the body catch up, act on what was planned for the link, and answer whoever is waiting."""
        for event in self._body.advance(now_s):
            self._desk.tell(event)
            if isinstance(event, ShutterOpened):
                self._plan_outages(event.at_s)
        while self._planned and self._planned[0][0] <= now_s:
            self.order(self._planned.pop(0)[1])
        if self._state is LinkState.UP:
            self._answer(now_s)
            self._tell_events()
        self._sweep()

    def order(self, word: str) -> None:
        """Do something to the link: drop, end, return, hang or resume. Raises KeyError for another word."""
        {
            "drop": self._drop,
            "orderly_end": self._end,
            "return": self._return,
            "hang": self._hang,
            "resume": self._resume,
        }[word]()
        self._note("link", order=word)

    def close(self) -> None:
        for each in self._connections:
            each.close()
        self._listener.close()

    # The link

    def _drop(self) -> None:
        self._give_up(Connection.reset)

    def _end(self) -> None:
        self._give_up(Connection.close)

    def _give_up(self, end: Callable[[Connection], None]) -> None:
        for each in self._connections:
            end(each)
        self._connections.clear()
        self._desk.end_session()
        if self._state is not LinkState.DROPPED:
            # Shut down, not closed: the port stays ours, and whoever tries is refused.
            self._listener.shutdown(socket.SHUT_RDWR)
        self._state = LinkState.DROPPED

    def _return(self) -> None:
        if self._state is LinkState.DROPPED:
            self._listener.listen()
        self._state = LinkState.UP

    def _hang(self) -> None:
        if self._state is LinkState.UP:
            self._state = LinkState.HUNG

    def _resume(self) -> None:
        """Go on; what is left of initiators that have gone in the meantime is thrown away unread."""
        if self._state is not LinkState.HUNG:
            return
        self._state = LinkState.UP
        for each in self._connections:
            self._receive(each)
            if each.is_over:
                each.give_up()
        self._sweep()

    def _plan_outages(self, opened_s: float) -> None:
        ends = {"dropped": ("drop", "return"), "hung": ("hang", "resume")}
        for outage in self._body.faults.outages(self._body.openings, opened_s):
            begin, end = ends[outage.kind]
            self._planned += [(outage.from_s, begin), (outage.until_s, end)]
        self._planned.sort()

    # Initiators

    def _accept(self) -> None:
        try:
            link, _ = self._listener.accept()
        except OSError:
            return
        self._connections.append(Connection(link))

    def _receive(self, connection: Connection) -> None:
        packets = connection.receive()
        if connection.is_over and not connection.has_begun:
            # Whoever gave up waiting for an answer must not push out whoever did not.
            return
        for packet in packets:
            self._take(connection, packet)

    def _take(self, connection: Connection, packet: Packet) -> None:
        match packet.kind:
            case PacketType.INIT_COMMAND_REQUEST:
                self._begin(connection)
            case PacketType.INIT_EVENT_REQUEST:
                connection.has_begun = connection.hears_events = True
                connection.send(pack_event_ack())
            case PacketType.PROBE_REQUEST:
                connection.send(pack_probe_response())
            case PacketType.PROBE_RESPONSE:
                pass
            case _:
                connection.take(packet)

    def _begin(self, connection: Connection) -> None:
        for each in self._connections:
            if each is not connection:
                each.give_up()
        connection.has_begun = True
        self._desk.end_session()
        self._note("link", order="initiator")
        connection.send(pack_command_ack(1, _GUID, self._body.profile.model))

    def _tell_events(self) -> None:
        events = self._desk.take_events()
        for each in self._connections:
            if each.hears_events:
                each.send(b"".join(pack_event(code, 0, [param]) for code, param in events))

    def _answer(self, now_s: float) -> None:
        for each in self._connections:
            while each.is_asked and each.busy_until_s <= now_s:
                self._answer_one(each, now_s)

    def _answer_one(self, connection: Connection, now_s: float) -> None:
        if connection.kept_back:
            connection.send(connection.kept_back)
            connection.kept_back, connection.busy_until_s = b"", 0.0
            return
        if self.slow_s and not connection.busy_until_s:
            connection.busy_until_s = now_s + self.slow_s
            return
        connection.busy_until_s = 0.0
        request = connection.requests.popleft()
        reply = self._desk.perform(request, now_s)
        if reply.response != Response.OK:
            self._note("refused_operation", operation=f"{request.operation:#06x}", response=f"{reply.response:#06x}")
        if reply.late_s:
            connection.kept_back, connection.busy_until_s = pack_reply(request.transaction, reply), now_s + reply.late_s
            return
        connection.send(pack_reply(request.transaction, reply))

    def _sweep(self) -> None:
        over = [each for each in self._connections if each.is_over and not each.is_asked]
        for each in over:
            each.close()
        self._connections = [each for each in self._connections if each not in over]

    def _next_change_s(self, now_s: float) -> float:
        times = [now_s + _IDLE_S]
        times += [each.busy_until_s for each in self._connections if each.is_asked and self._state is LinkState.UP]
        times += [at_s for at_s, _ in self._planned[:1]]
        change_s = self._body.next_change_s()
        return min([*times, change_s] if change_s is not None else times)
