"""The filter's arithmetic: against an independent Kalman filter (filterpy), against differential equations, against itself."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from monitor.core.development.filter import (
    PROBE,
    SLOPE,
    TRANSIENT,
    TRANSIENT_S,
    Count,
    Noise,
    T,
    Track,
    air_step,
    held_step,
    liquid_step,
    vessel_step,
)
from monitor.core.development.rate import Coefficient
from monitor.core.development.rivals import NOISES, Bank, merged

LAW = Coefficient(20.0, 2.5, 0.1, (16.0, 24.0))
Matrix = np.ndarray[tuple[int, int], np.dtype[np.float64]]
Vector = np.ndarray[tuple[int], np.dtype[np.float64]]


def start(celsius: float = 20.0) -> Track:
    """A track as at the first reading."""
    c = [[0.0] * 5 for _ in range(5)]
    for i, var in enumerate((9.0, 1.6e-5, 1e-6, 1e-3, 64.0)):
        c[i][i] = var
    return Track([celsius, 0.0, 0.0, celsius, 18.0], c, {})


def matrix(h: float, lag_s: float) -> Matrix:
    """The transition as a matrix, made by carrying unit states."""
    columns = []
    for i in range(5):
        track = start(0.0)
        track.x = [0.0] * 5
        track.x[i] = 1.0
        track.predict(liquid_step(h, lag_s), NOISES["calm"])
        columns.append(track.x)
    return np.array(columns).T


LIQUID_ALONE = np.zeros((5, 5))
LIQUID_ALONE[T, SLOPE] = LIQUID_ALONE[T, TRANSIENT] = 1.0
"""dT/dt = slow slope + transient slope; nothing dies, no probe sees it."""


def equations(lag_s: float) -> Matrix:
    """The liquid's and the probe's differential equations dx/dt = A x."""
    a = LIQUID_ALONE.copy()
    a[TRANSIENT, TRANSIENT] = -1.0 / TRANSIENT_S
    a[PROBE, T], a[PROBE, PROBE] = 1.0 / lag_s, -1.0 / lag_s
    return a


def exact(h: float, lag_s: float) -> Matrix:
    """exp(A h)."""
    return np.asarray(expm(equations(lag_s) * h))


def noise_of(a: Matrix, noise: Noise, h: float) -> Matrix:
    """Covariance that white noise brings in `h` seconds into dx/dt = A x (C. F. van Loan, IEEE Trans. Autom. Control 23 (1978) 395)."""
    spectral = np.diag([noise.liquid, noise.slope, noise.transient, 0.0, noise.air])
    both = expm(np.block([[-a, spectral], [np.zeros((5, 5)), a.T]]) * h)
    return np.asarray(both[5:, 5:].T @ both[:5, 5:])


def beside_filterpy(noise: Noise, longest_s: float, q_of: Callable[[float], Matrix]) -> tuple[Vector, Vector]:
    """Our track and filterpy's KalmanFilter over the same 300 readings at irregular steps: largest difference in state, largest relative
    one in variance."""
    rng = random.Random(1)
    track = start()
    other = KalmanFilter(dim_x=5, dim_z=1)
    other.x, other.P = np.array(track.x).reshape(5, 1), np.array(track.c)
    other.H, other.R = np.array([[0.0, 0.0, 0.0, 1.0, 0.0]]), np.array([[1.2e-3]])
    off, wider = np.zeros(5), np.zeros(5)
    for i in range(300):
        h = rng.uniform(0.3, longest_s)
        value = 20.0 - 0.004 * i + rng.gauss(0.0, 0.03)
        track.predict(liquid_step(h, 8.0), noise)
        track.update(PROBE, value, 1.2e-3)
        other.predict(F=exact(h, 8.0), Q=q_of(h))
        other.update(np.array([[value]]))
        off = np.maximum(off, np.abs(np.array(track.x) - other.x.ravel()))
        wider = np.maximum(wider, np.abs(np.diag(np.array(track.c)) / np.diag(other.P) - 1.0))
    return off, wider


def test_clean_readings_are_filtered_as_an_independent_kalman_filter_does() -> None:
    """filterpy's KalmanFilter with exp(A h) by scipy, and the noise of a liquid whose slopes last (van Loan), agrees to 1e-9."""
    off, wider = beside_filterpy(NOISES["calm"], 7.0, lambda h: noise_of(LIQUID_ALONE, NOISES["calm"], h))
    assert off.max() < 1e-9
    assert wider.max() < 1e-9


def test_the_noise_of_a_step_is_nearly_exact() -> None:
    """That the transient dies and the probe lags already within the step is left out of its noise. At a reading a second this moves the
    liquid by less than 0.0001 C and its variance by less than 0.5 % from the exact filter."""
    off, wider = beside_filterpy(NOISES["calm"], 1.5, lambda h: noise_of(equations(8.0), NOISES["calm"], h))
    assert off[T] < 1e-4
    assert wider[T] < 0.005
    assert wider.max() < 0.03


@pytest.mark.parametrize("lag_s", [0.5, 8.0, 20.0, 59.9, 60.0, 61.0])
@pytest.mark.parametrize("h", [0.3, 1.0, 7.0])
def test_one_step_is_the_exact_solution(lag_s: float, h: float) -> None:
    """The written-out transition is exp(A h), also where lag and transient have the same time constant (then to 2e-4, by a lag moved by
    0.01 s)."""
    assert np.allclose(matrix(h, lag_s), exact(h, lag_s), atol=3e-4 if abs(lag_s - 60.0) < 0.011 else 1e-10)


def test_a_vessel_step_is_the_solution_of_its_equation() -> None:
    """dT/dt = (bath - T)/lag with a bath that drifts straight, by scipy's integrator."""
    step = vessel_step(5.0, 360.0, 19.0, -0.004)
    other = solve_ivp(lambda t, y: [(19.0 - 0.004 * t - y[0]) / 360.0], (0.0, 5.0), [21.0], rtol=1e-10, atol=1e-12)
    assert step.keep * 21.0 + step.toward == pytest.approx(other.y[0, -1], abs=1e-8)


def test_a_held_slope_fades_with_ten_minutes() -> None:
    """After ten minutes in steps of five seconds 1 - 1/e of slope times ten minutes has come."""
    track = start()
    track.x[SLOPE] = 0.002
    for _ in range(120):
        track.predict(held_step(5.0), NOISES["calm"])
    assert track.x[T] == pytest.approx(20.0 + 0.002 * 600.0 * (1.0 - math.exp(-1.0)), abs=1e-9)


def test_a_probe_in_air_leaves_the_liquid_alone() -> None:
    """The probe goes to the air with 120 s, the liquid goes on."""
    track = start()
    track.x[SLOPE] = 0.001
    for _ in range(120):
        track.predict(air_step(1.0), NOISES["air"])
    assert track.x[PROBE] == pytest.approx(18.0 + 2.0 * math.exp(-1.0))
    assert track.x[T] == pytest.approx(20.12)


def test_a_reading_corrects_what_was_counted_before() -> None:
    """Counted 60 s at 20 C with 1 C of doubt; then the probe says 21 C: the count moves to nearly what 21 C would have given."""
    track = start()
    track.c[T][T], track.c[SLOPE][SLOPE] = 1.0, 0.0
    track.counts[1] = Count(LAW)
    for _ in range(60):
        track.predict(liquid_step(1.0, 8.0), NOISES["calm"])
    for _ in range(60):
        track.update(PROBE, 21.0, 1e-3)
    slope = LAW.log_rate_slope(20.0)
    assert track.counts[1].done == pytest.approx(60.0 * (1.0 + slope), rel=0.003)
    assert track.counts[1].var < 0.2 * (60.0 * slope) ** 2


def test_a_mixture_has_the_mean_and_the_spread_of_its_parts() -> None:
    """Two certain tracks 1 C apart at even weight: the mean between, half a degree of deviation."""
    one, two = start(20.0), start(21.0)
    for track in (one, two):
        track.c[T][T] = 0.0
        track.counts[1] = Count(LAW, 100.0 if track is one else 104.0)
    both = merged([one, two], [0.5, 0.5])
    assert both.x[T] == pytest.approx(20.5)
    assert both.c[T][T] == pytest.approx(0.25)
    assert both.counts[1].done == pytest.approx(102.0)
    assert both.counts[1].var == pytest.approx(4.0)
    assert both.counts[1].cov[T] == pytest.approx(1.0)


@pytest.mark.parametrize(("kind", "path"), [
    ("jump", [20.0 + 2.0 * (1.0 - math.exp(-i / 8.0)) for i in range(1, 25)]),
    ("air", [20.0 - 12.0 * (1.0 - math.exp(-i / 120.0)) for i in range(1, 25)]),
])
def test_rivals_tell_a_step_of_the_liquid_from_a_probe_in_air(kind: str, path: list[float]) -> None:
    """After 24 s of either, air has nearly all the weight or nearly none."""
    track = start()
    for _ in range(120):
        track.predict(liquid_step(1.0, 8.0), NOISES["calm"])
        track.update(PROBE, 20.0, 1.2e-3)
    bank = Bank([track], [1.0])
    bank.open()
    for value in path:
        bank.mix(1.0)
        bank.predict(liquid_step(1.0, 8.0))
        bank.update(value, 1.2e-3, False)
    if kind == "air":
        assert bank.weight("air") > 0.9
        assert bank.mean().x[T] == pytest.approx(20.0, abs=0.15)
    else:
        assert bank.weight("air") < 0.05
        assert bank.mean().x[T] == pytest.approx(22.0, abs=0.15)
