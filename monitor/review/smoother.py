"""What the liquid's temperature was, known afterwards: forward and backward over all readings of one stage.

Independent of the live filter: own model, own choice of its liveliness, no knowledge of later decisions. The state is the
liquid's temperature T, its slope, and the temperature of each probe, which follows T with its first-order lag (exact for a
straight T). Forward it is a Kalman filter, backward the smoother of Rauch, Tung and Striebel (AIAA Journal 3 (1965) 1445).
Where no probe was believed the live estimate goes in, weakly. Which of three levels of liveliness fits is decided by the
likelihood of the readings. numpy only. Tests: tests/review/test_smoother.py (also against an independent implementation).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEVELS: tuple[tuple[float, float], ...] = ((3e-4, 1e-5), (3e-3, 1e-4), (2e-2, 5e-4))
"""Liveliness: sd of T in C per root second, of its slope in C/s per root second. A covered bath, a stirred tray, hot water poured in."""
SLOPE_SD_C_PER_S = 0.004
"""What a slope may be before anything is known: 0.24 C/min, a small bowl in a cold room (the project's practice text)."""
START_SD_C = 3.0
STEP_C = 0.0625
"""Least step of a probe's register at 12 bits (data sheet of the usual probe)."""
NOISE_RANGE_C = (STEP_C / math.sqrt(12.0), 0.3)
TRIMMED = 0.7588
"""Variance of a normal distribution without its outer twentieth, over the whole: 1 - 2 z f(z) / 0.95 with z = 1.96, f its density."""
NO_LAG_S = 0.3
"""A shorter lag is no lag."""
LIVE_CORRELATION_S = 60.0
"""The live estimates of a stretch share their error; so many seconds of them are worth one measurement."""
LOST_S = 5.0
"""After a longer silence a probe may have been anywhere: its own temperature is as unknown as at the start."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One number about the liquid: `channel` of the probe, or -1 for T itself. `sd_c`: its random part."""

    t_s: float
    celsius: float
    sd_c: float
    channel: int


@dataclass(frozen=True, slots=True)
class Smoothed:
    """T at nodes `t_s` (rising): `celsius`, its random standard deviation, and what is needed for the variance of a sum."""

    t_s: Array
    celsius: Array
    sd_c: Array
    gains: Array
    covariances: Array
    level: int
    log_likelihood: float

    def sd_of_sum(self, weights: Array) -> float:
        """Random standard deviation of sum(weights * T): the smoothed errors of all nodes belong together.

        Cov(x_k, x_m | all) = J_k ... J_(m-1) P_m, summed from the back.
        """
        n = self.covariances.shape[1]
        carried, variance = np.zeros(n), 0.0
        for k in range(len(self.t_s) - 1, -1, -1):
            if k < len(self.t_s) - 1:
                ahead = self.covariances[k + 1][:, 0] * weights[k + 1] + carried
                carried = self.gains[k] @ ahead
            variance += weights[k] ** 2 * self.covariances[k][0, 0] + 2.0 * weights[k] * carried[0]
        return math.sqrt(max(variance, 0.0))


def noise_sd(values: Array) -> float:
    """Random noise of one probe in C, from second differences of its readings (a straight drift leaves none); the largest
    twentieth is left out, for real steps. Never below the register's own step."""
    if len(values) < 8:
        return NOISE_RANGE_C[0]
    squares = np.sort(np.diff(values, 2) ** 2)
    kept = squares[: max(4, int(0.95 * len(squares)))]
    return float(min(max(math.sqrt(float(kept.mean()) / TRIMMED / 6.0), NOISE_RANGE_C[0]), NOISE_RANGE_C[1]))


def transition(step_s: float, lags_s: Sequence[float], level: tuple[float, float]) -> tuple[Array, Array]:
    """Matrix and noise of one step of `step_s` seconds for the state (T, slope, probes...)."""
    n = 2 + len(lags_s)
    matrix = np.zeros((n, n))
    matrix[0, 0] = matrix[1, 1] = 1.0
    matrix[0, 1] = step_s
    noise = np.zeros((n, n))
    walk, bend = level[0] ** 2, level[1] ** 2
    noise[0, 0] = walk * step_s + bend * step_s**3 / 3.0
    noise[0, 1] = noise[1, 0] = bend * step_s**2 / 2.0
    noise[1, 1] = bend * step_s
    for i, lag_s in enumerate(lags_s, 2):
        left = math.exp(-step_s / lag_s)
        matrix[i, 0] = 1.0 - left
        matrix[i, 1] = step_s - lag_s * (1.0 - left)
        matrix[i, i] = left
        noise[i, i] = 1e-10
    return matrix, noise


def smooth(measured: Sequence[Measured], lags_s: Sequence[float], nodes_s: Sequence[float] = ()) -> Smoothed | None:
    """Smooth over `measured` (rising in time); `nodes_s` are further moments at which T is wanted. None without a measurement.

    `lags_s`: the lag of each channel. A channel with no lag measures T itself.
    """
    if not measured:
        return None
    indices = {i: k for k, i in enumerate([i for i, lag in enumerate(lags_s) if lag > NO_LAG_S])}
    lags = [lag for lag in lags_s if lag > NO_LAG_S]
    times = np.unique(np.round(np.array([*(m.t_s for m in measured), *nodes_s], dtype=float), 6))
    at: list[list[tuple[int, float, float]]] = [[] for _ in times]
    for m, i in zip(measured, np.searchsorted(times, np.round([m.t_s for m in measured], 6)), strict=True):
        at[i].append((2 + indices[m.channel] if m.channel in indices else 0, m.celsius, m.sd_c**2))
    back = _returns(times, at, len(lags))
    first = measured[0].celsius
    best = _forward(times, at, back, lags, LEVELS[0], first)
    for level in LEVELS[1:]:
        run = _forward(times, at, back, lags, level, first)
        if run[0] <= best[0]:
            break  # the calmer one fits better, and a livelier still would fit worse
        best = run
    return _backward(times, best, LEVELS.index(best[5]))


def _returns(times: Array, at: list[list[tuple[int, float, float]]], probes: int) -> dict[int, list[int]]:
    """At which node which probes' states begin anew, because they come back from a silence."""
    newest = [float(times[0])] * probes
    back: dict[int, list[int]] = {}
    for k, t in enumerate(times.tolist()):
        for index, _, _ in at[k]:
            if index >= 2:
                if t - newest[index - 2] > LOST_S:
                    back.setdefault(k, []).append(index)
                newest[index - 2] = t
    return back


def _forward(
    times: Array,
    at: list[list[tuple[int, float, float]]],
    back: dict[int, list[int]],
    lags: Sequence[float],
    level: tuple[float, float],
    first_c: float,
) -> tuple[float, Array, Array, Array, Array, tuple[float, float], Array]:
    n, count = 2 + len(lags), len(times)
    state = np.full(n, first_c)
    state[1] = 0.0
    cov = np.diag([START_SD_C**2, SLOPE_SD_C_PER_S**2, *[START_SD_C**2] * len(lags)])
    states, covs = np.empty((count, n)), np.empty((count, n, n))
    ahead, ahead_covs, matrices = np.empty((count, n)), np.empty((count, n, n)), np.empty((count, n, n))
    log_likelihood = 0.0
    step_before, matrix, noise = -1.0, np.eye(n), np.zeros((n, n))
    for k in range(count):
        if k:
            step = float(times[k] - times[k - 1])
            if step != step_before:
                matrix, noise = transition(step, lags, level)
                step_before = step
            state = matrix @ state
            cov = matrix @ cov @ matrix.T + noise
            for index in back.get(k, ()):
                cov[index, index] += START_SD_C**2
        ahead[k], ahead_covs[k], matrices[k] = state, cov, matrix
        for index, value, variance in at[k]:
            spread = cov[index, index] + variance
            off = value - state[index]
            gain = cov[:, index] / spread
            state = state + gain * off
            cov = cov - gain[:, None] * cov[index]
            log_likelihood -= 0.5 * (math.log(spread) + off * off / spread)
        states[k], covs[k] = state, cov
    return log_likelihood, states, covs, ahead, ahead_covs, level, matrices


def _backward(times: Array, run: tuple[Any, ...], level: int) -> Smoothed:
    log_likelihood, states, covs, ahead, ahead_covs, _, matrices = run
    count = len(times)
    states, covs = states.copy(), covs.copy()
    gains = np.zeros_like(covs)
    if count > 1:  # J = P F' inv(P ahead), all at once; both are symmetric
        gains[:-1] = np.linalg.solve(ahead_covs[1:], matrices[1:] @ covs[:-1]).transpose(0, 2, 1)
    for k in range(count - 2, -1, -1):
        gain = gains[k]
        states[k] += gain @ (states[k + 1] - ahead[k + 1])
        covs[k] += gain @ (covs[k + 1] - ahead_covs[k + 1]) @ gain.T
    sds = np.sqrt(np.maximum(covs[:, 0, 0], 0.0))
    return Smoothed(times, states[:, 0].copy(), sds, gains, covs, level, float(log_likelihood))
