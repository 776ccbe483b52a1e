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
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

from duskhold.camera.body import BodyBusy, BodyRefusal, SimulatedBody
from duskhold.camera.card import FolderCard
from duskhold.camera.faults import read_faults
from duskhold.camera.operations import Desk
from duskhold.camera.responder import Responder
from duskhold.camera.shot import BodyProfile
from duskhold.camera.stage import Channels, ConstantLight, FadingLight, Stage
from duskhold.camera.toggle import ToggleFamily
from duskhold.light.filters import parse_filters, stack

LOOPBACK = "127.0.0.1"
_STANDARD_INPUT = 0
_READ_BYTES = 65536
_LINK_ORDERS = {"drop", "orderly_end", "return", "hang", "resume"}


class BodyRecord:
    """The body's own log as lines of JSON, written out at once: the outside truth of a run."""

    def __init__(self, path: Path | None, born_mono: float) -> None:
        self._out = path.open("a", encoding="utf-8", buffering=1) if path else None
        self._born_mono = born_mono
        self._written = 0

    def copy(self, body: SimulatedBody) -> None:
        """Write what the body has noted since the last time."""
        for line in body.log[self._written :]:
            self._write(line.word, self._born_mono + line.now_s, line.detail)
        self._written = len(body.log)

    def note(self, word: str, **detail: object) -> None:
        self._write(word, _mono_now_s(), detail)

    def close(self) -> None:
        if self._out:
            self._out.close()

    def _write(self, word: str, now_mono: float, detail: Mapping[str, object]) -> None:
        if self._out:
            self._out.write(json.dumps({"word": word, "now_mono": now_mono, "detail": dict(detail)}) + "\n")


class BodyServer:
    """One served body from its first to its last moment."""

    def __init__(self, args: argparse.Namespace) -> None:
        self._born_mono = _mono_now_s()
        self._ends_s = args.lifetime
        self._ending = False
        self._orders = _STANDARD_INPUT if _is_pipe(_STANDARD_INPUT) else None
        self._unread = b""
        self.record = BodyRecord(args.log, self._born_mono)
        self.body = _make_body(args)
        self._desk = Desk(self.body, ToggleFamily(self.body))
        self._listener = _listen(args.port)
        self._responder = Responder(self._listener, self.body, self._desk, self.record.note)
        signal.signal(signal.SIGTERM, self._stop)
        signal.signal(signal.SIGINT, signal.SIG_IGN)

    def run(self) -> None:
        """Serve until told to end."""
        self.record.note("started", seed=self.body.seed, born_mono=self._born_mono)
        _say({"port": self._listener.getsockname()[1], "pid": os.getpid(), "seed": self.body.seed})
        while not self._ending and self._now_s() < self._ends_s:
            waiting = self._responder.step(self._now_s(), self._orders, self._ends_s)
            self._responder.settle(self._now_s())
            self.record.copy(self.body)
            if waiting:
                self._read_orders()
        self.record.copy(self.body)
        self.record.note("ended")
        self.record.close()
        self._responder.close()

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
        self.record.copy(self.body)
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
            self.body.fit(_filters(str(order["filters"])), self._now_s())
        elif word in ("eject", "insert"):
            self.body.card.present = word == "insert"
        else:
            raise ValueError(f"no such order: {word}")


def make_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m duskhold.camera.served", description=__doc__)
    parser.add_argument("--port", type=int, default=0, help="TCP port on loopback; 0 takes a free one")
    parser.add_argument("--card", type=Path, required=True, help="the folder that is the card")
    parser.add_argument("--log", type=Path, help="where the body writes its own log, as lines of JSON")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--rate", type=float, default=0.0, help="stops per minute, negative = fading")
    parser.add_argument("--reference", type=float, default=0.25, help="base exposure at f/8 and ISO 100, in s")
    parser.add_argument("--filters", default="", help="what is fitted at the start, as on the labels: 6.2,d0.9")
    parser.add_argument("--fault", action="append", default=[], metavar="NAME=VALUE")
    parser.add_argument("--profile", action="append", default=[], metavar="NAME=VALUE")
    parser.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", help="a setting at the start")
    parser.add_argument("--no-card", action="store_true", help="the card's door is open")
    parser.add_argument("--lifetime", type=float, default=3600.0, help="seconds after which it ends by itself")
    return parser


def read_profile(words: Sequence[str], settings: Mapping[str, str]) -> BodyProfile:
    """A profile from words such as `storing_s=0.2`. Raises `ValueError` in plain words."""
    profile = BodyProfile(settings=settings)
    known = {each.name for each in fields(BodyProfile)} - {"settings"}
    for word in words:
        name, _, text = word.partition("=")
        if name not in known:
            raise ValueError(f"{word!r} is not in the profile, which has {', '.join(sorted(known))}")
        kind = type(getattr(profile, name))
        value: Any = text == "true" if kind is bool else kind(text)
        profile = replace(profile, **{name: value})
    return profile


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
    profile = read_profile(args.profile, settings)
    light = FadingLight(args.rate) if args.rate else ConstantLight()
    stage = Stage(light, reference_s=args.reference, epoch_utc=datetime.now(UTC))
    stage.fit(_filters(args.filters))
    card = FolderCard(args.card)
    card.present = not args.no_card
    if profile.render:
        # The first picture takes a second longer than the next: now, when nobody waits for an answer.
        from duskhold.camera.negative import warm

        warm(profile)
    return SimulatedBody(profile, stage, card, read_faults(args.fault, args.seed), args.seed)


def _filters(labels: str) -> Channels:
    fitted = stack(parse_filters(labels))
    return fitted.stops_rgb or (fitted.stops, fitted.stops, fitted.stops)


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
