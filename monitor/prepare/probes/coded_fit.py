"""Fits a curve to readings that come in steps: maximum likelihood for the step that was shown, not for its middle.

A probe with a 0.0625 C step and less noise than that does not scatter about the truth, it sticks; least squares on the
middles is then biased and its stated uncertainty wrong. Here each reading says only that the noisy value lay inside its
step (interval-censored normal; Fisher scoring with the expected information). With a step of 0 it is least squares.
Decides nothing about what the curve means; opens nothing. Pure Python: a fit of a thousand readings takes tens of
milliseconds, and no command has to load an array library. Tests: tests/prepare/probes/test_coded_fit.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

Matrix = list[list[float]]
Model = Callable[[Sequence[float]], tuple[list[float], Matrix]]
"""From parameters to the curve at every reading and its derivatives, one row a reading."""

STEPS_C = (0.5, 0.25, 0.125, 0.0625)
"""Steps of the usual probe at 9 to 12 bits (its data sheet)."""
NOISE_PRIOR_C, NOISE_PRIOR_LOG_SD = 0.03, 1.0
"""Prior of a probe's noise: it keeps the noise from vanishing when every reading shows the same step."""
QUIET_STEPS = 0.25
"""With noise below this many steps the likelihood is no longer bell-shaped."""
_SIGMA_C = (0.003, 1.0)
_BLOCK = 30
_ROOT_2, _ROOT_TWO_PI = math.sqrt(2.0), math.sqrt(2.0 * math.pi)
_FAR_OUTSIDE = 1e-280
"""Less probable than this, a reading counts as the nearer edge of its step: the probability itself would soon underflow."""


@dataclass(frozen=True, slots=True)
class CodedFit:
    """The parameters, their covariance (already widened where the residuals are not white), the noise of one reading, C."""

    parameters: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    sigma_c: float
    log_likelihood: float
    misfit: float
    """Variance of means of 30 residuals relative to white noise; 1 for the right curve."""
    weighted_rows: tuple[tuple[float, ...], ...]
    """Derivatives times information, one row per reading: for propagating another source of noise."""

    def sd(self, i: int) -> float:
        """Standard uncertainty of parameter `i`."""
        return math.sqrt(self.covariance[i][i])


def step_of(values: Sequence[float]) -> float:
    """The coarsest of `STEPS_C` of which every value is a multiple; 0 if there is no such step."""
    for step in STEPS_C:
        if all(abs(v / step - round(v / step)) < 1e-6 for v in values):
            return step
    return 0.0


def inverse(matrix: Sequence[Sequence[float]]) -> Matrix:
    """Inverse of a small square matrix by elimination with pivots. Raises `ArithmeticError` for a singular one."""
    n = len(matrix)
    rows = [[*map(float, row), *(1.0 if j == i else 0.0 for j in range(n))] for i, row in enumerate(matrix)]
    for i in range(n):
        best = max(range(i, n), key=lambda k: abs(rows[k][i]))
        rows[i], rows[best] = rows[best], rows[i]
        pivot = rows[i][i]
        if not abs(pivot) > 1e-300:
            raise ArithmeticError("the readings do not determine the curve")
        rows[i] = [v / pivot for v in rows[i]]
        for k in range(n):
            if k != i and rows[k][i] != 0.0:
                factor = rows[k][i]
                rows[k] = [a - factor * b for a, b in zip(rows[k], rows[i], strict=True)]
    return [row[n:] for row in rows]


def times(matrix: Sequence[Sequence[float]], vector: Sequence[float]) -> list[float]:
    """Matrix times vector."""
    return [math.fsum(a * b for a, b in zip(row, vector, strict=True)) for row in matrix]


def _density(z: float) -> float:
    return math.exp(-0.5 * z * z) / _ROOT_TWO_PI if abs(z) < 38.0 else 0.0


def _between(a: float, b: float) -> float:
    """Normal probability from a to b, exact in both tails."""
    if a > 0.0:
        return 0.5 * (math.erfc(a / _ROOT_2) - math.erfc(b / _ROOT_2))
    return 0.5 * (math.erfc(-b / _ROOT_2) - math.erfc(-a / _ROOT_2))


def _score(residual: float, sigma: float, step: float) -> float:
    """d log likelihood / d mean of one reading whose shown value lies `residual` above the curve."""
    if step == 0.0:
        return residual / (sigma * sigma)
    a, b = (residual - 0.5 * step) / sigma, (residual + 0.5 * step) / sigma
    p = _between(a, b)
    if p < _FAR_OUTSIDE:
        return (a if residual > 0 else b) / sigma
    return (_density(a) - _density(b)) / (sigma * p)


def _log_likelihood(residual: float, sigma: float, step: float) -> float:
    """Of one reading whose shown value lies `residual` above the curve; several thousand of them make one fit."""
    if step == 0.0:
        return -0.5 * (residual / sigma) ** 2 - math.log(sigma)
    a, b = (residual - 0.5 * step) / sigma, (residual + 0.5 * step) / sigma
    p = _between(a, b)
    if p < _FAR_OUTSIDE:
        edge = a if residual > 0 else b
        return -0.5 * edge * edge - math.log(abs(edge)) - 1.0
    return math.log(p)


def _information_table(sigma: float, step: float, cells: int = 32) -> list[float]:
    """Expected information about the mean from one reading, for means at `cells` positions between two steps."""
    if step == 0.0:
        return [1.0 / (sigma * sigma)] * cells
    reach = 2 + math.ceil(5.0 * sigma / step)
    table = []
    for cell in range(cells):
        mean, total = (cell + 0.5) / cells * step, 0.0
        for code in range(-reach, reach + 1):
            a, b = (code * step - 0.5 * step - mean) / sigma, (code * step + 0.5 * step - mean) / sigma
            p = _between(a, b)
            if p > 1e-12:
                total += (_density(a) - _density(b)) ** 2 / p
        table.append(max(total / (sigma * sigma), 1e-3 / (step * step)))
    return table


def _best_sigma(residuals: Sequence[float], step: float, freedom: float) -> float:
    """The most likely noise given the residuals and the prior; `freedom`: degrees of freedom left, per reading."""
    some = residuals[:: 1 + len(residuals) // 250]
    weight = len(residuals) / len(some)

    def objective(log_sigma: float) -> float:
        sigma = math.exp(log_sigma)
        prior = -0.5 * ((log_sigma - math.log(NOISE_PRIOR_C)) / NOISE_PRIOR_LOG_SD) ** 2
        return weight * math.fsum(_log_likelihood(r, sigma, step) for r in some) + prior

    low, high = math.log(_SIGMA_C[0]), math.log(_SIGMA_C[1])
    golden = 0.5 * (math.sqrt(5.0) - 1.0)
    c, d = high - golden * (high - low), low + golden * (high - low)
    at_c, at_d = objective(c), objective(d)
    for _ in range(12):
        if at_c > at_d:
            high, d, at_d = d, c, at_c
            c = high - golden * (high - low)
            at_c = objective(c)
        else:
            low, c, at_c = c, d, at_d
            d = low + golden * (high - low)
            at_d = objective(d)
    return math.exp(0.5 * (low + high)) / math.sqrt(freedom)


def fit_codes(
    model: Model,
    start: Sequence[float],
    codes: Sequence[float],
    step_c: float,
    priors: Sequence[tuple[float, float] | None] = (),
    rounds: int = 30,
) -> CodedFit:
    """Fit `model` to the shown values `codes`, which come in steps of `step_c` (0: no steps).

    `priors`: (mean, sd) of each parameter, None if nothing is known. Raises `ArithmeticError` if the readings do not
    determine the curve.
    """
    believed = [*priors, *([None] * (len(start) - len(priors)))]
    theta = [float(v) for v in start]
    freedom = max(0.2, 1.0 - len(start) / len(codes))
    curve, rows = model(theta)
    sigma = _best_sigma([y - m for y, m in zip(codes, curve, strict=True)], step_c, freedom)
    table = _information_table(sigma, step_c)

    def climb(values: Sequence[float], at: Sequence[float]) -> float:
        prior = math.fsum(-0.5 * ((t - b[0]) / b[1]) ** 2 for t, b in zip(at, believed, strict=True) if b is not None)
        return math.fsum(_log_likelihood(y - m, sigma, step_c) for y, m in zip(codes, values, strict=True)) + prior

    height = climb(curve, theta)
    covariance: Matrix = []
    for turn in range(rounds):
        scores, weights = _scores(codes, curve, sigma, step_c, table)
        gradient, information = _normal_equations(rows, scores, weights, theta, believed)
        covariance = inverse(information)
        step = times(covariance, gradient)
        scale, moved = 1.0, False
        for _ in range(8):
            trial = [t + scale * s for t, s in zip(theta, step, strict=True)]
            trial_curve, trial_rows = model(trial)
            trial_height = climb(trial_curve, trial)
            if trial_height >= height - 1e-9:
                theta, curve, rows, height, moved = trial, trial_curve, trial_rows, trial_height, True
                break
            scale *= 0.4
        settled = not moved or all(abs(scale * s) < 0.02 * math.sqrt(covariance[i][i]) for i, s in enumerate(step))
        if settled and turn > 0:
            break
        if turn in (0, 1, 3, 6, 12):
            sigma = _best_sigma([y - m for y, m in zip(codes, curve, strict=True)], step_c, freedom)
            table = _information_table(sigma, step_c)
            height = climb(curve, theta)
    scores, weights = _scores(codes, curve, sigma, step_c, table)
    _, information = _normal_equations(rows, scores, weights, theta, believed)
    covariance = inverse(information)
    misfit, widen = _whiteness(scores, weights)
    weighted = tuple(tuple(w * d for d in row) for w, row in zip(weights, rows, strict=True))
    return CodedFit(tuple(theta), tuple(tuple(widen * v for v in row) for row in covariance), sigma, height, misfit, weighted)


def _scores(
    codes: Sequence[float], curve: Sequence[float], sigma: float, step: float, table: Sequence[float]
) -> tuple[list[float], list[float]]:
    """Slope of the likelihood and expected information at each reading."""
    scores = [_score(y - m, sigma, step) for y, m in zip(codes, curve, strict=True)]
    if step == 0.0:
        return scores, [table[0]] * len(scores)
    cells = len(table)
    return scores, [table[int((m / step) % 1.0 * cells) % cells] for m in curve]


def _normal_equations(
    rows: Matrix, scores: Sequence[float], weights: Sequence[float], theta: Sequence[float], believed: Sequence[tuple[float, float] | None]
) -> tuple[list[float], Matrix]:
    """Gradient and information, priors included."""
    n = len(theta)
    columns = list(zip(*rows, strict=True))
    gradient = [math.fsum(s * d for s, d in zip(scores, columns[j], strict=True)) for j in range(n)]
    information = [[0.0] * n for _ in range(n)]
    for j in range(n):
        weighted = [w * d for w, d in zip(weights, columns[j], strict=True)]
        for k in range(j + 1):
            information[j][k] = information[k][j] = math.fsum(a * b for a, b in zip(weighted, columns[k], strict=True))
    for j, prior in enumerate(believed):
        if prior is not None:
            gradient[j] += (prior[0] - theta[j]) / prior[1] ** 2
            information[j][j] += 1.0 / prior[1] ** 2
    return gradient, information


def _whiteness(scores: Sequence[float], weights: Sequence[float]) -> tuple[float, float]:
    """(misfit, factor on the covariance): blocks of 30 residuals should scatter like white noise; 1 unless they clearly do not."""
    blocks = len(scores) // _BLOCK
    if blocks < 2:
        return 1.0, 1.0
    total = 0.0
    for b in range(blocks):
        part = slice(b * _BLOCK, (b + 1) * _BLOCK)
        total += math.fsum(scores[part]) ** 2 / math.fsum(weights[part])
    misfit = total / blocks
    return misfit, misfit if misfit > 1.0 + 3.0 * math.sqrt(2.0 / blocks) else 1.0


def straight_line_posterior(
    ages_s: Sequence[float], codes: Sequence[float], step_c: float, fit: CodedFit, ahead_s: float, slope_sd: float
) -> tuple[float, float]:
    """Mean and standard deviation of level + slope x `ahead_s` of a straight line, over its whole likelihood, not only its peak.

    For probes quieter than a step: their likelihood is a plateau with steep sides, whose width no curvature shows.
    It is summed over the noise, too.
    `fit` is the line's fit (level at age 0, slope); `slope_sd` that of the slope before any reading.
    """
    some = range(0, len(codes), 1 + len(codes) // 45)
    share = len(codes) / len(some)
    span_s = max(ages_s) - min(ages_s)
    half_level = max(3.0 * fit.sd(0), 0.75 * step_c)
    half_slope = min(max(3.0 * fit.sd(1), 1.5 * step_c / span_s), 3.0 * slope_sd)
    heights: list[tuple[float, float]] = []
    for sigma in (1.3 * fit.sigma_c, 0.7 * fit.sigma_c, 0.35 * fit.sigma_c, 0.17 * fit.sigma_c):
        for i in range(-10, 11):
            level = fit.parameters[0] + half_level * i / 10.0
            for j in range(-7, 8):
                slope = fit.parameters[1] + half_slope * j / 7.0
                height = share * math.fsum(_log_likelihood(codes[k] - level - slope * ages_s[k], sigma, step_c) for k in some)
                heights.append((height - 0.5 * (slope / slope_sd) ** 2, level + slope * ahead_s))
    top = max(height for height, _ in heights)
    weights = [math.exp(height - top) for height, _ in heights]
    total = math.fsum(weights)
    mean = math.fsum(w * v for w, (_, v) in zip(weights, heights, strict=True)) / total
    variance = math.fsum(w * (v - mean) ** 2 for w, (_, v) in zip(weights, heights, strict=True)) / total
    return mean, math.sqrt(variance + (half_level / 10.0) ** 2 / 12.0)
