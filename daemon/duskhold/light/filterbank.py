"""A bank of Kalman filters over light readings: one for each guess at what the weather does, all in one step.

State, in stops and minutes: departure of the light from the sky's shape, its rate, its curvature, a cloud that wanders
about zero (Ornstein-Uhlenbeck), and a copy of the light at the moment of metering (the mark), to which everything is
compared. How likely each guess made the readings gives its weight.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

LEVEL, RATE, BEND, CLOUD, MARK = range(5)
_UNKNOWN_LEVEL_STOPS = 30.0
_SEEN: Final = np.array([1.0, 0.0, 0.0, 1.0, 0.0])
"""A reading sees level plus cloud."""


@dataclass(frozen=True, slots=True)
class Guess:
    """What the departure from the sky may do. Sigmas in stops, stops/min and stops/min^2.

    `rate_lasts_min` is how long a departing rate lasts before it has mostly gone (None: for ever); `wander` is the
    random walk of the rate, in stops per min per square root of a minute; the cloud changes within `cloud_min`.
    """

    prior: float
    rate_sigma: float
    bend_sigma: float = 0.0
    wander: float = 0.0
    cloud_stops: float = 0.0
    cloud_min: float = 1.0
    rate_lasts_min: float | None = None


class FilterBank:
    """The filters side by side. Feed it readings in order of time; `at_min` is the time it stands at."""

    def __init__(self, guesses: tuple[Guess, ...], from_min: float) -> None:
        self.guesses = guesses
        self.at_min = from_min
        count = len(guesses)
        self.mean: Numbers = np.zeros((count, 5))
        self.spread: Numbers = np.zeros((count, 5, 5))
        self.spread[:, LEVEL, LEVEL] = _UNKNOWN_LEVEL_STOPS**2
        self.spread[:, RATE, RATE] = [guess.rate_sigma**2 for guess in guesses]
        self.spread[:, BEND, BEND] = [guess.bend_sigma**2 for guess in guesses]
        self.spread[:, CLOUD, CLOUD] = [guess.cloud_stops**2 for guess in guesses]
        self.log_likelihood: Numbers = np.zeros(count)

    def advance(self, to_min: float) -> None:
        """Let time go by."""
        gone_min = to_min - self.at_min
        assert gone_min >= 0.0, "readings are fed in order of time"
        steps = transitions(self.guesses, gone_min)
        self.mean = (steps @ self.mean[:, :, None])[:, :, 0]
        self.spread = steps @ self.spread @ steps.transpose(0, 2, 1) + noises(self.guesses, gone_min)
        self.at_min = to_min

    def mark(self) -> None:
        """Remember the light as it is now."""
        copy = np.eye(5)
        copy[MARK] = _SEEN
        self.mean = self.mean @ copy.T
        self.spread = copy @ self.spread @ copy.T

    def expected(self) -> tuple[Numbers, Numbers]:
        """What each guess expects a reading to be now, and its variance without the reading's own."""
        return self.mean @ _SEEN, np.einsum("i,hij,j->h", _SEEN, self.spread, _SEEN)

    def learn(self, seen_stops: float, sigma_stops: float) -> None:
        """Take in a reading at this moment."""
        expected, variance = self.expected()
        total = variance + sigma_stops**2
        surprise = seen_stops - expected
        gain = (self.spread @ _SEEN) / total[:, None]
        keep = np.eye(5) - gain[:, :, None] * _SEEN
        self.mean = self.mean + gain * surprise[:, None]
        # Joseph's form stays positive where a level known to 30 stops becomes one known to a hundredth.
        own = gain[:, :, None] * gain[:, None, :] * sigma_stops**2
        self.spread = keep @ self.spread @ keep.transpose(0, 2, 1) + own
        self.log_likelihood = self.log_likelihood - 0.5 * (surprise**2 / total + np.log(total))

    def evidence(self) -> float:
        """Logarithm of how likely the readings were under all guesses together."""
        logs = self.log_likelihood + np.log([guess.prior for guess in self.guesses])
        return float(logs.max() + np.log(np.exp(logs - logs.max()).sum()))

    def weights(self) -> Numbers:
        """How much each guess counts, in all 1."""
        logs = self.log_likelihood + np.log([guess.prior for guess in self.guesses])
        shares = np.exp(logs - logs.max())
        return np.asarray(shares / shares.sum(), dtype=np.float64)


def transitions(guesses: tuple[Guess, ...], gone_min: float) -> Numbers:
    """How each state carries over a time."""
    steps = np.tile(np.eye(5), (len(guesses), 1, 1))
    for step, guess in zip(steps, guesses, strict=True):
        kept, reach = lasting(guess, gone_min)
        step[LEVEL, RATE], step[RATE, RATE] = reach, kept
        step[LEVEL, BEND], step[RATE, BEND] = gone_min**2 / 2.0, gone_min
        step[CLOUD, CLOUD] = math.exp(-gone_min / guess.cloud_min)
    return steps


def lasting(guess: Guess, gone_min: float) -> tuple[float, float]:
    """How much of a departing rate is left, and the stops that one unit of it has made."""
    if guess.rate_lasts_min is None:
        return 1.0, gone_min
    kept = math.exp(-gone_min / guess.rate_lasts_min)
    return kept, guess.rate_lasts_min * (1.0 - kept)


def noises(guesses: tuple[Guess, ...], gone_min: float) -> Numbers:
    """What a time adds to the covariance of each state."""
    added = np.zeros((len(guesses), 5, 5))
    for one, guess in zip(added, guesses, strict=True):
        (one[LEVEL, LEVEL], one[LEVEL, RATE], one[RATE, RATE]) = _walked(guess, gone_min)
        one[RATE, LEVEL] = one[LEVEL, RATE]
        one[CLOUD, CLOUD] = guess.cloud_stops**2 * -math.expm1(-2.0 * gone_min / guess.cloud_min)
    return added


def _walked(guess: Guess, gone_min: float) -> tuple[float, float, float]:
    """Covariances of level and rate that a rate walking at random makes, with or without a pull back to nothing."""
    walk, last, t = guess.wander**2, guess.rate_lasts_min, gone_min
    if last is None:
        return walk * t**3 / 3.0, walk * t**2 / 2.0, walk * t
    left = math.exp(-t / last)
    level = t - 2.0 * last * (1.0 - left) + last / 2.0 * (1.0 - left**2)
    return walk * last**2 * level, walk * last**2 / 2.0 * (1.0 - left) ** 2, walk * last / 2.0 * (1.0 - left**2)
