"""Fits to readings that come in steps are unbiased, say how sure they are, and notice a wrong curve."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

import pytest

from monitor.prepare.probes.coded_fit import Matrix, Model, fit_codes, inverse, step_of, times
from tests.prepare.probes.water import shown


def line(n: int) -> tuple[list[float], Model]:
    """Ages about 0 and the model of a straight line over them."""
    ages = [i - 0.5 * (n - 1) for i in range(n)]

    def model(theta: Sequence[float]) -> tuple[list[float], Matrix]:
        return [theta[0] + theta[1] * a for a in ages], [[1.0, a] for a in ages]

    return ages, model


def test_the_step_of_a_probe_is_found_from_what_it_shows() -> None:
    """The coarsest that fits; none for values that are not of a usual probe."""
    assert step_of([20.0, 20.0625, 19.9375]) == 0.0625
    assert step_of([20.0, 20.5]) == 0.5
    assert step_of([20.0, 20.1]) == 0.0


def test_a_small_matrix_times_its_inverse_is_one_and_a_singular_one_is_refused() -> None:
    """The solver under every fit."""
    matrix = [[4.0, 1.0, 0.5], [1.0, 3.0, 0.2], [0.5, 0.2, 0.01]]
    back = inverse(matrix)
    for i in range(3):
        assert times(matrix, [row[i] for row in back]) == pytest.approx([1.0 if j == i else 0.0 for j in range(3)], abs=1e-9)
    with pytest.raises(ArithmeticError):
        inverse([[1.0, 2.0], [2.0, 4.0]])


def test_without_steps_it_is_least_squares() -> None:
    """Two points' worth of arithmetic by hand: the slope of 0, 1, 2, 5 over 0 to 3 is 1.6 and the middle 2."""
    _, model = line(4)
    fit = fit_codes(model, [0.0, 0.0], [0.0, 1.0, 2.0, 5.0], 0.0)
    assert fit.parameters == pytest.approx((2.0, 1.6), abs=1e-6)


@pytest.mark.parametrize("noise_c", [0.02, 0.06])
def test_a_level_read_in_steps_is_unbiased_and_its_uncertainty_is_honest(noise_c: float) -> None:
    """80 levels anywhere between two steps: bias below a twentieth of a step, 2 sd hold in 88 to 99 per cent."""
    _, model = line(120)
    errors, inside = [], 0
    for k in range(80):
        rng = random.Random(k)
        level = 20.0 + rng.random()
        fit = fit_codes(model, [20.5, 0.0], shown([level] * 120, rng, noise_c), 0.0625, [None, (0.0, 0.002)])
        errors.append(fit.parameters[0] - level)
        inside += abs(errors[-1]) < 2.0 * fit.sd(0)
        assert fit.sigma_c == pytest.approx(noise_c, rel=0.35)
    assert abs(sum(errors) / 80) < 0.003
    assert 71 <= inside <= 79


def test_a_wrong_curve_widens_the_uncertainty() -> None:
    """A sine read as a straight line: the misfit is large and the stated sd grows with it."""
    ages, model = line(300)
    rng = random.Random(1)
    wave = [20.0 + 0.3 * math.sin(a / 40.0) for a in ages]
    right = fit_codes(model, [20.0, 0.0], shown([20.0] * 300, rng), 0.0625)
    wrong = fit_codes(model, [20.0, 0.0], shown(wave, rng), 0.0625)
    assert right.misfit < 3.0
    assert wrong.misfit > 10.0
    assert wrong.sd(0) > 3.0 * wrong.sigma_c / math.sqrt(300)
