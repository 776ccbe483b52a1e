"""When a computed time may be left to the body's own dial instead of being held."""

import math

from duskhold.light.dials import SHUTTER, Mark

DIAL_WITHIN_STOPS = 0.02
"""A dial time this near to the plan is as good as the plan; the body then closes by itself, whatever the lead does."""


def find_dial_time(open_s: float) -> Mark | None:
    """The mark of a third-stop or half-stop dial that runs `open_s`, or None; "30" runs 32 s.

    `open_s` is a positive number of seconds. A name that the two dials run differently is no answer: "20" is 20.2 s
    on one and 22.6 s on the other, and a body does not say which it has.
    """
    nearest = min(_UNMISTAKABLE, key=lambda mark: _off_stops(mark, open_s))
    return nearest if _off_stops(nearest, open_s) <= DIAL_WITHIN_STOPS else None


def _off_stops(mark: Mark, open_s: float) -> float:
    return abs(math.log2(open_s / mark.true_value))


def _unmistakable() -> tuple[Mark, ...]:
    marks = (*SHUTTER.thirds, *SHUTTER.halves)
    runs = {mark.name: [one.true_value for one in marks if one.name == mark.name] for mark in marks}
    return tuple(mark for mark in marks if max(runs[mark.name]) / min(runs[mark.name]) < 1.001)


_UNMISTAKABLE = _unmistakable()
