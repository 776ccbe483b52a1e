"""The Kalman filters against brute force: the same prior as one covariance matrix, solved by least squares at once."""

import math
import random

import numpy as np
import pytest

from duskhold.light.filterbank import FilterBank, Guess, Numbers

UNKNOWN = 30.0**2


def reach(guess: Guess, at_min: float) -> float:
    last = guess.rate_lasts_min
    return at_min if last is None else last * (1.0 - math.exp(-at_min / last))


def covariance(guess: Guess, first_min: float, one_min: float, other_min: float) -> float:
    """Prior covariance of the light at two moments, straight from the definition of the processes."""
    s, t = sorted((one_min - first_min, other_min - first_min))
    straight = guess.rate_sigma**2 * reach(guess, s) * reach(guess, t)
    bent = guess.bend_sigma**2 * (s * s / 2.0) * (t * t / 2.0)
    # A rate that walks at random: integral of a Brownian motion, covariance s^2 (3 t - s) / 6
    walked = guess.wander**2 * s * s * (3.0 * t - s) / 6.0
    cloud = guess.cloud_stops**2 * math.exp(-(t - s) / guess.cloud_min)
    return UNKNOWN + straight + bent + walked + cloud


def matrix(guess: Guess, rows_min: list[float], columns_min: list[float], first_min: float) -> Numbers:
    return np.array([[covariance(guess, first_min, a, b) for b in columns_min] for a in rows_min])


def random_guess(chance: random.Random) -> Guess:
    lasts = chance.choice([None, 30.0])
    wander = chance.choice([0.0, 0.05]) if lasts is None else 0.0
    bend = chance.choice([0.0, 0.004]) if lasts is None else 0.0
    return Guess(
        1.0, chance.choice([0.02, 0.5]), bend, wander, chance.choice([0.0, 0.4]), chance.uniform(0.5, 8), lasts
    )


def test_two_hundred_evenings_by_least_squares() -> None:
    chance = random.Random(41)
    for _ in range(200):
        guess = random_guess(chance)
        times = sorted(chance.uniform(-20.0, 5.0) for _ in range(chance.randint(2, 9)))
        seen = [chance.gauss(0.0, 1.0) for _ in times]
        sigmas = [chance.uniform(0.005, 0.1) for _ in times]
        mark_at = chance.randint(0, len(times) - 1)
        ahead_min = times[-1] + chance.uniform(0.0, 6.0)

        bank = FilterBank((guess,), times[0])
        for index, (at_min, stops, sigma) in enumerate(zip(times, seen, sigmas, strict=True)):
            bank.advance(at_min)
            bank.learn(stops, sigma)
            if index == mark_at:
                bank.mark()
        bank.advance(ahead_min)
        row = np.array([1.0, 0.0, 0.0, 1.0, -1.0])
        found, spread = float(bank.mean[0] @ row), float(row @ bank.spread[0] @ row)

        asked = [ahead_min, times[mark_at]]
        known = matrix(guess, times, times, times[0]) + np.diag(np.square(sigmas))
        cross = matrix(guess, asked, times, times[0])
        mean = cross @ np.linalg.solve(known, np.array(seen))
        left = matrix(guess, asked, asked, times[0]) - cross @ np.linalg.solve(known, cross.T)
        assert found == pytest.approx(mean[0] - mean[1], abs=1e-6)
        assert spread == pytest.approx(left[0, 0] + left[1, 1] - 2 * left[0, 1], rel=1e-5, abs=1e-7)
        log_likelihood = -0.5 * (np.array(seen) @ np.linalg.solve(known, seen) + np.linalg.slogdet(known)[1])
        assert bank.log_likelihood[0] == pytest.approx(log_likelihood, rel=1e-5, abs=1e-5)


def test_weights_go_to_the_guess_that_fits() -> None:
    steady, cloudy = Guess(0.5, 0.02), Guess(0.5, 0.02, 0.0, 0.0, 0.5, 1.0)
    bank = FilterBank((steady, cloudy), 0.0)
    for minute, stops in enumerate((0.0, 0.6, -0.4, 0.3, -0.7)):
        bank.advance(float(minute))
        bank.learn(stops, 0.02)
    assert bank.weights()[1] > 0.999
    assert bank.weights().sum() == pytest.approx(1.0)
