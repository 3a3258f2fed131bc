"""Sums over a temperature curve: seconds of development, the steady temperature that does as much, seconds below a level.

The curve is a broken line through nodes; every integral is a weighted sum of the nodes. Tests: tests/review/test_measures.py,
tests/review/test_outside.py.
"""

from __future__ import annotations

import numpy as np

from monitor.core.development.rate import RateLaw, rate
from monitor.review.smoother import Array


def weights(times: Array, from_s: float, to_s: float) -> Array:
    """Trapezoid weights (seconds) of the nodes for an integral over [from, to]; both ends are nodes."""
    inside = (times >= from_s - 1e-5) & (times <= to_s + 1e-5)
    made = np.zeros(len(times))
    where = np.flatnonzero(inside)
    if len(where) > 1:
        steps = np.diff(times[where])
        made[where[:-1]] += steps / 2.0
        made[where[1:]] += steps / 2.0
    return made


def mean_kinetic_temperature(law: RateLaw, mean_rate: float) -> float:
    """The steady temperature in C at which a law's rate is `mean_rate` (above 0); the reference for a law that is flat.

    For Arrhenius' law this is the mean kinetic temperature of USP <1079.2>. Halving, since every law rises with temperature.
    """
    low, high = 0.0, 60.0
    if rate(law, high) <= rate(law, low):
        return law.reference_c
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if rate(law, middle) < mean_rate else (low, middle)
    return 0.5 * (low + high)


def integral(law: RateLaw, celsius: Array, seconds: Array) -> tuple[float, Array, float]:
    """(sum of rate times seconds, its change per C at each node, its change for one standard deviation of the law)."""
    rates = np.array([rate(law, c) for c in celsius.tolist()])
    slopes = np.array([law.log_rate_slope(c) for c in celsius.tolist()])
    of_law = np.array([law.log_rate_sd_slope(c) for c in celsius.tolist()])
    return float(seconds @ rates), seconds * rates * slopes, float(seconds @ (rates * of_law))


def seconds_below(times: Array, celsius: Array, level_c: float) -> float:
    """Time for which the broken line through the nodes lies below a level."""
    low, high = np.minimum(celsius[:-1], celsius[1:]), np.maximum(celsius[:-1], celsius[1:])
    spread = high - low
    share = np.where(spread > 0, (level_c - low) / np.where(spread > 0, spread, 1.0), np.where(level_c > low, 1.0, 0.0))
    return float(np.diff(times) @ np.clip(share, 0.0, 1.0))
