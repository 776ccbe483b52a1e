"""`python -m duskhold.camera.served`: the simulated body as a process of its own, served over PTP/IP on loopback.

Prints one line of JSON when it listens, then one for every order done. Orders come as lines of JSON on standard
input; when that is a pipe and it ends, so does the body, and in any case after its lifetime.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import socket
import stat
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import FrameType
from typing import Any

from duskhold.camera.body import BodyBusy, BodyRefusal, SimulatedBody
from duskhold.camera.card import CardFile
from duskhold.camera.operations import Desk, Family
from duskhold.camera.press import OldPressFamily, PressFamily
from duskhold.camera.record import BodyRecord
from duskhold.camera.responder import Responder
from duskhold.camera.shot import BodyProfile
from duskhold.camera.simulation import SimulationOptions, build_body, read_channels
from duskhold.camera.standard import StandardFamily
from duskhold.camera.toggle import ToggleFamily

LOOPBACK = "127.0.0.1"
_STANDARD_INPUT = 0
_READ_BYTES = 65536
FAMILIES: dict[str, Callable[[SimulatedBody], Family]] = {
    "toggle": ToggleFamily,
    "press": PressFamily,
    "press-old": OldPressFamily,
    "standard": StandardFamily,
}
"""How the body lets its shutter be held."""
_LINK_ORDERS = {"drop", "orderly_end", "return", "hang", "resume"}


class BodyServer:
    """One served body from its first to its last moment."""

    def __init__(self, args: argparse.Namespace) -> None:
        self.body = _make_body(args)
        self._born_mono = _mono_now_s()
        self._ends_s = args.lifetime
        self._ending = False
        self._orders = _STANDARD_INPUT if _is_pipe(_STANDARD_INPUT) else None
        self._unread = b""
        self._record = BodyRecord(args.log or Path(os.devnull), self._born_mono)
        self._desk = Desk(self.body, FAMILIES[args.family](self.body), _leave_behind(self.body, args.leftovers))
        self._listener = _listen(args.port)
        self._responder = Responder(self._listener, self.body, self._desk, self._note)
        signal.signal(signal.SIGTERM, self._stop)
        signal.signal(signal.SIGINT, signal.SIG_IGN)

    def run(self) -> None:
        """Serve until told to end."""
        self._note("started", seed=self.body.seed)
        _say({"port": self._listener.getsockname()[1], "pid": os.getpid(), "seed": self.body.seed})
        while not self._ending and self._now_s() < self._ends_s:
            waiting = self._responder.step(self._now_s(), self._orders, self._ends_s)
            self._responder.settle(self._now_s())
            self._record.copy(self.body)
            if waiting:
                self._read_orders()
        self._record.copy(self.body)
        self._note("ended")
        self._responder.close()

    def _note(self, word: str, **detail: object) -> None:
        self._record.note(word, self._now_s(), **detail)

    def _now_s(self) -> float:
        return _mono_now_s() - self._born_mono

    def _stop(self, number: int, frame: FrameType | None) -> None:
        self._ending = True

    def _read_orders(self) -> None:
        received = os.read(_STANDARD_INPUT, _READ_BYTES)
        if not received:
            self._ending = True
            return
        *lines, self._unread = (self._unread + received).split(b"\n")
        for line in lines:
            _say(self._obey(line))

    def _obey(self, line: bytes) -> dict[str, object]:
        try:
            order = json.loads(line)
            self._carry_out(order)
        except (ValueError, KeyError, TypeError, BodyBusy, BodyRefusal) as wrong:
            return {"failed": f"{type(wrong).__name__}: {wrong}"}
        self._record.copy(self.body)
        return {"done": order["order"], "now_mono": _mono_now_s()}

    def _carry_out(self, order: Mapping[str, object]) -> None:
        word = str(order["order"])
        if word in _LINK_ORDERS:
            self._responder.order(word)
        elif word == "strike":
            self.body.strike_next(str(order["fault"]), int(str(order["count"])))
        elif word == "slow":
            self._responder.slow_s = float(str(order["seconds"]))
        elif word == "set":
            self.body.set_value(str(order["name"]), str(order["value"]), self._now_s())
        elif word == "fit":
            self.body.fit(read_channels(str(order["filters"])), self._now_s())
        elif word == "fill":
            self.body.card.capacity_shots = int(str(order["shots"]))
        elif word in ("eject", "insert"):
            self.body.card.present = word == "insert"
        else:
            raise ValueError(f"no such order: {word}")


def make_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m duskhold.camera.served", description=__doc__)
    parser.add_argument("--port", type=int, default=0, help="TCP port on loopback; 0 takes a free one")
    parser.add_argument("--family", choices=sorted(FAMILIES), default="toggle", help="how its shutter is held")
    parser.add_argument("--leftovers", type=int, default=0, help="how many pictures nobody has fetched yet")
    parser.add_argument("--card", type=Path, required=True, help="the folder that is the card")
    parser.add_argument("--log", type=Path, help="where the body writes its own log, as lines of JSON")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--place", help="LAT,LON: the light is the sky's there, from now on")
    parser.add_argument("--rate", type=float, default=0.0, help="without a place: stops per minute, negative = fading")
    parser.add_argument("--base", type=float, default=0.0625, help="base exposure now, at f/8 and ISO 100, in s")
    parser.add_argument("--filters", default="6", help="what is fitted at the start, as on the labels: 6.2,d0.9")
    parser.add_argument("--fault", action="append", default=[], metavar="NAME=VALUE")
    parser.add_argument("--profile", action="append", default=[], metavar="NAME=VALUE")
    parser.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", help="a setting at the start")
    parser.add_argument("--no-card", action="store_true", help="the card's door is open")
    parser.add_argument("--lifetime", type=float, default=3600.0, help="seconds after which it ends by itself")
    return parser


def read_profile(words: Sequence[str]) -> dict[str, Any]:
    """A part of a profile from words such as `storing_s=0.2`. Raises `ValueError` in plain words."""
    usual = BodyProfile()
    read: dict[str, Any] = {}
    for word in words:
        name, _, text = word.partition("=")
        if not hasattr(usual, name):
            raise ValueError(f"{word!r}: not in a body's profile")
        kind = type(getattr(usual, name))
        read[name] = text == "true" if kind is bool else kind(text)
    return read


def main(words: Sequence[str] | None = None) -> int:
    parser = make_parser()
    args = parser.parse_args(words)
    try:
        server = BodyServer(args)
    except ValueError as wrong:
        parser.error(str(wrong))
    server.run()
    return 0


def _make_body(args: argparse.Namespace) -> SimulatedBody:
    settings = dict(_pair(each) for each in args.set)
    options = SimulationOptions(
        card=str(args.card),
        seed=args.seed,
        place=args.place,
        rate_stops_per_min=args.rate,
        base_s=args.base,
        filters=args.filters,
        faults=tuple(args.fault),
        profile={"dial_has_bulb": args.family != "standard", **read_profile(args.profile), "settings": settings},
    )
    body = build_body(options)
    body.card.present = not args.no_card
    return body


def _leave_behind(body: SimulatedBody, count: int) -> list[CardFile]:
    """Pictures on the card from before."""
    card = body.card
    return [file for _ in range(count) for file in card.store(card.next_number(), {".JPG": lambda: b"left over"})]


def _pair(word: str) -> tuple[str, str]:
    name, _, value = word.partition("=")
    return name, value


def _listen(port: int) -> socket.socket:
    """Listen on a port that is bound by number: one given by the system would be lost while the link is down."""
    if not port:
        with socket.create_server((LOOPBACK, 0)) as probe:
            port = probe.getsockname()[1]
    return socket.create_server((LOOPBACK, port))


def _is_pipe(descriptor: int) -> bool:
    try:
        return stat.S_ISFIFO(os.fstat(descriptor).st_mode)
    except OSError:
        return False


def _say(line: Mapping[str, object]) -> None:
    sys.stdout.write(json.dumps(line) + "\n")
    sys.stdout.flush()


def _mono_now_s() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)


if __name__ == "__main__":
    sys.exit(main())
