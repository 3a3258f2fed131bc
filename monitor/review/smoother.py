"""What the liquid's temperature was, known afterwards: forward and backward over all readings of one stage.

Independent of the live filter: own model, own choice of its liveliness, no knowledge of later decisions. The state is the
liquid's temperature T, its slope, and the temperature of each probe, which follows T with its first-order lag (exact for a
straight T). Forward it is a Kalman filter, backward the smoother of Rauch, Tung and Striebel (AIAA Journal 3 (1965) 1445).
Where no probe was believed the live estimate goes in, as T and an error of its own that is a state too: it gives the shape where
nothing else is known, and readings on both sides correct it. Which of three levels of liveliness fits is decided by the
likelihood of the readings. numpy only. Tests: tests/review/test_smoother.py (also against an independent implementation).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monitor.core.development.filter import QUANTUM_C
from monitor.core.probes.classify import STALE_S

Array = NDArray[np.float64]

LEVELS: tuple[tuple[float, float], ...] = ((3e-4, 1e-5), (3e-3, 1e-4), (2e-2, 5e-4))
"""Liveliness: sd of T in C per root second, of its slope in C/s per root second. A covered bath, a stirred tray, hot water poured in."""
SLOPE_SD_C_PER_S = 0.004
"""What a slope may be before anything is known: 0.24 C/min, a small bowl in a cold room (the project's practice text)."""
START_SD_C = 3.0
NOISE_RANGE_C = (QUANTUM_C / math.sqrt(12.0), 0.3)
TRIMMED = 0.7588
"""Variance of a normal distribution without its outer twentieth, over the whole: 1 - 2 z f(z) / 0.95 with z = 1.96, f its density."""
NO_LAG_S = 0.3
"""A shorter lag is no lag."""
LIVE = -1
"""Channel of the live filter's estimates."""
LIVE_CORRELATION_S = 600.0
"""The live estimates of one source share an error that changes only slowly, over so many seconds."""
LIVE_NOISE_C = 0.03
"""What is left of a live estimate's error from one to the next."""
SHAPED_C = 1.0
"""Where nothing but live estimates is known the liquid moves as they do: sd of T in C per root second, more than any liveliness."""
SILENCE_S = STALE_S
"""After a longer silence a probe may have been anywhere: its own temperature is as unknown as at the start."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """One number about the liquid: `channel` of the probe, or `LIVE`.

    `sd_c`: of a probe its random part; of a live estimate the error that it shares with those around it. `fresh`: the first
    estimate of another source, whose error has nothing to do with the one before. `drifts`: whether that error may change, which
    is wanted where readings stand on both sides; where they do not, the estimate's shape is all there is.
    """

    t_s: float
    celsius: float
    sd_c: float
    channel: int
    fresh: bool = False
    drifts: bool = True


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
        wanted = np.flatnonzero(weights)
        if not len(wanted):
            return 0.0
        first, last = int(wanted[0]), int(wanted[-1])
        columns = self.covariances[:, :, 0] * weights[:, None]
        carried, variance = np.zeros(columns.shape[1]), float(weights[last] * columns[last, 0])
        for k in range(last - 1, first - 1, -1):
            carried = self.gains[k] @ (columns[k + 1] + carried)
            variance += weights[k] * (columns[k, 0] + 2.0 * carried[0])
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


@dataclass(frozen=True, slots=True)
class _Plan:
    """What happens at each node, worked out once for all levels.

    `at`: (index of the state or `LIVE`, value, variance). `back`: states that begin anew, of probes after a silence. `fresh`, `live_sd_c`,
    `rigid`: where the error of the live estimate begins anew, its size, and where it does not drift. `shaped`: nodes to which the live
    estimates alone lead. `lively`: the lowest level of a step.
    """

    times: Array
    lags: list[float]
    at: list[list[tuple[int, float, float]]]
    back: dict[int, list[int]]
    fresh: set[int]
    live_sd_c: dict[int, float]
    rigid: set[int]
    shaped: set[int]
    first_c: float
    lively: dict[int, int] = field(default_factory=dict)


def smooth(measured: Sequence[Measurement], lags_s: Sequence[float], nodes_s: Sequence[float] = ()) -> Smoothed | None:
    """Smooth over `measured` (rising in time); `nodes_s` are further moments at which T is wanted. None without a measurement.

    `lags_s`: the lag of each channel. A channel with no lag measures T itself.
    """
    if not measured:
        return None
    plan = _plan(measured, lags_s, nodes_s)
    runs = _forward(plan)
    level = 0
    while level + 1 < len(LEVELS) and runs.log_likelihoods[level + 1] > runs.log_likelihoods[level]:
        level += 1  # where the calmer one fits better, a livelier still would fit worse
    return _backward(plan.times, runs, level)


def log_likelihoods(
    measured: Sequence[Measurement], lags_s: Sequence[float], moved_s: Sequence[float] = (), lively: tuple[float, float, int] | None = None
) -> list[float]:
    """Logarithm of the likelihood of readings (rising in time; one at least) at each of `LEVELS`. `moved_s`: moments from which the liquid
    may be anywhere; `lively`: from when to when it is at this level at least."""
    plan = _plan(measured, lags_s, ())
    if lively is not None:
        plan.lively.update(dict.fromkeys(np.flatnonzero((plan.times > lively[0]) & (plan.times <= lively[1])).tolist(), lively[2]))
    for k in np.searchsorted(plan.times, moved_s).tolist():
        if 0 < k < len(plan.times):
            plan.back.setdefault(k, []).append(0)
    return _forward(plan).log_likelihoods


def _plan(measured: Sequence[Measurement], lags_s: Sequence[float], nodes_s: Sequence[float]) -> _Plan:
    indices = {i: 2 + k for k, i in enumerate([i for i, lag in enumerate(lags_s) if lag > NO_LAG_S])}
    lags = [lag for lag in lags_s if lag > NO_LAG_S]
    times = np.unique(np.round(np.array([*(m.t_s for m in measured), *nodes_s], dtype=float), 6))
    at: list[list[tuple[int, float, float]]] = [[] for _ in times]
    fresh: set[int] = set()
    live_sd_c: dict[int, float] = {}
    rigid: set[int] = set()
    for m, k in zip(measured, np.searchsorted(times, np.round([m.t_s for m in measured], 6)).tolist(), strict=True):
        if m.channel == LIVE:
            at[k].append((LIVE, m.celsius, LIVE_NOISE_C**2))
            live_sd_c[k] = m.sd_c
            if m.fresh:
                fresh.add(k)
            if not m.drifts:
                rigid.add(k)
        else:
            at[k].append((indices.get(m.channel, 0), m.celsius, m.sd_c**2))
    shaped = _shaped(len(times), live_sd_c.keys(), rigid - fresh)
    return _Plan(times, lags, at, _returns(times, at, len(lags)), fresh, live_sd_c, rigid, shaped, measured[0].celsius)


def _shaped(count: int, live: Collection[int], going_on: Collection[int]) -> set[int]:
    """The nodes whose next live estimate, or own, goes on from another one without a reading's help."""
    shaped: set[int] = set()
    alone = False
    for k in reversed(range(count)):
        alone = k in going_on if k in live else alone
        if alone:
            shaped.add(k)
    return shaped


def _returns(times: Array, at: list[list[tuple[int, float, float]]], probes: int) -> dict[int, list[int]]:
    """At which node which probes' states begin anew, because they come back from a silence."""
    newest = [float(times[0])] * probes
    back: dict[int, list[int]] = {}
    for k, t in enumerate(times.tolist()):
        for index, _, _ in at[k]:
            if index >= 2:
                if t - newest[index - 2] > SILENCE_S:
                    back.setdefault(k, []).append(index)
                newest[index - 2] = t
    return back


@dataclass(frozen=True, slots=True)
class _Runs:
    """The forward runs of all levels, node by node: states and covariances after the node's measurements, `ahead` before them; the
    matrices of the steps are those of all levels."""

    log_likelihoods: list[float]
    states: Array
    covs: Array
    ahead: Array
    ahead_covs: Array
    matrices: Array


def _forward(plan: _Plan) -> _Runs:
    """All levels at once: they differ in the noise of a step alone."""
    times, live, levels = plan.times.tolist(), bool(plan.live_sd_c), len(LEVELS)
    n, count = 2 + len(plan.lags) + live, len(times)
    sd_c = next(iter(plan.live_sd_c.values()), 0.0)
    state = np.full((levels, n), plan.first_c)
    state[:, 1] = 0.0
    variances = [START_SD_C**2, SLOPE_SD_C_PER_S**2, *[START_SD_C**2] * len(plan.lags)]
    if live:
        state[:, -1] = 0.0
        variances.append(sd_c**2)
    cov = np.repeat(np.diag(variances)[None], levels, axis=0)
    states, covs = np.empty((count, levels, n)), np.empty((count, levels, n, n))
    ahead, ahead_covs, matrices = np.empty((count, levels, n)), np.empty((count, levels, n, n)), np.empty((count, n, n))
    offs, spreads = [], []
    step_before = -1.0
    matrix, turned, noise = np.eye(n), np.eye(n), np.zeros((levels, n, n))
    for k in range(count):
        if k:
            step = round(times[k] - times[k - 1], 6)  # as exact as the times are
            if step != step_before or live:
                keep, added = 0.0, 0.0
                if live:
                    before, sd_c = sd_c, plan.live_sd_c.get(k, sd_c)
                    keep = 0.0 if k in plan.fresh else min(sd_c / before, 1.0) if k in plan.rigid else math.exp(-step / LIVE_CORRELATION_S)
                    added = max(sd_c**2 - (keep * before) ** 2, 1e-10)
                if step != step_before:
                    matrix, noise = _step(step, plan.lags, live)
                    step_before = step
                if live:
                    matrix[-1, -1], noise[:, -1, -1] = keep, added
                turned = matrix.T
            state = state @ turned
            cov = matrix @ cov @ turned + (noise if k not in plan.lively else noise[np.maximum(np.arange(levels), plan.lively[k])])
            if k in plan.shaped:
                cov[:, 0, 0] += SHAPED_C**2 * step
            for index in plan.back.get(k, ()):
                cov[:, index, index] += START_SD_C**2
        ahead[k], ahead_covs[k], matrices[k] = state, cov, matrix
        for index, value, variance in plan.at[k]:
            column = cov[:, 0] + cov[:, -1] if index == LIVE else cov[:, index]
            spread = (column[:, 0] + column[:, -1] if index == LIVE else column[:, index]) + variance
            off = value - (state[:, 0] + state[:, -1] if index == LIVE else state[:, index])
            gain = column / spread[:, None]
            state = state + gain * off[:, None]
            cov = cov - gain[:, :, None] * column[:, None, :]
            offs.append(off)
            spreads.append(spread)
        states[k], covs[k] = state, cov
    spread, off = np.array(spreads), np.array(offs)
    likelihoods = -0.5 * (np.log(spread) + off * off / spread).sum(axis=0)
    return _Runs(likelihoods.tolist(), states, covs, ahead, ahead_covs, matrices)


def _step(step_s: float, lags_s: Sequence[float], live: bool) -> tuple[Array, Array]:
    """Matrix and each level's noise of one step, with room for the live estimate's error as the last state."""
    n = 2 + len(lags_s) + live
    matrix, noise = np.zeros((n, n)), np.zeros((len(LEVELS), n, n))
    for i, level in enumerate(LEVELS):
        plain, plain_noise = transition(step_s, lags_s, level)
        matrix[: len(plain), : len(plain)], noise[i, : len(plain), : len(plain)] = plain, plain_noise
    return matrix, noise


def _backward(times: Array, runs: _Runs, level: int) -> Smoothed:
    states, covs = runs.states[:, level].copy(), runs.covs[:, level].copy()
    ahead, ahead_covs = runs.ahead[:, level], runs.ahead_covs[:, level]
    count = len(times)
    gains = np.zeros_like(covs)
    if count > 1:  # J = P F' inv(P ahead), all at once; both are symmetric
        gains[:-1] = np.linalg.solve(ahead_covs[1:], runs.matrices[1:] @ covs[:-1]).transpose(0, 2, 1)
    for k in range(count - 2, -1, -1):
        gain = gains[k]
        states[k] += gain @ (states[k + 1] - ahead[k + 1])
        covs[k] += gain @ (covs[k + 1] - ahead_covs[k + 1]) @ gain.T
    sds = np.sqrt(np.maximum(covs[:, 0, 0], 0.0))
    return Smoothed(times, states[:, 0].copy(), sds, gains, covs, level, float(runs.log_likelihoods[level]))
