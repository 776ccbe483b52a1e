"""The simulated body: dials, a shutter with latencies, a card, a battery, a clock. State and physics only.

Every method takes `now_s`, the body's time in seconds, which never goes back; `stage.utc(now_s)` is the
true time. The log is the outside truth: what the shutter really did, and when.
"""

from __future__ import annotations

import heapq
import math
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import Enum

from duskhold.camera.card import Card, CardFile
from duskhold.camera.faults import Faults, Strike
from duskhold.camera.shot import BULB, CHOICES, BodyProfile, Shot
from duskhold.camera.stage import Channels, Stage
from duskhold.light.dials import APERTURE, ISO, SHUTTER

_SHORTEST_OPENING_S = 0.001
_SUFFIXES = {"raw": (".DNG",), "jpeg": (".JPG",), "raw+jpeg": (".DNG", ".JPG")}


class BodyBusy(Exception):
    """The body is storing, taking its own dark frame, or has its shutter open; it did nothing."""


class BodyRefusal(Exception):
    """The body will not, says why, and did nothing."""


class Released(Enum):
    CLOSED = "closed"
    NOTHING_OPEN = "nothing_open"
    IGNORED = "ignored"


@dataclass(frozen=True, slots=True)
class LogLine:
    now_s: float
    word: str
    detail: Mapping[str, float | str]


@dataclass(frozen=True, slots=True)
class ShutterOpened:
    at_s: float


@dataclass(frozen=True, slots=True)
class ShutterClosed:
    at_s: float


@dataclass(frozen=True, slots=True)
class PictureStored:
    at_s: float
    file: CardFile


@dataclass(frozen=True, slots=True)
class CaptureComplete:
    at_s: float


@dataclass(frozen=True, slots=True)
class BecameReady:
    at_s: float


BodyEvent = ShutterOpened | ShutterClosed | PictureStored | CaptureComplete | BecameReady


class _Phase(Enum):
    READY = "ready"
    OPENING = "opening"
    OPEN = "open"
    CLOSING = "closing"
    STORING = "storing"


class SimulatedBody:
    """One body in front of a stage. The same profile, faults, seed and questions give the same night."""

    def __init__(
        self, profile: BodyProfile, stage: Stage, card: Card, faults: Faults | None = None, seed: int = 0
    ) -> None:
        self.profile = profile
        self.stage = stage
        self.card = card
        self.faults = faults or Faults()
        self.seed = seed
        self.log: list[LogLine] = []
        self.openings = 0
        self._shots_before = card.next_number() - 1
        self._words = {name: words[0] for name, words in CHOICES.items()}
        shutter = BULB if profile.dial_has_bulb else "30"
        self._words |= {"shutter": shutter, "aperture": "f/8", "quality": "raw+jpeg", **profile.settings}
        self._phase = _Phase.READY
        self._now_s = 0.0
        self._order = 0
        self._scheduled: list[tuple[float, int, Callable[[float], None]]] = []
        self._events: list[BodyEvent] = []
        self._attempts: dict[str, int] = {}
        self._dial_s: float | None = None
        self._is_open = False
        self._opened_s = 0.0
        self._opens_s = 0.0
        self._spent_percent = 0.0
        self._flat = False
        self._clock_offset_s = profile.clock_offset_s
        self._schedule(self.faults.battery_flat_at_s, self._go_flat)
        self._schedule(self.faults.card_absent_from_s, self._lose_card)
        self._schedule(self.faults.card_full_from_s, self._fill_card)

    def press(self, now_s: float) -> None:
        """Ask to open and hold; the shutter opens one latency later. Raises `BodyBusy` or `BodyRefusal`."""
        self._settle(now_s)
        self._check_can_expose(now_s)
        if self._words["mode"] != "manual":
            self._refuse(now_s, "a held exposure needs mode manual")
        if self.profile.dial_has_bulb and self._words["shutter"] != BULB:
            self._refuse(now_s, "a held exposure needs shutter bulb")
        self._start(now_s, None)

    def release(self, now_s: float) -> Released:
        """Ask to close; the shutter closes one latency later. Safe at any time."""
        self._settle(now_s)
        if self._phase not in (_Phase.OPENING, _Phase.OPEN):
            self._note(now_s, "released", result=Released.NOTHING_OPEN.value)
            return Released.NOTHING_OPEN
        if self._dial_s is not None or self._strikes(now_s, "release_ignored"):
            self._note(now_s, "released", result=Released.IGNORED.value)
            return Released.IGNORED
        self._note(now_s, "released", result=Released.CLOSED.value)
        latency_s = self._latency_s("close", self.profile.close_latency_s)
        self._plan_close(max(now_s + latency_s, self._opens_s + _SHORTEST_OPENING_S))
        return Released.CLOSED

    def expose_dial(self, now_s: float) -> None:
        """Take one exposure at the dial's true time; it ends by itself. Raises as `press` does."""
        self._settle(now_s)
        self._check_can_expose(now_s)
        if self._words["shutter"] == BULB:
            self._refuse(now_s, "a timed exposure was asked while the shutter dial is at bulb")
        self._start(now_s, SHUTTER.true_value(self._words["shutter"]))

    def advance(self, now_s: float) -> list[BodyEvent]:
        """Everything that happened since the last call, in order, up to now."""
        self._settle(now_s)
        ready = [each for each in self._events if each.at_s <= now_s]
        self._events = [each for each in self._events if each.at_s > now_s]
        return ready

    def next_change_s(self) -> float | None:
        """When something will happen by itself, or None."""
        times = [each.at_s for each in self._events] + [at_s for at_s, _, _ in self._scheduled[:1]]
        return min(times, default=None)

    def shutter_is_open(self, now_s: float) -> bool:
        self._settle(now_s)
        return self._is_open

    def is_exposing(self, now_s: float) -> bool:
        """Whether an exposure was asked for and the shutter has not closed yet."""
        self._settle(now_s)
        return self._phase in (_Phase.OPENING, _Phase.OPEN, _Phase.CLOSING)

    def is_busy(self, now_s: float) -> bool:
        """Whether the body is storing, or taking its own dark frame."""
        self._settle(now_s)
        return self._phase is _Phase.STORING

    def fit(self, stops_rgb: Channels, now_s: float) -> None:
        """A person fits filters, or takes them off (0, 0, 0)."""
        self._settle(now_s)
        self.stage.fit(stops_rgb, now_s)
        self._note(now_s, "fitted", red=stops_rgb[0], green=stops_rgb[1], blue=stops_rgb[2])

    def value(self, name: str, now_s: float) -> str:
        """What the body says. Raises `KeyError` for a setting that it does not have."""
        self._settle(now_s)
        if name == "shots_left":
            return str(self.card.shots_left())
        if name == "battery":
            return f"{self._battery_percent(now_s):.0f}%"
        if name == "clock":
            return self._clock(now_s).isoformat(timespec="seconds")
        return self._words[name]

    def choices(self, name: str) -> tuple[str, ...]:
        """The words that a setting takes; none where it cannot be set by choice."""
        words = CHOICES.get(name, ())
        if name == "shutter" and not self.profile.dial_has_bulb:
            return tuple(word for word in words if word != BULB)
        return words

    def set_value(self, name: str, value: str, now_s: float) -> None:
        """Turn a dial. Raises `BodyBusy` unless the body is ready, `BodyRefusal` for an unknown word."""
        self._settle(now_s)
        if self._phase is not _Phase.READY:
            raise BodyBusy(f"the body is {self._phase.value}")
        if name == "clock":
            self._set_clock(value, now_s)
        elif value not in self.choices(name):
            self._refuse(now_s, f"{name} cannot be {value}")
        else:
            self._words[name] = value
        self._note(now_s, "set", name=name, value=value)

    def files(self) -> list[CardFile]:
        return self.card.files() if self.card.present else []

    def strikes(self, name: str, now_s: float) -> bool:
        """Whether a fault strikes this attempt; for faults of the answer, which whoever answers has to act out."""
        return self._strikes(now_s, name)

    def strike_next(self, name: str, count: int) -> None:
        """From now on the named fault strikes the next `count` attempts, and no others."""
        done = self._attempts.get(name, 0)
        strike = Strike(on=frozenset(range(done + 1, done + count + 1)))
        self.faults = replace(self.faults, **{name: strike})  # type: ignore[arg-type]

    # Asking

    def _check_can_expose(self, now_s: float) -> None:
        if self._phase is not _Phase.READY:
            self._note(now_s, "busy", phase=self._phase.value)
            raise BodyBusy(f"the body is {self._phase.value}")
        if self._strikes(now_s, "press_busy"):
            raise BodyBusy("the body says that it is busy")
        if self._strikes(now_s, "press_refused"):
            self._refuse(now_s, "the body says no")
        if self._flat:
            self._refuse(now_s, "battery flat")
        if self._words["target"] == "card" and self.card.shots_left() == 0:
            self._refuse(now_s, "card full" if self.card.present else "no card")

    def _refuse(self, now_s: float, reason: str) -> None:
        self._note(now_s, "refused", reason=reason)
        raise BodyRefusal(reason)

    def _start(self, now_s: float, dial_s: float | None) -> None:
        self._note(now_s, "pressed", shutter=self._words["shutter"])
        if self._strikes(now_s, "open_ignored"):
            return
        late_s = self.faults.open_late_s if self._strikes(now_s, "open_late") else 0.0
        self.openings += 1
        self._phase, self._dial_s = _Phase.OPENING, dial_s
        self._opens_s = now_s + late_s + self._latency_s("open", self.profile.open_latency_s)
        self._schedule(self._opens_s, self._open)

    # What happens by itself

    def _open(self, at_s: float) -> None:
        if self._flat:
            self._drop_scheduled(self._close)
            self._phase = _Phase.READY
            return
        if self._phase is _Phase.OPENING:
            self._phase = _Phase.OPEN
        self._opened_s, self._is_open = at_s, True
        self._note(at_s, "opened", frame=self.openings)
        self._events.append(ShutterOpened(at_s))
        if self._dial_s is not None:
            self._plan_close(at_s + self._dial_s)
        if self.profile.battery_percent_per_min > 0:
            left_min = self._battery_percent(at_s) / self.profile.battery_percent_per_min
            self._schedule(at_s + 60 * left_min, self._run_dry)

    def _plan_close(self, at_s: float) -> None:
        # A timed exposure stays OPEN to anyone who asks: only its end is fixed already.
        if self._dial_s is None:
            self._phase = _Phase.CLOSING
        self._schedule(at_s, self._close)

    def _close(self, at_s: float) -> None:
        self._drop_scheduled(self._run_dry, self._close)
        shot = self._shot(at_s)
        self._spent_percent += self.profile.battery_percent_per_min * shot.open_s / 60
        self._phase, self._is_open = _Phase.STORING, False
        self._note(at_s, "closed", frame=self.openings, open_s=shot.open_s)
        self._events.append(ShutterClosed(at_s))
        dark_s = shot.open_s if shot.dark_frame else 0.0
        if shot.dark_frame:
            self._note(at_s, "dark_frame", until_s=at_s + dark_s)
        self._schedule(at_s + dark_s + self.profile.storing_s, lambda now_s: self._store(shot, now_s))

    def _store(self, shot: Shot, at_s: float) -> None:
        self._phase = _Phase.READY
        if self._words["target"] != "card" or self.card.shots_left() == 0:
            self._note(at_s, "lost", frame=self.openings)
        else:
            self._keep(shot, at_s)
        self._events += [CaptureComplete(at_s), BecameReady(at_s)]
        self._note(at_s, "ready")

    def _keep(self, shot: Shot, at_s: float) -> None:
        makers = self._makers(shot)
        if self._strikes(at_s, "pair_reversed"):
            makers = dict(reversed(makers.items()))
        files = self.card.store(self.card.next_number(), makers)
        told_s = at_s + (self.faults.event_late_s if self._strikes(at_s, "event_late") else 0.0)
        is_told = not self._strikes(at_s, "event_lost")
        for file in files:
            self._note(at_s, "stored", name=file.name, frame=self.openings)
            if is_told:
                self._events.append(PictureStored(told_s, file))
        self._events.sort(key=lambda each: each.at_s)

    def _makers(self, shot: Shot) -> dict[str, Callable[[], bytes]]:
        suffixes = _SUFFIXES[self._words["quality"]]
        if not self.profile.render:
            return dict.fromkeys(suffixes, bytes)
        from duskhold.camera.negative import Negative  # numpy is loaded only where pictures are made

        negative = Negative(shot, self.profile, self.faults.spoil)
        makers = {".DNG": negative.dng, ".JPG": negative.jpeg}
        return {suffix: makers[suffix] for suffix in suffixes}

    def _run_dry(self, at_s: float) -> None:
        self._go_flat(at_s)

    def _go_flat(self, at_s: float) -> None:
        self._flat = True
        self._note(at_s, "battery_flat")
        if self._is_open:
            self._close(at_s)

    def _lose_card(self, at_s: float) -> None:
        self.card.present = False
        self._note(at_s, "fault", name="card_absent")

    def _fill_card(self, at_s: float) -> None:
        self.card.capacity_shots = 0
        self._note(at_s, "fault", name="card_full")

    # Below: small print

    def _shot(self, closed_s: float) -> Shot:
        f_number = APERTURE.true_value(self._words["aperture"])
        return Shot(
            number=self._shots_before + self.openings,
            opened_s=self._opened_s,
            closed_s=closed_s,
            taken=self._clock(self._opened_s),
            exposure_rgb=self.stage.exposure_rgb(self._opened_s, closed_s, f_number),
            f_number=f_number,
            iso=ISO.true_value(self._words["iso"]),
            aperture_mark=self._words["aperture"],
            dial_s=self._dial_s,
            dark_frame=self._words["dark_frame"] == "on",
            temperature_c=self.stage.temperature_c,
            seed=self.seed,
            spoiled=self._strikes(closed_s, "spoiled"),
        )

    def _battery_percent(self, now_s: float) -> float:
        open_s = now_s - self._opened_s if self._is_open else 0.0
        spent = self._spent_percent + self.profile.battery_percent_per_min * open_s / 60
        return 0.0 if self._flat else max(0.0, self.profile.battery_percent - spent)

    def _clock(self, now_s: float) -> datetime:
        shift = timedelta(seconds=self._clock_offset_s, minutes=self.profile.zone_offset_min)
        return (self.stage.utc(now_s) + shift).replace(tzinfo=None)

    def _set_clock(self, value: str, now_s: float) -> None:
        try:
            wanted = datetime.fromisoformat(value).replace(tzinfo=None)
        except ValueError:
            self._refuse(now_s, f"clock cannot be {value}")
        self._clock_offset_s += (wanted - self._clock(now_s)).total_seconds()

    def _latency_s(self, name: str, mean_s: float) -> float:
        jitter = random.Random(f"{self.seed}:{name}:{self.openings}").gauss(0.0, self.profile.latency_sigma_s)
        return max(0.0, mean_s + jitter)

    def _strikes(self, now_s: float, name: str) -> bool:
        self._attempts[name] = self._attempts.get(name, 0) + 1
        if not self.faults.strikes(name, self._attempts[name]):
            return False
        self._note(now_s, "fault", name=name, attempt=self._attempts[name])
        return True

    def _schedule(self, at_s: float, act: Callable[[float], None]) -> None:
        if at_s == math.inf:
            return
        self._order += 1
        heapq.heappush(self._scheduled, (at_s, self._order, act))

    def _drop_scheduled(self, *acts: Callable[[float], None]) -> None:
        self._scheduled = [each for each in self._scheduled if each[2] not in acts]
        heapq.heapify(self._scheduled)

    def _settle(self, now_s: float) -> None:
        assert now_s >= self._now_s, f"body time went back from {self._now_s} to {now_s}"
        while self._scheduled and self._scheduled[0][0] <= now_s:
            at_s, _, act = heapq.heappop(self._scheduled)
            act(at_s)
        self._now_s = now_s

    def _note(self, now_s: float, word: str, **detail: float | str) -> None:
        self.log.append(LogLine(now_s, word, detail))
