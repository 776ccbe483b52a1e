"""What goes wrong with the simulated body, on order and by chance: frozen options with a seed, nothing else.

Each fault is asked with the number of the attempt (1 for the first), so the same options strike the same
attempts in every run, in whatever order the questions come.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Any


@dataclass(frozen=True, slots=True)
class Strike:
    """Which attempts a fault strikes: those named, and any by chance (0 to 1)."""

    on: frozenset[int] = frozenset()
    chance: float = 0.0

    @classmethod
    def at(cls, *attempts: int) -> Strike:
        return cls(on=frozenset(attempts))

    @classmethod
    def first(cls, count: int) -> Strike:
        return cls(on=frozenset(range(1, count + 1)))


NEVER = Strike()
ALWAYS = Strike(chance=1.0)


@dataclass(frozen=True, slots=True)
class PictureFault:
    """What the picture suffers: lengths as shares of the picture's width, brightness of the mid-tone as 1."""

    shift_x: float = 0.0
    shift_y: float = 0.0
    blur: float = 0.0
    leak: float = 0.0
    dew: float = 0.0
    drops: int = 0
    hot_corner: float = 0.0
    cast_stops_rgb: tuple[float, float, float] = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Outage:
    """A time during which the link is gone ("dropped") or silent ("hung"). `until_s` may be infinite."""

    kind: str
    from_s: float
    until_s: float


@dataclass(frozen=True, slots=True)
class Faults:
    """Everything that can be made to go wrong. A `Strike` counts attempts of its own act.

    `open_ignored`: the body says yes and never opens. `open_error`: it opens and answers with an error.
    `release_ignored`: it stays open. `stop_refused`: it stays open and answers with an error. `stop_error`: it
    closes and answers with an error. `stop_late`: it closes and answers `stop_late_s` later. `event_lost`: no
    word of a stored picture. `pair_reversed`: the JPEG before the raw file. `..._at_s` and `..._from_s` are body
    times. `open_error`, `stop_error`, `stop_late`, `stop_refused` and the link are for whoever speaks for the
    body; `link_drop` and `link_hang` count openings.
    """

    seed: int = 0
    open_ignored: Strike = NEVER
    open_late: Strike = NEVER
    open_late_s: float = 1.5
    open_error: Strike = NEVER
    press_refused: Strike = NEVER
    press_busy: Strike = NEVER
    release_ignored: Strike = NEVER
    stop_refused: Strike = NEVER
    stop_error: Strike = NEVER
    stop_late: Strike = NEVER
    stop_late_s: float = 1.5
    event_lost: Strike = NEVER
    event_late: Strike = NEVER
    event_late_s: float = 5.0
    pair_reversed: Strike = NEVER
    card_absent_from_s: float = math.inf
    card_full_from_s: float = math.inf
    battery_flat_at_s: float = math.inf
    link_drop: Strike = NEVER
    link_drop_after_s: float = 1.0
    link_return_after_s: float = 3.0
    link_hang: Strike = NEVER
    link_hang_after_s: float = 1.0
    link_resume_after_s: float = math.inf
    link_slow_s: float = 0.0
    spoiled: Strike = NEVER
    spoil: PictureFault = field(default_factory=PictureFault)

    def strikes(self, name: str, attempt: int) -> bool:
        """Whether the named fault strikes this attempt (counted from 1)."""
        strike = getattr(self, name)
        assert isinstance(strike, Strike), name
        if attempt in strike.on:
            return True
        return strike.chance > 0 and random.Random(f"{self.seed}:{name}:{attempt}").random() < strike.chance

    def outages(self, opening: int, opened_s: float) -> tuple[Outage, ...]:
        """What the link suffers after the given opening (counted from 1)."""
        found = []
        if self.strikes("link_drop", opening):
            from_s = opened_s + self.link_drop_after_s
            found.append(Outage("dropped", from_s, from_s + self.link_return_after_s))
        if self.strikes("link_hang", opening):
            from_s = opened_s + self.link_hang_after_s
            found.append(Outage("hung", from_s, from_s + self.link_resume_after_s))
        return tuple(found)


_NONE = Faults()
_ATTEMPTS_MAX = 100_000
_SUFFERED = {each.name for each in fields(PictureFault)} - {"cast_stops_rgb"}
_AT_MOST = {"shift_x": 0.5, "shift_y": 0.5, "blur": 0.1, "dew": 1.0, "drops": 1000, "leak": 10.0, "hot_corner": 10.0}
"""Of what the pictures suffer: past these nothing of them is left to be judged, and blurring takes minutes a frame."""


def read_faults(words: Sequence[str], seed: int = 0) -> Faults:
    """Faults from words such as `open_ignored=1`, `press_busy=1-3`, `event_lost=5%`, `link_return_after_s=4`.

    A strike lists attempts (`2,5`), a range (`1-3`) or a chance in per cent. What the `spoiled` pictures suffer has
    its own words, as in `spoiled=5-9 drops=4 shift_x=0.004`. Raises `ValueError`.
    """
    chosen: dict[str, Any] = {}
    suffered: dict[str, Any] = {}
    known = {each.name for each in fields(Faults)} - {"seed", "spoil"} | _SUFFERED
    for word in words:
        name, _, text = word.partition("=")
        if name not in known or not text:
            raise ValueError(f"{word!r} is no fault: write NAME=VALUE, where NAME is one of {', '.join(sorted(known))}")
        is_strike = isinstance(getattr(_NONE, name, None), Strike)
        allowed = "attempts such as 2,5 or 1-3, or a chance such as 5%" if is_strike else "seconds such as 4"
        try:
            if name in _SUFFERED:
                allowed = _allowed(name)
                suffered[name] = _read_suffered(name, text)
            else:
                chosen[name] = _read_strike(text) if is_strike else _read_number(text)
        except ValueError:
            raise ValueError(f"{word!r} is no fault: {name} takes {allowed}") from None
    return Faults(seed=seed, spoil=PictureFault(**suffered), **chosen)


def _allowed(name: str) -> str:
    kind = "a whole number" if name == "drops" else "a share such as 0.004"
    return f"{kind}, {_AT_MOST[name]:g} at most" if name in _AT_MOST else kind


def _read_suffered(name: str, text: str) -> float:
    value = int(text) if name == "drops" else _read_number(text)
    if not 0 <= value <= _AT_MOST.get(name, value):
        raise ValueError(text)
    return value


def _read_number(text: str) -> float:
    number = float(text)
    if not number >= 0.0:  # nor is what is no number
        raise ValueError(text)
    return number


def _read_strike(text: str) -> Strike:
    if text.endswith("%"):
        chance = _read_number(text[:-1]) / 100
        if chance > 1.0:
            raise ValueError(text)
        return Strike(chance=chance)
    attempts: set[int] = set()
    for part in text.split(","):
        first, _, last = part.partition("-")
        counted = range(int(first), int(last or first) + 1)
        if not counted or counted[0] < 1 or counted[-1] > _ATTEMPTS_MAX:
            raise ValueError(text)
        attempts.update(counted)
    return Strike(on=frozenset(attempts))
