"""A change that only a person's hands can make: what is asked, and whether the pixels say that it was made."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from itertools import combinations
from typing import Final

from duskhold.light.density import ASK_BEYOND_STOPS
from duskhold.light.sign import signed
from duskhold.plan.outing import Outing
from duskhold.plan.series import SetUp

VERIFIED_STOPS: Final = 0.3
"""A scout this near to what the change should make proves it. Common practice, no source."""
TELLS_APART_STOPS: Final = 1.0
"""Farther than this from every other state of the filters a scout proves it too, once a second one says the same."""

WRONG_PLATE_STOPS: Final = 1.0
"""No filter is so far from its label: another plate, or the light. A person is asked once more, and then believed."""


class Seen(Enum):
    """What a scout says about the filters that it was taken behind."""

    AS_ASKED = "as_asked"
    LOOK_AGAIN = "look_again"
    OTHERWISE = "otherwise"


@dataclass(frozen=True, slots=True)
class Request:
    """What a person is asked to take off and to fit, from one set-up to the other, and since when."""

    before: SetUp
    after: SetUp
    asked_utc: datetime
    answered: bool = False
    tries: int = 0
    unanswered_since_utc: datetime | None = None

    @property
    def waiting_since_utc(self) -> datetime:
        """Since when nobody has come; asking again does not begin it anew."""
        return self.unanswered_since_utc or self.asked_utc

    @property
    def remove(self) -> tuple[str, ...]:
        return tuple(name for name in self.before.filters if name not in self.after.filters)

    @property
    def fit(self) -> tuple[str, ...]:
        return tuple(name for name in self.after.filters if name not in self.before.filters)

    def line(self) -> str:
        """One line, one action."""
        said = []
        if self.remove:
            said.append(f"take off {_names(self.remove)}")
        if self.fit:
            said.append(f"fit {_names(self.fit)}")
        kept = [name for name in self.after.filters if name in self.before.filters]
        if kept:
            said.append(f"keep {_names(kept)}")
        return ", ".join(said)


@dataclass(frozen=True, slots=True)
class Proof:
    """What a scout says, how far it was off the change as asked, and the filters that explain it best.

    One that `is_burnt` came out so much brighter at the least.
    """

    seen: Seen
    off_stops: float
    likeliest: tuple[str, ...]
    is_burnt: bool = False


def prove(
    outing: Outing, request: Request, assumed: tuple[str, ...], off_stops: float, earlier_off_stops: float | None
) -> Proof:
    """Judge a scout that came out `off_stops` brighter than expected behind the filters that are assumed.

    Those are the request's after it was answered, and else those from before it. `earlier_off_stops` is that of the
    scout before, when it asked for another look.
    """
    assumed_stops = outing.kit.glass(assumed).stops
    states = {names: assumed_stops - outing.kit.glass(names).stops for names in _states(request)}
    likeliest = min(states, key=lambda names: (abs(off_stops - states[names]), names != assumed))
    if set(likeliest) != set(assumed):
        return Proof(Seen.OTHERWISE, off_stops, likeliest)
    if abs(off_stops) <= VERIFIED_STOPS:
        return Proof(Seen.AS_ASKED, off_stops, likeliest)
    others = [abs(off_stops - brighter) for names, brighter in states.items() if set(names) != set(assumed)]
    if min(others, default=math.inf) < TELLS_APART_STOPS:
        return Proof(Seen.OTHERWISE, off_stops, likeliest)
    if abs(off_stops) > WRONG_PLATE_STOPS and not request.tries:
        return Proof(Seen.OTHERWISE, off_stops, likeliest)
    agrees = earlier_off_stops is not None and abs(off_stops - earlier_off_stops) <= VERIFIED_STOPS / 2.0
    return Proof(Seen.AS_ASKED if agrees else Seen.LOOK_AGAIN, off_stops, likeliest)


def deny_burnt(outing: Outing, request: Request, assumed: tuple[str, ...], off_stops: float) -> Proof:
    """A burnt scout proves nothing: of the states that would be as bright the darkest is the likeliest."""
    assumed_stops = outing.kit.glass(assumed).stops
    states = {names: assumed_stops - outing.kit.glass(names).stops for names in _states(request)}
    bright = [names for names, brighter in states.items() if brighter >= off_stops - VERIFIED_STOPS]
    return Proof(Seen.OTHERWISE, off_stops, min(bright, key=states.__getitem__, default=assumed), is_burnt=True)


def complaint(assumed: tuple[str, ...], proof: Proof) -> str:
    """What is wrong, as far as the pixels tell."""
    still = [name for name in proof.likeliest if name not in assumed]
    missing = [name for name in assumed if name not in proof.likeliest]
    said = [f"{_names(still)} still on"] * bool(still) + [f"{_names(missing)} not on"] * bool(missing)
    off = f"{signed(proof.off_stops, 1)} stop{' or more' * proof.is_burnt}"
    if said:
        return f"{' and '.join(said)} ({off})"
    return f"the light is {off} from what these filters should let through"


def filter_off(more_stops: float) -> str:
    """What is worth telling of filters that take so much more than the bag says; nothing within 0.25 stop."""
    if abs(more_stops) <= ASK_BEYOND_STOPS:
        return ""
    way = "more" if more_stops > 0.0 else "less"
    return f"; they take {abs(more_stops):.1f} stop {way} than the bag says, or the light jumped: measure them once"


def _states(request: Request) -> Iterable[tuple[str, ...]]:
    """Every state between before and after: each filter asked for was moved, or not."""
    touched = (*request.remove, *request.fit)
    for count in range(len(touched) + 1):
        for undone in combinations(touched, count):
            off = [name for name in request.after.filters if name not in undone]
            yield (*off, *(name for name in request.remove if name in undone))


def _names(names: Sequence[str]) -> str:
    return " and ".join(f"the {name}" for name in names)
