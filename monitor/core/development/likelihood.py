"""How likely readings are under an explanation whose unknown sizes enter straight: linear algebra, used to weigh explanations.

Values are a sum of columns, each times an unknown, and noise; the unknowns are normal about 0. Then the likelihood of the values is
known in closed form (C. M. Bishop, Pattern Recognition and Machine Learning (2006), section 3.5: from memory). Sums are `fsum`, so
that every Python gives the same bits. Tests: tests/core/development/test_likelihood.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import mul


def sum_log(logs: Sequence[float]) -> float:
    """The logarithm of the sum of what these are the logarithms of."""
    top = max(logs)
    return top + math.log(math.fsum(math.exp(log - top) for log in logs))


def most_evidence(count: int, variance: float) -> float:
    """No `count` values are likelier than this (a logarithm) under any columns: a curve that meets them all, with nothing unknown."""
    return -0.5 * count * math.log(2.0 * math.pi * variance)


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return math.fsum(map(mul, a, b))


class Sums:
    """Values that are a sum of columns, each times an unknown, and noise of `variance`."""

    def __init__(self, columns: Sequence[Sequence[float]], values: Sequence[float], variance: float) -> None:
        self._columns, self._values, self._variance = columns, values, variance
        self._squares = [[_dot(a, b) / variance for b in columns[: i + 1]] for i, a in enumerate(columns)]
        self._right = [_dot(a, values) / variance for a in columns]
        self._squared = _dot(values, values) / variance
        self._norm = len(values) * math.log(2.0 * math.pi * variance)

    def and_one_more(self, column: Sequence[float], values: Sequence[float] | None = None) -> Sums:
        """The same columns with this one behind them, for the same values (or for as many others). What the columns have in common is
        not computed again."""
        other = object.__new__(Sums)
        other._columns, other._variance = [*self._columns, column], self._variance
        other._squares = [*self._squares, [_dot(column, b) / self._variance for b in other._columns]]
        if values is None:
            other._values, other._squared = self._values, self._squared
            other._right = [*self._right, _dot(column, self._values) / self._variance]
        else:
            other._values, other._squared = values, _dot(values, values) / self._variance
            other._right = [_dot(a, values) / self._variance for a in other._columns]
        other._norm = self._norm
        return other

    def evidence(self, sds: Sequence[float]) -> float:
        """Logarithm of the likelihood of the values, the unknowns normal about 0 with these standard deviations."""
        lower, solved = self._factor(sds)
        log_det = math.fsum(2.0 * math.log(row[i] * sd) for i, (row, sd) in enumerate(zip(lower, sds, strict=True)))
        return -0.5 * (self._squared - math.fsum(v * v for v in solved) + self._norm + log_det)

    def misfit(self, sds: Sequence[float]) -> float:
        """The sum of squares, in standard deviations, that the likeliest unknowns leave (of values and unknowns together)."""
        return self._squared - math.fsum(v * v for v in self._factor(sds)[1])

    def last(self, sds: Sequence[float]) -> tuple[float, float]:
        """The last unknown: mean and standard deviation after the values."""
        lower, solved = self._factor(sds)
        return solved[-1] / lower[-1][-1], 1.0 / lower[-1][-1]

    def _factor(self, sds: Sequence[float]) -> tuple[list[list[float]], list[float]]:
        """Cholesky's lower triangle of the unknowns' inverse covariance, and the right side solved with it."""
        lower = [[0.0] * len(sds) for _ in sds]
        solved = [0.0] * len(sds)
        for i, sd in enumerate(sds):
            for j in range(i + 1):
                rest = self._squares[i][j] - _dot(lower[i][:j], lower[j])
                lower[i][j] = math.sqrt(rest + 1.0 / (sd * sd)) if i == j else rest / lower[j][j]
            solved[i] = (self._right[i] - _dot(lower[i][:i], solved)) / lower[i][i]
        return lower, solved
