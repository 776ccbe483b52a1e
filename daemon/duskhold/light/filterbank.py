"""A bank of Kalman filters over light readings: one for each guess at what the weather does, all in one step.

State, in stops and minutes: departure of the light from the sky's shape, its rate, its curvature, a cloud that wanders
about zero (Ornstein-Uhlenbeck), and a copy of the light at the moment of metering (the mark), to which everything is
compared. How likely each guess made the readings gives its weight.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

LEVEL, RATE, BEND, CLOUD, MARK = range(5)
_UNKNOWN_LEVEL_STOPS = 30.0
_SEEN: Final = np.array([1.0, 0.0, 0.0, 1.0, 0.0])
"""A reading sees level plus cloud."""
_SAME: Final = np.eye(5)


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
        keep = _SAME - gain[:, :, None] * _SEEN
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
    ways = _ways(guesses)
    kept, reach = _lasting(ways, gone_min)
    steps = np.zeros((len(guesses), 5, 5))
    steps[:, range(5), range(5)] = 1.0
    steps[:, LEVEL, RATE], steps[:, RATE, RATE] = reach, kept
    steps[:, LEVEL, BEND], steps[:, RATE, BEND] = gone_min**2 / 2.0, gone_min
    steps[:, CLOUD, CLOUD] = np.exp(-gone_min / ways.cloud_min)
    return steps


def lasting(guess: Guess, gone_min: float) -> tuple[float, float]:
    """How much of a departing rate is left, and the stops that one unit of it has made."""
    if guess.rate_lasts_min is None:
        return 1.0, gone_min
    kept = math.exp(-gone_min / guess.rate_lasts_min)
    return kept, guess.rate_lasts_min * (1.0 - kept)


def noises(guesses: tuple[Guess, ...], gone_min: float) -> Numbers:
    """What a time adds to the covariance of each state."""
    ways = _ways(guesses)
    added = np.zeros((len(guesses), 5, 5))
    added[:, LEVEL, LEVEL], both, added[:, RATE, RATE] = _walked(ways, gone_min)
    added[:, RATE, LEVEL] = added[:, LEVEL, RATE] = both
    added[:, CLOUD, CLOUD] = ways.cloud_stops**2 * -np.expm1(-2.0 * gone_min / ways.cloud_min)
    return added


@dataclass(frozen=True, slots=True)
class _Ways:
    """Guesses side by side; a rate that lasts for ever has infinite minutes."""

    wander: Numbers
    lasts_min: Numbers
    for_ever: NDArray[np.bool_]
    cloud_stops: Numbers
    cloud_min: Numbers


@lru_cache(maxsize=64)
def _ways(guesses: tuple[Guess, ...]) -> _Ways:
    lasts = np.array([math.inf if one.rate_lasts_min is None else one.rate_lasts_min for one in guesses])
    return _Ways(
        np.array([one.wander for one in guesses]),
        np.where(np.isinf(lasts), 1.0, lasts),
        np.isinf(lasts),
        np.array([one.cloud_stops for one in guesses]),
        np.array([one.cloud_min for one in guesses]),
    )


def _lasting(ways: _Ways, gone_min: float) -> tuple[Numbers, Numbers]:
    lost = -np.expm1(-gone_min / ways.lasts_min)
    return np.where(ways.for_ever, 1.0, 1.0 - lost), np.where(ways.for_ever, gone_min, ways.lasts_min * lost)


def _walked(ways: _Ways, t: float) -> tuple[Numbers, Numbers, Numbers]:
    """Covariances of level and rate that a rate walking at random makes, with or without a pull back to nothing."""
    walk, last = ways.wander**2, ways.lasts_min
    left = np.exp(-t / last)
    level = last**2 * (t - 2.0 * last * (1.0 - left) + last / 2.0 * (1.0 - left**2))
    return (
        walk * np.where(ways.for_ever, t**3 / 3.0, level),
        walk * np.where(ways.for_ever, t**2 / 2.0, last**2 / 2.0 * (1.0 - left) ** 2),
        walk * np.where(ways.for_ever, t, last / 2.0 * (1.0 - left**2)),
    )
