"""The smoother, against an independent implementation and against the truth."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import expm

from monitor.review.smoother import LEVELS, LIVE, NOISE_RANGE_C, START_SD_C, Measurement, noise_sd, smooth, transition

Array = NDArray[np.float64]
PROBE_NOISE = 1e-10
"""Variance that keeps each probe's own row from being singular, a step."""


def equations(lag_s: float | None) -> Array:
    """dx/dt = A x for liquid, slope and one probe: the liquid follows its slope, the probe the liquid (None: it does not move)."""
    a = np.zeros((3, 3))
    a[0, 1] = 1.0
    if lag_s is not None:
        a[2, 0], a[2, 2] = 1.0 / lag_s, -1.0 / lag_s
    return a


def exact(step_s: float, lag_s: float) -> Array:
    """exp(A h)."""
    return np.asarray(expm(equations(lag_s) * step_s))


def van_loan(a: Array, step_s: float, level: tuple[float, float]) -> Array:
    """Covariance that white noise on liquid and slope brings into dx/dt = A x in one step (C. F. van Loan, IEEE Trans. Autom. Control 23
    (1978) 395)."""
    spectral = np.diag([level[0] ** 2, level[1] ** 2, 0.0])
    both = expm(np.block([[-a, spectral], [np.zeros((3, 3)), a.T]]) * step_s)
    return np.asarray(both[3:, 3:].T @ both[:3, 3:]) + np.diag([0.0, 0.0, PROBE_NOISE])


def readings(seconds: int, seed: int, lag_s: float = 8.0, noise_c: float = 0.05) -> tuple[list[Measurement], list[float]]:
    """A swinging liquid seen through a lag: measurements and the truth."""
    chance = random.Random(seed)
    probe = 22.0
    measured, truth = [], []
    for t in range(seconds):
        liquid = 20.0 + 0.6 * math.sin(t / 150.0) - 0.001 * t
        if t:
            probe = liquid + (probe - liquid) * math.exp(-1.0 / lag_s)
        truth.append(liquid)
        measured.append(Measurement(float(t), round((probe + chance.gauss(0, noise_c)) / 0.0625) * 0.0625, noise_c, 0))
    return measured, truth


def test_it_agrees_with_an_independent_implementation() -> None:
    """filterpy's Kalman filter and rts_smoother on the same data, with exp(A h) by scipy and the noise of the liquid alone by van Loan,
    give the same temperatures and variances."""
    off, wider = beside_filterpy(equations(None))
    assert off < 1e-6
    assert wider < 1e-6


def test_that_the_probe_responds_within_a_step_hardly_matters() -> None:
    """The smoother lets the noise of a step reach the probe only after it. With the whole noise by van Loan the temperature moves by less
    than 0.001 C, and its standard deviation by less than 2 %."""
    off, wider = beside_filterpy(equations(8.0))
    assert off < 1e-3
    assert 1e-6 < wider < 0.02


@pytest.mark.parametrize("lag_s", [0.5, 8.0, 60.0])
@pytest.mark.parametrize("step_s", [0.3, 1.0, 7.0, 40.0])
def test_a_step_is_the_differential_equations(step_s: float, lag_s: float) -> None:
    """The transition is exp(A h), the liquid's noise van Loan's, for every lag, step and liveliness."""
    for level in LEVELS:
        matrix, noise = transition(step_s, [lag_s], level)
        assert matrix == pytest.approx(exact(step_s, lag_s), rel=1e-9, abs=1e-12)
        assert noise == pytest.approx(van_loan(equations(None), step_s, level), rel=1e-9, abs=1e-18)


def beside_filterpy(noise_from: Array) -> tuple[float, float]:
    """Our smoother and filterpy's over the same readings: largest difference in the liquid's temperature, C, and largest relative one in
    its standard deviation."""
    kalman = pytest.importorskip("filterpy.kalman")
    measured, _ = readings(400, 3)
    ours = smooth(measured, [8.0])
    assert ours is not None
    matrix, noise = exact(1.0, 8.0), van_loan(noise_from, 1.0, LEVELS[ours.level])
    theirs = kalman.KalmanFilter(dim_x=3, dim_z=1)
    theirs.F, theirs.Q = matrix, noise
    theirs.H, theirs.R = np.array([[0.0, 0.0, 1.0]]), np.array([[measured[0].sd_c ** 2]])
    theirs.x = np.array([[measured[0].celsius], [0.0], [measured[0].celsius]])
    theirs.P = np.diag([START_SD_C**2, 0.004**2, START_SD_C**2])
    states, covariances = [], []
    for i, m in enumerate(measured):
        if i:
            theirs.predict()
        theirs.update(m.celsius)
        states.append(theirs.x.copy())
        covariances.append(theirs.P.copy())
    smoothed, smoothed_covariances, _, _ = theirs.rts_smoother(np.array(states), np.array(covariances))
    off = np.abs(smoothed[:, 0, 0] - ours.celsius).max()
    return float(off), float(np.abs(np.sqrt(smoothed_covariances[:, 0, 0]) / ours.sd_c - 1.0).max())


def test_the_sum_has_the_variance_of_the_whole_covariance() -> None:
    """The recursion over gains equals w' C w with C of the conditional distribution, worked out by brute force."""
    measured, _ = readings(25, 5)
    ours = smooth(measured, [8.0])
    assert ours is not None
    matrix, noise = exact(1.0, 8.0), van_loan(equations(None), 1.0, LEVELS[ours.level])
    start = np.diag([START_SD_C**2, 0.004**2, START_SD_C**2])
    count = len(measured)
    blocks = np.zeros((3 * count, 3 * count))
    marginal = [start]
    for _ in range(count - 1):
        marginal.append(matrix @ marginal[-1] @ matrix.T + noise)
    for i in range(count):
        block = marginal[i]
        for j in range(i, count):
            blocks[3 * j : 3 * j + 3, 3 * i : 3 * i + 3] = block
            blocks[3 * i : 3 * i + 3, 3 * j : 3 * j + 3] = block.T
            block = matrix @ block
    picks = np.zeros((count, 3 * count))
    for i in range(count):
        picks[i, 3 * i + 2] = 1.0
    spread = picks @ blocks @ picks.T + np.eye(count) * measured[0].sd_c ** 2
    after = blocks - blocks @ picks.T @ np.linalg.solve(spread, picks @ blocks)
    weights = np.linspace(0.5, 2.0, count)
    wide = np.zeros(3 * count)
    wide[::3] = weights
    assert ours.sd_of_sum(weights) == pytest.approx(math.sqrt(wide @ after @ wide), rel=1e-6)


def test_it_takes_the_lag_off_and_finds_where_a_probe_that_had_not_settled_really_was() -> None:
    """Two degrees off at the start, and the liquid is known within its standard deviation."""
    measured, truth = readings(600, 1, noise_c=0.03)
    ours = smooth(measured, [8.0])
    assert ours is not None
    off = (ours.celsius - np.array(truth))[5:-5]
    assert abs(off.mean()) < 0.01
    assert np.abs(off).max() < 0.12
    assert (np.abs(off) < 2 * ours.sd_c[5:-5]).mean() > 0.75


def test_blind_to_the_lag_it_would_be_wrong() -> None:
    """The lag is what matters: told that there is none, the start is off by more than half a degree."""
    measured, truth = readings(600, 1, noise_c=0.03)
    blind = smooth(measured, [0.0])
    assert blind is not None
    assert abs(blind.celsius[3] - truth[3]) > 0.5


def test_a_silent_stretch_is_bridged_and_its_uncertainty_grows() -> None:
    """From both sides; the middle is known worst."""
    measured, truth = readings(600, 2, noise_c=0.03)
    kept = [m for m in measured if not 250 < m.t_s < 370]
    ours = smooth(kept, [8.0], [float(t) for t in range(250, 371, 2)])
    assert ours is not None
    at = {t: i for i, t in enumerate(ours.t_s.tolist())}
    assert ours.sd_c[at[310.0]] > 3 * ours.sd_c[at[200.0]]
    assert abs(ours.celsius[at[310.0]] - truth[310]) < 3 * ours.sd_c[at[310.0]]


def test_liveliness_follows_the_data() -> None:
    """A step of hot water asks for the lively model, a standing bath for the calm one."""
    calm = [Measurement(float(t), 20.0 + 0.0625 * (t % 3 == 0), 0.03, 0) for t in range(300)]
    step = [Measurement(m.t_s, m.celsius + (2.0 if m.t_s > 150 else 0.0), 0.03, 0) for m in calm]
    quiet, hot = smooth(calm, [0.0]), smooth(step, [0.0])
    assert quiet is not None
    assert hot is not None
    assert quiet.level < hot.level


def estimates() -> list[Measurement]:
    """What was believed without a probe: it falls, and each minute a hand warms it, which makes it less sure again."""
    made = []
    for t in range(0, 400, 2):
        held, since_s = divmod(t, 60)
        celsius, sd_c = 21.0 - 0.002 * t + 0.06 * held - 0.0005 * since_s, 0.6 - 0.001 * t + 0.02 * held
        made.append(Measurement(float(t), celsius, sd_c, LIVE, t == 0, False))
    return made


def test_where_nothing_but_estimates_is_known_the_liquid_has_their_shape_and_their_doubt() -> None:
    """Each rise as much as each fall: their sum is the estimates' own, and errs as much as they do together."""
    made = estimates()
    ours = smooth(made, [])
    assert ours is not None
    assert ours.celsius == pytest.approx([m.celsius for m in made], abs=0.01)
    seconds = np.full(len(made), 2.0)
    assert ours.sd_of_sum(seconds) == pytest.approx(2.0 * math.fsum(m.sd_c for m in made), rel=0.1)


def test_after_the_last_reading_estimates_go_on_from_it() -> None:
    """They begin where the readings ended, whatever their common error: a first estimate 0.3 C beside them makes no step."""
    readings = [Measurement(float(t), 20.0, 0.03, 0) for t in range(120)]
    held = [Measurement(float(t), 20.3 + 0.002 * (t - 120), 0.3 + 0.001 * (t - 120), LIVE, t == 120, False) for t in range(120, 240, 2)]
    ours = smooth([*readings, *held], [0.0])
    assert ours is not None
    at = {t: i for i, t in enumerate(ours.t_s.tolist())}
    assert ours.celsius[at[120.0]] == pytest.approx(20.0, abs=0.03)
    assert ours.celsius[at[238.0]] - ours.celsius[at[120.0]] == pytest.approx(0.002 * 118.0, abs=0.03)
    assert ours.sd_c[at[238.0]] == pytest.approx(math.sqrt(0.418**2 - 0.3**2), rel=0.2)


def test_nothing_measured_is_nothing_known() -> None:
    """No number out of nothing."""
    assert smooth([], [8.0]) is None


def test_noise_is_seen_through_drift_and_steps() -> None:
    """Second differences; a drift leaves none of itself, and the register's step is the least."""
    chance = random.Random(1)
    drifting = np.array([20.0 + 0.01 * t + chance.gauss(0, 0.05) for t in range(500)])
    drifting[250:] += 3.0
    assert noise_sd(drifting) == pytest.approx(0.05, rel=0.15)
    assert noise_sd(np.full(100, 20.0)) == NOISE_RANGE_C[0]
    assert noise_sd(np.array([20.0])) == NOISE_RANGE_C[0]
