"""Bath or room that a vessel follows: level and slope from noisy readings, steps, silence."""

from __future__ import annotations

import random

import numpy as np
import pytest

from monitor.core.development.ambient import Ambient

NOISE = 0.03**2


def heard(values: list[float], every_s: float = 1.0) -> Ambient:
    """These readings from 0 s on."""
    ambient = Ambient()
    for i, value in enumerate(values):
        ambient.read("bowl", i * every_s, value, NOISE)
    return ambient


def test_level_and_slope_are_those_of_the_textbooks_kalman_filter() -> None:
    """In matrices by numpy, with the noise of a slope that wanders (3e-8 (C/s)^2 a second, van Loan's integral by scipy), to 1e-9."""
    from scipy.linalg import expm

    rng = random.Random(1)
    ambient = Ambient()
    seen = np.array([[1.0, 0.0]])
    a, spectral = np.array([[0.0, 1.0], [0.0, 0.0]]), np.diag([0.0, 3e-8])
    t = 0.0
    for i in range(200):
        value = 20.0 - 0.003 * t + rng.gauss(0.0, 0.03)
        h = rng.uniform(0.5, 3.0) if i else 0.0
        t += h
        ambient.read("bowl", t, value, NOISE)
        if i == 0:
            x, p = np.array([[value], [0.0]]), np.diag([NOISE, 0.004**2])
            continue
        both = expm(np.block([[-a, spectral], [np.zeros((2, 2)), a.T]]) * h)
        step, noise = both[2:, 2:].T, both[2:, 2:].T @ both[:2, 2:]
        x, p = step @ x, step @ p @ step.T + noise
        gain = p @ seen.T @ np.linalg.inv(seen @ p @ seen.T + NOISE)
        x, p = x + gain @ (value - seen @ x), (np.eye(2) - gain @ seen) @ p
        assert (ambient.level, ambient.slope) == pytest.approx(tuple(x.ravel()), abs=1e-9)


def test_a_step_of_the_bath_is_taken_up_at_the_third_reading() -> None:
    """Hot water: two readings 3 C off may be wrong ones, the third is the bath."""
    before = [20.0] * 100
    assert heard([*before, 23.0, 23.0]).level == pytest.approx(20.0, abs=0.01)
    stepped = heard([*before, 23.0, 23.0, 23.0])
    assert (stepped.level, stepped.slope) == (23.0, 0.0)


def test_odd_readings_that_do_not_follow_each_other_are_no_step() -> None:
    """One good one between them and they count afresh."""
    assert heard([20.0] * 100 + [23.0, 23.0, 20.0] * 5 + [23.0, 23.0]).level == pytest.approx(20.0, abs=0.01)


def test_five_deviations_are_no_step() -> None:
    """A lasting difference of 0.12 C, four deviations of a reading, is a drift that the filter follows."""
    assert 20.02 < heard([20.0] * 100 + [20.12] * 3).level < 20.12


def test_a_slope_is_clamped() -> None:
    """Rising by 3 C a minute the bath still has a slope of 1 C a minute at most."""
    assert heard([20.0 + 0.05 * i for i in range(60)]).slope <= 1.0 / 60.0


def test_without_readings_the_slope_goes_on_until_it_has_made_a_degree_and_a_half() -> None:
    """Then the level stays."""
    ambient = heard([20.0 - 0.004 * i for i in range(300)])
    assert ambient.at(399.0)[0] == pytest.approx(20.0 - 0.004 * 399.0, abs=0.05)
    assert ambient.at(9e4)[0] == pytest.approx(ambient.level - 1.5)


def test_an_older_reading_is_ignored_and_another_probe_starts_anew() -> None:
    """Time never goes back; what one probe said says nothing of what another one will."""
    ambient = heard([20.0] * 10)
    level = ambient.level
    ambient.read("bowl", 9.0, 20.05, NOISE)
    ambient.read("bowl", 3.0, 20.05, NOISE)
    assert ambient.level == level
    ambient.read("sink", 9.5, 25.0, NOISE)
    assert (ambient.level, ambient.slope, ambient.probe) == (25.0, 0.0, "sink")


def test_a_copy_is_independent() -> None:
    """What one hears the other does not."""
    ambient = heard([20.0 - 0.004 * i for i in range(100)])
    other = ambient.copy()
    assert other.at(200.0) == ambient.at(200.0)
    other.read("bowl", 150.0, 19.35, NOISE)
    assert other.at(200.0) != ambient.at(200.0)
