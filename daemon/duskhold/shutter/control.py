"""The control thread of the holder: the socket, the deadlines, the signals and the watch over the camera thread.

It never calls the camera. Whoever is on the other side of the socket, the shutter closes at its own time.
"""

from __future__ import annotations

import itertools
import os
import queue
import selectors
import signal
import socket
import struct
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from duskhold.shutter.blackbox import BlackBox
from duskhold.shutter.clock import mono_now_s, utc_now
from duskhold.shutter.desk import LONGEST_QUEUE, Desk
from duskhold.shutter.errands import WORDS as ERRANDS
from duskhold.shutter.errands import Errands
from duskhold.shutter.events import (
    BodyReplaced,
    Box,
    BoxFailed,
    CloseAsked,
    Collected,
    Die,
    Effect,
    ExposeAsked,
    LatchCleared,
    RecycleAsked,
    Refused,
    ReleaseAsked,
    Tick,
)
from duskhold.shutter.machine import RELEASED, Machine
from duskhold.shutter.phase import Phase
from duskhold.shutter.recycling import USUAL_WEAR, Wear, resident_bytes
from duskhold.shutter.report import Exposure, Kind
from duskhold.shutter.wire import Inbox, Message, Request, WireError, pack, parse_request

LOOK_EVERY_S = 0.1
MOST_CLIENTS = 8
MOST_ERRANDS = LONGEST_QUEUE // 2  # an exposure and its closing always find room


STALLED_S = 1.0  # between two looks: the machine was stopped, or busy beyond all measure
LINGER_S = 10.0  # asked to end, it still tells what it has to tell


@dataclass(slots=True)
class _Client:
    """`number` names it for answers that come later: a descriptor may belong to somebody else by then."""

    connection: socket.socket
    number: int
    heard_s: float
    inbox: Inbox = field(default_factory=Inbox)
    descriptors: list[int] = field(default_factory=list)


class Control:
    """Serves one socket until the camera is released. `die` ends the process at once; `wear` is what it may spend."""

    def __init__(
        self,
        desk: Desk,
        box: BlackBox,
        errands: Errands,
        path: Path,
        die: Callable[[str], None],
        wear: Wear = USUAL_WEAR,
    ) -> None:
        self._desk = desk
        self._box = box
        self._errands = errands
        self._path = path
        self._die = die
        self._wear = wear
        self._start_bytes = 0
        self._waiting = 0  # errands of clients that are not answered yet
        self._clients: dict[int, _Client] = {}
        self._selector = selectors.DefaultSelector()
        self._selector.register(desk.wake_descriptor, selectors.EVENT_READ)
        self._listener: socket.socket | None = None
        self._ending_since_s: float | None = None
        self._looked_s = mono_now_s()
        self._excused_s = 0.0
        self._numbers = itertools.count()

    def serve(self) -> None:
        """Run until the camera is released or the process is told to end."""
        while not self._desk.released:
            self.look()
        self._write_boxes()
        if not self._desk.machine.recycled:
            self._path.unlink(missing_ok=True)  # a socket left there says that a successor is on its way

    def look(self) -> None:
        """Once: hear who speaks, and do what is due."""
        for key, _ in self._selector.select(LOOK_EVERY_S):
            self._ready(key.fd)
        self.watch()
        self.tick()
        self._write_boxes()
        self._send_answers()
        self._listen_when_looked()

    def end(self) -> None:
        """Asked to terminate: close the shutter if it is open, then release the camera."""
        if self._ending_since_s is None:
            self._ending_since_s = mono_now_s()

    def watch(self) -> None:
        """See to it that no camera call outlives its budget."""
        now_s = mono_now_s()
        if now_s > self._looked_s + STALLED_S:
            self._excused_s = now_s  # this whole process stood still: the call that was out had no time to come back
        self._looked_s = now_s
        call = self._desk.call
        if call is not None and call.overdue(now_s, self._excused_s):
            self._write(Box("overdue", None, {"call": call.name, "budget_s": call.budget_s}))
            self._die(f"the call {call.name!r} did not come back within {call.budget_s:g} s")

    def tick(self) -> None:
        """Do what is due."""
        if self._ending_since_s is not None and not self._lingers(self._ending_since_s):
            self._dispatch(self._desk.step(ReleaseAsked()))
        with self._desk.looking() as machine:
            if self._waiting:
                machine.touch(mono_now_s())  # a large picture over a slow lead takes longer than an idle camera is kept
            deadline_s = machine.deadline_s()
        if deadline_s is not None and mono_now_s() >= deadline_s:
            self._dispatch(self._desk.step(Tick()))
        if not self._clients and self._desk.machine.phase is Phase.READY:
            self._recycle_if_worn()

    def _recycle_if_worn(self) -> bool:
        """End this process for a fresh one, if it has served long enough and nobody waits for anything."""
        reason = self._wear.reason(self._desk.machine.frames, resident_bytes() - self._start_bytes)
        if reason is None or self._waiting or self._listener is None:
            return False
        effects = self._desk.step(RecycleAsked(reason))
        if effects:
            self._dispatch(effects)
        return bool(effects)

    def _lingers(self, since_s: float) -> bool:
        """Whether somebody may still want to hear what became of a frame that is closed."""
        with self._desk.looking() as machine:
            told = machine.frame is None and bool(machine.reports)
        return told and bool(self._clients) and mono_now_s() < since_s + LINGER_S

    def _dispatch(self, effects: Sequence[Effect]) -> None:
        """Lines and an immediate end are done here; whatever needs the camera goes to its thread, in order."""
        if any(isinstance(effect, Die) for effect in effects) or all(isinstance(effect, Box) for effect in effects):
            for effect in effects:
                if isinstance(effect, Box):
                    self._write(effect)
                elif isinstance(effect, Die):
                    self._die(effect.reason)
            return
        self._desk.jobs.put_nowait(effects)

    def _write_boxes(self) -> None:
        while True:
            try:
                box = self._desk.boxes.get_nowait()
            except queue.Empty:
                return
            self._write(box)

    def _write(self, box: Box) -> None:
        """A line that does not reach the disk stops no closing; it stops the next opening."""
        try:
            self._box.write(box.word, box.frame_id, box.detail)
        except OSError as error:
            self._desk.step(BoxFailed(box.word, str(error)))

    def _send_answers(self) -> None:
        while True:
            try:
                client, message = self._desk.answers.get_nowait()
            except queue.Empty:
                return
            self._waiting -= 1
            for descriptor, one in list(self._clients.items()):
                if one.number == client:
                    self._send(descriptor, message)

    def _listen_when_looked(self) -> None:
        if self._listener is not None or not self._desk.machine.looked:
            return
        self._path.unlink(missing_ok=True)
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK)
        fresh = self._path.with_suffix(".new")
        fresh.unlink(missing_ok=True)
        listener.bind(str(fresh))
        fresh.chmod(0o600)
        listener.listen(MOST_CLIENTS)
        fresh.rename(self._path)  # there is never a moment with a socket that does not answer
        self._selector.register(listener.fileno(), selectors.EVENT_READ)
        self._listener = listener
        self._start_bytes = resident_bytes()

    def _ready(self, descriptor: int) -> None:
        if descriptor == self._desk.wake_descriptor:
            os.read(descriptor, 4096)
        elif self._listener is not None and descriptor == self._listener.fileno():
            self._accept(self._listener)
        elif descriptor in self._clients:
            self._hear(descriptor)

    def _accept(self, listener: socket.socket) -> None:
        try:
            connection, _ = listener.accept()
        except (BlockingIOError, ConnectionAbortedError):
            return  # whoever asked went away
        except OSError:
            # No descriptor is left just now: no reason to end with a shutter open, nor to ask again without a pause.
            time.sleep(LOOK_EVERY_S)
            return
        connection.setblocking(False)
        if _peer_uid(connection) not in (0, os.getuid()):
            connection.close()
            return
        if len(self._clients) >= MOST_CLIENTS:
            # Whoever has been silent longest makes room: the keeper must always be heard.
            self._drop(min(self._clients, key=lambda one: self._clients[one].heard_s))
        self._clients[connection.fileno()] = _Client(connection, next(self._numbers), mono_now_s())
        self._selector.register(connection.fileno(), selectors.EVENT_READ)

    def _hear(self, descriptor: int) -> None:
        client = self._clients[descriptor]
        try:
            data, descriptors, _, _ = socket.recv_fds(client.connection, 65536, 1)
        except BlockingIOError:
            return
        except OSError:
            data, descriptors = b"", []
        client.descriptors += descriptors
        client.heard_s = mono_now_s()
        if not data:
            self._drop(descriptor)
            return
        client.inbox.add(data)
        try:
            while descriptor in self._clients and (message := client.inbox.take()) is not None:
                self._answer(descriptor, parse_request(message))
        except WireError as error:
            self._send(descriptor, _error("bad_request", str(error)))
            self._drop(descriptor)

    def _answer(self, client: int, request: Request) -> None:
        with self._desk.looking() as machine:
            if request.word != "state":
                machine.touch(mono_now_s())
        if request.word in ERRANDS:
            self._start_errand(client, request)
            return
        self._send(client, self._reply(request))

    def _reply(self, request: Request) -> Message:
        match request.word:
            case "state":
                return self._state()
            case "expose" | "expose_dial":
                return self._expose(request)
            case "close":
                return self._close(request.body)
            case "collected":
                return self._collected(request.body)
            case "clear_latch":
                return self._say(LatchCleared())
            case "give_up_body":
                return self._say(BodyReplaced())
            case _:
                return self._release()

    def _expose(self, request: Request) -> Message:
        kind = Kind.HELD if request.word == "expose" else Kind.DIAL
        try:
            exposure = Exposure.from_message({**request.body, "kind": kind.value})
        except ValueError as error:
            raise WireError(str(error)) from error
        offset_s = utc_now().timestamp() - mono_now_s()
        effects = self._desk.step(ExposeAsked(exposure, offset_s))
        if isinstance(effects[0], Refused):
            return self._refusal(effects[0])
        self._desk.seen.clear()
        self._dispatch(effects)
        return {"accepted": exposure.frame_id}

    def _refusal(self, refused: Refused) -> Message:
        with self._desk.looking() as machine:
            closes_in_s = machine.closes_in_s(mono_now_s())
        return _error(refused.code, refused.reason) | {"closes_in_s": closes_in_s}

    def _close(self, body: Mapping[str, object]) -> Message:
        """Close now and keep. Asking twice, or for a frame that is over, does no harm."""
        with self._desk.looking() as machine:
            frame = machine.frame
        if frame is not None and body.get("frame_id") in (None, frame.exposure.frame_id):
            self._desk.step(CloseAsked())
        return {}

    def _collected(self, body: Mapping[str, object]) -> Message:
        effects = self._desk.step(Collected(str(body.get("frame_id"))))
        self._dispatch(effects)
        if not effects:
            return {}
        self._desk.jobs.put_nowait(self._errands.take_stock())
        # The one moment at which whoever asked for frames is known to be between two of them.
        return {"recycling": self._recycle_if_worn()}

    def _say(self, word: LatchCleared | BodyReplaced) -> Message:
        """What only a person can say."""
        effects = self._desk.step(word)
        if isinstance(effects[0], Refused):
            return _error(effects[0].code, effects[0].reason)
        self._dispatch(effects)
        return {}

    def _release(self) -> Message:
        """Let the camera go early; refused while a shutter may be open."""
        with self._desk.looking() as machine:
            if machine.frame is not None:
                return _error("busy", "a frame is not finished")
        self.end()
        return {}

    def _start_errand(self, client: int, request: Request) -> None:
        with self._desk.looking() as machine:
            free = machine.phase in (Phase.READY, Phase.STORING)
            in_the_way = _in_the_way(machine)
            released = machine.phase is Phase.RELEASED
        refused = None
        if self._desk.jobs.qsize() >= MOST_ERRANDS:
            refused = Refused("busy", "too much is asked of the camera at once")
        if not free:
            refused = in_the_way
        if released:
            refused = RELEASED
        if refused is not None:
            _close_all(self._clients[client].descriptors)
            self._send(client, self._refusal(refused))
            return
        one = self._clients[client]
        self._desk.jobs.put_nowait(self._errands.make(request.word, request.body, one.number, one.descriptors))
        self._waiting += 1

    def _state(self) -> Message:
        now_s = mono_now_s()
        with self._desk.looking() as machine:
            frame = machine.frame
            refused = machine.refusal()
            return {
                "pid": os.getpid(),
                "camera": self._desk.address,
                "phase": machine.phase.value,
                "shutter": machine.shutter().value,
                "latched": machine.latched,
                "trouble": machine.trouble,
                "trouble_code": None if machine.trouble is None else machine.trouble_code,
                "refusal": None if refused is None else {"code": refused.code, "reason": refused.reason},
                "frame_id": None if frame is None else frame.exposure.frame_id,
                "open_for_s": _open_for_s(machine, now_s),
                "closes_in_s": machine.closes_in_s(now_s),
                "reports": [report.as_message() for report in machine.reports.values()],
                "identity": None if self._desk.identity is None else asdict(self._desk.identity),
                "notices": list(self._desk.notices),
                "past_unread": self._desk.past_unread,
            }

    def _send(self, client: int, message: Message) -> None:
        one = self._clients.get(client)
        if one is None:
            return
        data = pack(message)
        try:
            sent = one.connection.send(data)
        except OSError:
            sent = -1
        if sent != len(data):
            self._drop(client)  # gone, or not reading: the shutter does not wait for it

    def _drop(self, client: int) -> None:
        gone = self._clients.pop(client, None)
        if gone is None:
            return
        self._selector.unregister(client)
        _close_all(gone.descriptors)
        gone.connection.close()


def obey_signals(control: Control, desk: Desk) -> None:
    """SIGTERM closes and ends; a key press or a hang-up in somebody's terminal does not reach the shutter."""

    def asked(_number: int, _frame: object) -> None:
        control.end()
        desk.wake()

    signal.signal(signal.SIGTERM, asked)
    for number in (signal.SIGINT, signal.SIGHUP, signal.SIGPIPE):
        signal.signal(number, signal.SIG_IGN)


def _in_the_way(machine: Machine) -> Refused:
    """Why the camera is asked nothing now; listing or reading files while the shutter is open has closed it on some."""
    if machine.trouble is not None:
        return Refused(machine.trouble_code, machine.trouble)
    if machine.frame is not None:
        return Refused("busy", "nothing is asked of the camera while the shutter is open")
    return machine.unfit or Refused("starting", "the camera is just being connected; ask again")


def _open_for_s(machine: Machine, now_s: float) -> float | None:
    frame = machine.frame
    if frame is None or frame.opened_s is None or machine.phase not in (Phase.OPEN, Phase.TIMED):
        return None
    return now_s - frame.opened_s


def _close_all(descriptors: list[int]) -> None:
    while descriptors:
        os.close(descriptors.pop())


def _peer_uid(connection: socket.socket) -> int:
    credentials = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
    _, uid, _ = struct.unpack("3i", credentials)
    return int(uid)


def _error(code: str, message: str) -> Message:
    return {"error": {"code": code, "message": message}}
