"""What the first minute of a probe in the developer tells: its lag, and when it was wetted.

A probe that comes from the bench or hangs in the tank's air until the developer reaches it settles along a curve whose shape is its
lag. For every pair of a lag and a moment of wetting the curve is a straight sum of unknowns (liquid, slope, transient, the probe's
own temperature), so that pair's likelihood follows from linear algebra (`likelihood`). Where the probe was warm through from the start
all lags are equally likely, and what was told stands. Tests: tests/core/development/test_settling.py, figures:
tests/benchmarks/bench_doubt.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.development.filter import AIR_LAG_S, TRANSIENT_S, probe_response
from monitor.core.development.likelihood import Sums, most_evidence

COARSE = tuple(4.0 ** (k / 4.0) for k in range(-4, 5))
FINE = tuple(4.0 ** (k / 32.0) for k in range(-8, 9))
"""Lags that are tried, as multiples of the lag that was told, then of the likeliest of these."""
LEAST_MOVE_C = 0.5
"""A probe that settles by less than this, apart from a straight drift, tells nothing of its lag (this project's own choice)."""
BEGINS_S, BEGINS_C = 10.0, 0.25
"""So long after it was wetted at the latest a probe that settles has moved by so much: else it had settled, and something else has
happened (this project's own choice)."""
HOPELESS_LOG = 10.0
"""Moments of wetting whose likelihood is exp(10) times smaller than that of the likeliest are not followed up."""
ROUNDING_LOG = 1.0
"""How far the computed logarithms may be off, by far, where one is left out because it cannot come near the likeliest."""
LONGEST_DRY_S = 15.0
DRY_AT_FIRST = 0.3
"""The probability that the probe is wetted later than its first reading, and how much later at most (common practice, no source: a tank
is filled in 10 to 20 s)."""
LIQUID_SD_C = 3.0
PROBE_SD_C = 10.0
AIR_SD_C = 8.0
"""Standard deviations of liquid, probe and air about the first readings, before anything else is known."""
LEAST_READINGS = 10
LEAST_LOG_SD = 0.03
"""Fewer readings tell nothing; a lag is never known better than this (the sheath is no exact first-order lag)."""
SHEATH = 0.003
"""By so much of the way, as a standard deviation, a sheath is no exact first-order lag, nor a wall an exact transient (tuned on this
project's own liquids)."""
SLOPE_SD_C_PER_S = 0.012
"""Of the liquid's slow slope: wide, so that a steep drift is not taken for a longer lag (tuned on this project's own liquids)."""
CALM_TRANSIENT_SD, WALL_TRANSIENT_SD = 0.001, 0.03
"""Standard deviation of the liquid's transient slope at the start, C/s: a liquid at rest, and one that meets a cold wall (1.8 C in all)."""
CALM_SDS = (LIQUID_SD_C, SLOPE_SD_C_PER_S, CALM_TRANSIENT_SD, PROBE_SD_C)
WALL_SDS = (LIQUID_SD_C, SLOPE_SD_C_PER_S, WALL_TRANSIENT_SD, PROBE_SD_C)
WORST_FIT = 3.0
"""The squares of what the curve leaves, in deviations, may be so much on average: with more, something else has happened (this project's
own choice)."""
AT_A_WALL = 0.3
"""The probability of the second."""


@dataclass(frozen=True, slots=True)
class Settled:
    """The lag, the standard deviation of its logarithm, when the probe was wetted (session seconds), whether that was later than the first
    of the readings, and how likely the liquid met a cold or warm wall."""

    lag_s: float
    lag_log_sd: float
    wet_t_s: float
    was_dry: bool
    at_a_wall: float


def settled(
    readings: Sequence[tuple[float, float]], lag_s: float, lag_log_sd: float, variance: float, poured_t_s: float | None = None
) -> Settled | None:
    """What these readings (t s, C; rising in time) of one probe tell. `lag_s`, `lag_log_sd`: the lag that was told and the standard
    deviation of its logarithm; `variance`: of one reading, C^2; `poured_t_s`: when the developer was poured in, where that lies among
    them (else about the first). None where there are too few, where they hardly move or only later, or where no
    settling comes near them."""
    move_c = _settles_by(readings) if len(readings) >= LEAST_READINGS else 0.0
    if move_c < LEAST_MOVE_C:
        return None
    variance += (SHEATH * move_c) ** 2
    since = readings[0][0] if poured_t_s is None else poured_t_s
    first = [(t, z) for t, z in readings if since <= t <= since + LONGEST_DRY_S + BEGINS_S]
    if len(first) >= LEAST_READINGS and _settles_by(first) < BEGINS_C:
        return None
    dry = [i for i, (t, _) in enumerate(readings[: -LEAST_READINGS // 2]) if i and since <= t <= since + LONGEST_DRY_S]
    priors = {0: math.log(1.0 - DRY_AT_FIRST)} | {i: _dry(readings[:i], variance) + math.log(DRY_AT_FIRST / len(dry)) for i in dry}

    def weigh(factor: float, onset: int) -> tuple[float, float]:
        log, wall = _wet(readings[onset:], factor * lag_s, variance)
        return priors[onset] + log - 0.5 * (math.log(factor) / lag_log_sd) ** 2, wall

    at_most = {i: prior + most_evidence(len(readings) - i, variance) for i, prior in priors.items()}
    coarse: dict[tuple[float, int], float] = {}
    for i in sorted(at_most, key=lambda i: -at_most[i]):
        if at_most[i] > max(coarse.values(), default=-math.inf) - HOPELESS_LOG - ROUNDING_LOG:
            coarse |= {(f, i): weigh(f, i)[0] for f in COARSE}
    top, likeliest = max((log, f) for (f, _), log in coarse.items())
    alive = {i for (_, i), log in coarse.items() if log > top - HOPELESS_LOG}
    fine = {(f * likeliest, i): weigh(f * likeliest, i) for f in FINE for i in alive}
    top, factor, onset = max((log, f, i) for (f, i), (log, _) in fine.items())
    best = _in_liquid(readings[onset:], factor * lag_s, variance)
    if min(best.misfit(CALM_SDS), best.misfit(WALL_SDS)) > WORST_FIT * (len(readings) - onset):
        return None
    weights = {option: math.exp(log - top) for option, (log, _) in fine.items()}
    whole = math.fsum(weights.values())
    mean = math.fsum(w * math.log(f) for (f, _), w in weights.items()) / whole
    var = math.fsum(w * (math.log(f) - mean) ** 2 for (f, _), w in weights.items()) / whole
    wet = max(alive, key=lambda i: math.fsum(w for (_, k), w in weights.items() if k == i))
    wall = math.fsum(w * fine[option][1] for option, w in weights.items()) / whole
    return Settled(lag_s * math.exp(mean), math.hypot(math.sqrt(var), LEAST_LOG_SD), readings[wet][0], wet > 0, wall)


def _settles_by(readings: Sequence[tuple[float, float]]) -> float:
    """How far any reading lies off the straight line through the means of the third and the last quarter, C."""
    n = len(readings)
    (t0, z0), (t1, z1) = (_middle(readings[n // 2 : n - n // 4]), _middle(readings[n - n // 4 :]))
    return max(abs(z - z0 - (z1 - z0) * (t - t0) / (t1 - t0)) for t, z in readings)


def _middle(readings: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return math.fsum(t for t, _ in readings) / len(readings), math.fsum(z for _, z in readings) / len(readings)


def _wet(readings: Sequence[tuple[float, float]], lag_s: float, variance: float) -> tuple[float, float]:
    """Logarithm of the likelihood of readings in the liquid from the first of them on, and the probability that it met a wall."""
    sums = _in_liquid(readings, lag_s, variance)
    calm, wall = sums.evidence(CALM_SDS), sums.evidence(WALL_SDS)
    top = max(calm, wall)
    at_rest, at_wall = (1.0 - AT_A_WALL) * math.exp(calm - top), AT_A_WALL * math.exp(wall - top)
    return top + math.log(at_rest + at_wall), at_wall / (at_rest + at_wall)


def _in_liquid(readings: Sequence[tuple[float, float]], lag_s: float, variance: float) -> Sums:
    """Readings in the liquid from the first of them on: liquid, slope, transient and the probe's own temperature."""
    t0, z0 = readings[0]
    since = [max(t - t0, 0.0) for t, _ in readings]
    probe, liquid, slope, transient = zip(*[probe_response(h, lag_s, math.exp(-h / TRANSIENT_S)) for h in since], strict=True)
    return Sums([liquid, slope, transient, probe], [z - z0 for _, z in readings], variance)


def _dry(readings: Sequence[tuple[float, float]], variance: float) -> float:
    """Logarithm of the likelihood of readings in air, where the probe relaxes slowly."""
    if not readings:
        return 0.0
    t0, z0 = readings[0]
    stays = [math.exp(-(t - t0) / AIR_LAG_S) for t, _ in readings]
    return Sums([stays, [1.0 - e for e in stays]], [z - z0 for _, z in readings], variance).evidence((PROBE_SD_C, AIR_SD_C))
