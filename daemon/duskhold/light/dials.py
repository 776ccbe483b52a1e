"""The marked dials of a camera: rounded names on them, true powers of two behind them.

A dial that says "1/60" runs 1/64 s and one that says "30" runs 32 s. Full stops are every third of the
third-stop series, so a name is looked up among the thirds first, then among the halves. Values of the series:
times 2^(5 - i/3) and 2^(5 - i/2) s, apertures 2^(i/6) and 2^(i/4); ISO 100 x 2^(i/3) and 100 x 2^(i/2). Which
names are engraved is common practice, no source.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Final

_NAME_TOLERANCE = 0.01


class Step(Enum):
    """How finely a dial clicks."""

    FULL = 1
    HALF = 2
    THIRD = 3


class NotOnDial(ValueError):
    """No such mark on the dial.

    `text` is what was asked, `nearest` the marks next to it (empty when the text is no number at all).
    """

    def __init__(self, dial: str, text: str, nearest: tuple[str, ...]) -> None:
        near = f"; the nearest marks are {' and '.join(nearest)}" if nearest else ""
        super().__init__(f"{text!r} is not on the {dial} dial{near}")
        self.dial = dial
        self.text = text
        self.nearest = nearest


@dataclass(frozen=True, slots=True)
class Mark:
    """One click of a dial: the name engraved and the value the camera really uses (s, f-number or ISO)."""

    name: str
    true_value: float


@dataclass(frozen=True, slots=True)
class Dial:
    """All marks of one dial in its order, each series beginning on a full stop.

    `prefix` is what people write before a value, `suffixes` what they write behind it, in small letters;
    `other_names` are marks that some dials carry for the same clicks.
    """

    noun: str
    prefix: str
    suffixes: tuple[str, ...]
    thirds: tuple[Mark, ...]
    halves: tuple[Mark, ...]
    other_names: tuple[Mark, ...] = ()

    def marks(self, step: Step) -> tuple[Mark, ...]:
        """The marks of a dial that clicks in these steps."""
        match step:
            case Step.FULL:
                return self.thirds[::3]
            case Step.HALF:
                return self.halves
            case Step.THIRD:
                return self.thirds

    def true_value(self, text: str, step: Step = Step.THIRD) -> float:
        """The true value behind a marked name; "=0.2" gives the number as written.

        Names are first looked for on a dial of this step, then on the other. Errors: NotOnDial.
        """
        if text.strip().startswith("="):
            return self._number(text.strip()[1:], text)
        return self.find(text, step).true_value

    def find(self, text: str, step: Step = Step.THIRD) -> Mark:
        """The mark with this name. Errors: NotOnDial, with the nearest marks."""
        number = self._number(text, text)
        first, second = (self.halves, self.thirds) if step is Step.HALF else (self.thirds, self.halves)
        for mark in (*first, *second, *self.other_names):
            if abs(marked_number(mark.name) / number - 1.0) < _NAME_TOLERANCE:
                return mark
        raise NotOnDial(self.noun, text, self._around(number))

    def nearest(self, true_value: float, step: Step = Step.THIRD) -> Mark:
        """The mark nearest in stops to a true value (s, f-number or ISO; must be positive)."""
        return min(self.marks(step), key=lambda mark: abs(math.log2(mark.true_value / true_value)))

    def _number(self, text: str, asked: str) -> float:
        bare = text.strip().lower().removeprefix(self.prefix).removeprefix("/" if self.prefix == "f" else "")
        for suffix in self.suffixes:
            bare = bare.removesuffix(suffix)
        try:
            number = marked_number(bare.strip())
        except (ValueError, ZeroDivisionError, OverflowError):
            raise NotOnDial(self.noun, asked, ()) from None
        if not (math.isfinite(number) and number > 0.0):
            raise NotOnDial(self.noun, asked, ())
        return number

    def _around(self, number: float) -> tuple[str, ...]:
        ranked = sorted(self.thirds, key=lambda mark: abs(math.log2(marked_number(mark.name) / number)))
        return tuple(mark.name for mark in ranked[:2])


def marked_number(name: str) -> float:
    """The number that a mark shows, such as 0.25 for "1/4" and 11 for "f/11". Errors: ValueError."""
    above, _, below = name.removeprefix("f/").partition("/")
    return float(above) / (float(below) if below else 1.0)


def _marks(names: str, exponents: Callable[[int], float], prefix: str = "") -> tuple[Mark, ...]:
    return tuple(Mark(prefix + name, 2.0 ** exponents(i)) for i, name in enumerate(names.split()))


_TIME_THIRDS = (
    "30 25 20 15 13 10 8 6 5 4 3.2 2.5 2 1.6 1.3 1 0.8 0.6 0.5 0.4 0.3 1/4 1/5 1/6 1/8 1/10 1/13 1/15 1/20 1/25 "
    "1/30 1/40 1/50 1/60 1/80 1/100 1/125 1/160 1/200 1/250 1/320 1/400 1/500 1/640 1/800 1/1000 1/1250 1/1600 "
    "1/2000 1/2500 1/3200 1/4000 1/5000 1/6400 1/8000 1/10000 1/12800 1/16000"
)
_TIME_HALVES = (
    "30 20 15 10 8 6 4 3 2 1.5 1 0.7 0.5 0.3 1/4 1/6 1/8 1/10 1/15 1/20 1/30 1/45 1/60 1/90 1/125 1/180 1/250 "
    "1/350 1/500 1/750 1/1000 1/1500 1/2000 1/3000 1/4000 1/6000 1/8000"
)
_APERTURE_THIRDS = (
    "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22 25 29 32 36 40 "
    "45 51 57 64"
)
_APERTURE_HALVES = "1 1.2 1.4 1.7 2 2.4 2.8 3.3 4 4.8 5.6 6.7 8 9.5 11 13 16 19 22 27 32 38 45"
_ISO_THIRDS = (
    "25 32 40 50 64 80 100 125 160 200 250 320 400 500 640 800 1000 1250 1600 2000 2500 3200 4000 5000 6400 8000 "
    "10000 12800 16000 20000 25600 32000 40000 51200 64000 80000 102400"
)
_ISO_HALVES = "25 35 50 70 100 140 200 280 400 560 800 1100 1600 2200 3200 4500 6400 9000 12800 18000 25600"

SHUTTER: Final = Dial(
    "shutter",
    "",
    ('"', "″", "sec", "s"),
    _marks(_TIME_THIRDS, lambda i: 5 - i / 3),
    _marks(_TIME_HALVES, lambda i: 5 - i / 2),
    (Mark("1/1.3", 2 ** (-1 / 3)), Mark("1/1.6", 2 ** (-2 / 3)), Mark("1/3", 2 ** (-5 / 3))),
)
"""Shutter times in seconds, 30 to 1/16000."""
APERTURE: Final = Dial(
    "aperture",
    "f",
    (),
    _marks(_APERTURE_THIRDS, lambda i: i / 6, "f/"),
    _marks(_APERTURE_HALVES, lambda i: i / 4, "f/"),
)
"""F-numbers, f/1 to f/64."""
ISO: Final = Dial(
    "ISO",
    "iso",
    (),
    tuple(Mark(mark.name, 25.0 * mark.true_value) for mark in _marks(_ISO_THIRDS, lambda i: i / 3)),
    tuple(Mark(mark.name, 25.0 * mark.true_value) for mark in _marks(_ISO_HALVES, lambda i: i / 2)),
)
"""ISO speeds, 25 to 102400."""
