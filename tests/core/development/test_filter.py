"""The filter's arithmetic: against an independent Kalman filter (filterpy), against differential equations, against itself."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import numpy as np
import pytest

from monitor.core.development.filter import (
    AIR,
    PROBE,
    QUIET,
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
from monitor.core.development.rivals import DRYING, NOISES, Kind

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


def equations(lag_s: float, follows: int = T) -> Matrix:
    """The liquid's and the probe's differential equations dx/dt = A x; the probe follows the liquid, or the air."""
    a = LIQUID_ALONE.copy()
    a[TRANSIENT, TRANSIENT] = -1.0 / TRANSIENT_S
    a[PROBE, follows], a[PROBE, PROBE] = 1.0 / lag_s, -1.0 / lag_s
    return a


def exact(h: float, lag_s: float, follows: int = T) -> Matrix:
    """exp(A h)."""
    from scipy.linalg import expm

    return np.asarray(expm(equations(lag_s, follows) * h))


def noise_of(a: Matrix, noise: Noise, h: float) -> Matrix:
    """Covariance that white noise brings in `h` seconds into dx/dt = A x (C. F. van Loan, IEEE Trans. Autom. Control 23 (1978) 395)."""
    from scipy.linalg import expm

    spectral = np.diag([noise.liquid, noise.slope, noise.transient, 0.0, noise.air])
    both = expm(np.block([[-a, spectral], [np.zeros((5, 5)), a.T]]) * h)
    return np.asarray(both[5:, 5:].T @ both[:5, 5:])


def beside_filterpy(noise: Noise, longest_s: float, q_of: Callable[[float], Matrix], follows: int = T) -> tuple[Vector, Vector]:
    """Our track and filterpy's KalmanFilter over the same 300 readings, in twenty different steps: largest difference in state, largest
    relative one in variance. The probe follows the liquid with 8 s, or the air with 120 s."""
    from filterpy.kalman import KalmanFilter

    rng, lag_s = random.Random(1), 8.0 if follows == T else 120.0
    steps = [(h, exact(h, lag_s, follows), q_of(h)) for h in (rng.uniform(0.3, longest_s) for _ in range(20))]
    track = start()
    other = KalmanFilter(dim_x=5, dim_z=1)
    other.x, other.P = np.array(track.x).reshape(5, 1), np.array(track.c)
    other.H, other.R = np.array([[0.0, 0.0, 0.0, 1.0, 0.0]]), np.array([[1.2e-3]])
    off, wider = np.zeros(5), np.zeros(5)
    for i in range(300):
        h, transition, added = rng.choice(steps)
        value = 20.0 - 0.004 * i + rng.gauss(0.0, 0.03)
        track.predict(liquid_step(h, lag_s) if follows == T else air_step(h, lag_s), noise)
        track.update(PROBE, value, 1.2e-3)
        other.predict(F=transition, Q=added)
        other.update(np.array([[value]]))
        off = np.maximum(off, np.abs(np.array(track.x) - other.x.ravel()))
        wider = np.maximum(wider, np.abs(np.diag(np.array(track.c)) / np.diag(other.P) - 1.0))
    return off, wider


EVERY_NOISE = [*((kind, noise, AIR if kind == "air" else T) for kind, noise in NOISES.items()), ("drying", DRYING, AIR)]
"""Each rival's white noise, and what its probe follows. What a jump and a stir gain at once is no white noise: test_rivals."""


@pytest.mark.parametrize(("kind", "noise", "follows"), EVERY_NOISE)
def test_clean_readings_are_filtered_as_an_independent_kalman_filter_does(kind: str, noise: Noise, follows: int) -> None:
    """filterpy's KalmanFilter with exp(A h) by scipy, and the noise of a liquid whose slopes last (van Loan), agrees to 1e-9."""
    off, wider = beside_filterpy(noise, 7.0, lambda h: noise_of(LIQUID_ALONE, noise, h), follows)
    assert off.max() < 1e-9, kind
    assert wider.max() < 1e-9, kind


@pytest.mark.parametrize(
    ("kind", "liquid_c", "liquid_share", "every_share"),
    [("calm", 1e-4, 0.005, 0.03), ("lively", 2e-3, 0.03, 0.03), ("jump", 1e-3, 0.025, 0.025), ("stir", 1e-3, 0.025, 0.025)],
)
def test_the_noise_of_a_step_is_nearly_exact(kind: Kind, liquid_c: float, liquid_share: float, every_share: float) -> None:
    """That the transient dies and the probe lags already within the step is left out of its noise. At a reading a second this moves a calm
    liquid by less than 0.0001 C and its variance by less than 0.5 % from the exact filter, a lively one by 0.002 C and 3 %."""
    off, wider = beside_filterpy(NOISES[kind], 1.5, lambda h: noise_of(equations(8.0), NOISES[kind], h))
    assert off[T] < liquid_c
    assert wider[T] < liquid_share
    assert wider.max() < every_share


@pytest.mark.parametrize(("noise", "air_c", "air_share"), [(NOISES["air"], 1e-3, 0.05), (DRYING, 0.01, 0.11)])
def test_the_noise_of_a_probe_in_air_is_nearly_exact(noise: Noise, air_c: float, air_share: float) -> None:
    """What is left out within the step moves the air that is believed in by a hundredth of a degree at most, and the liquid by nothing."""
    off, wider = beside_filterpy(noise, 1.5, lambda h: noise_of(equations(120.0, AIR), noise, h), AIR)
    assert off[AIR] < air_c
    assert wider[AIR] < air_share
    assert off[T] < 1e-12
    assert wider[T] < 0.005


@pytest.mark.parametrize("lag_s", [0.5, 8.0, 20.0, 59.9, 60.0, 61.0])
@pytest.mark.parametrize("h", [0.3, 1.0, 7.0])
def test_one_step_is_the_exact_solution(lag_s: float, h: float) -> None:
    """The written-out transition is exp(A h), also where lag and transient have the same time constant (then to 2e-4, by a lag moved by
    0.01 s)."""
    assert np.allclose(matrix(h, lag_s), exact(h, lag_s), atol=3e-4 if abs(lag_s - 60.0) < 0.011 else 1e-10)


def test_a_vessel_step_is_the_solution_of_its_equation() -> None:
    """dT/dt = (bath - T)/lag with a bath that drifts straight, by scipy's integrator."""
    from scipy.integrate import solve_ivp

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


def correlated(sds: tuple[float, ...] = (0.5, 1e-3, 2e-3, 0.4, 5.0, 3.0)) -> tuple[Track, Matrix]:
    """A track whose parts and whose count are uncertain together, about by these, and the covariance of all six."""
    rng = np.random.default_rng(4)
    root = rng.normal(size=(6, 6)) * np.array(sds)[:, None]
    joint = root @ root.T
    track = Track([21.0, 0.002, 0.004, 20.5, 18.0], [[float(v) for v in row] for row in joint[:5, :5]], {})
    track.counts[1] = Count(LAW, 100.0, [float(v) for v in joint[5, :5]], float(joint[5, 5]), 100.0)
    return track, joint


def whole(track: Track) -> Matrix:
    """Covariance of the state and its count."""
    joint = np.zeros((6, 6))
    joint[:5, :5] = track.c
    joint[5, :5] = joint[:5, 5] = track.counts[1].cov
    joint[5, 5] = track.counts[1].var
    return joint


@pytest.mark.parametrize("sds", [(0.5, 1e-3, 2e-3, 0.4, 5.0, 0.02), (0.01, 0.2, 0.01, 0.4, 5.0, 0.02), (0.01, 0.01, 0.2, 0.4, 5.0, 0.02)])
def test_what_a_count_has_in_common_with_the_state_is_carried_on(sds: tuple[float, ...]) -> None:
    """J P J' with the Jacobian by differences, of state and development together, to two percent of each one's deviation; temperature or
    one of the slopes is what is most uncertain."""
    h = 1.0
    track, joint = correlated(sds)

    def end(i: int, step: float) -> list[float]:
        moved = track.copy()
        if i < 5:
            moved.x[i] += step
        else:
            moved.counts[1].done += step
        moved.predict(liquid_step(h, 8.0), QUIET)
        return [*moved.x, moved.counts[1].done]

    steps = (1e-3, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3)
    jacobian = np.array([(np.array(end(i, s)) - np.array(end(i, -s))) / (2.0 * s) for i, s in enumerate(steps)]).T
    exact = jacobian @ joint @ jacobian.T
    track.predict(liquid_step(h, 8.0), QUIET)
    scale = np.sqrt(np.outer(np.diag(exact), np.diag(exact)))
    assert np.allclose(whole(track) / scale, exact / scale, atol=0.02)


def test_a_reading_corrects_state_and_count_by_what_they_have_in_common() -> None:
    """The update of a normal distribution, written with numpy for all six."""
    track, joint = correlated()
    mean = np.array([*track.x, track.counts[1].done])
    gain = joint[:, PROBE] / (joint[PROBE, PROBE] + 0.01)
    surprise, total = track.update(PROBE, 20.9, 0.01)
    assert (surprise, total) == pytest.approx((20.9 - mean[PROBE], joint[PROBE, PROBE] + 0.01))
    assert np.allclose([*track.x, track.counts[1].done], mean + gain * (20.9 - mean[PROBE]))
    assert np.allclose(whole(track), joint - np.outer(gain, joint[PROBE]))


def test_a_nudge_moves_one_state_alone() -> None:
    """It is measured as by an update; the others stay, and what they have in common with it shrinks."""
    track, joint = correlated()
    before = track.copy()
    track.nudge(AIR, 15.0, 2.0)
    gain = joint[AIR, AIR] / (joint[AIR, AIR] + 2.0)
    assert track.x == pytest.approx([*before.x[:4], before.x[AIR] + gain * (15.0 - before.x[AIR])])
    shrunk = np.ones(6)
    shrunk[AIR] = 1.0 - gain
    expected = joint * np.outer(shrunk, shrunk)
    expected[AIR, AIR] = joint[AIR, AIR] * (1.0 - gain)
    assert np.allclose(whole(track), expected)
    assert np.linalg.eigvalsh(whole(track)).min() > -1e-9


def test_a_loosened_temperature_takes_with_it_what_was_counted() -> None:
    """The liquid may be 0.5 C more off than was believed: what hangs on it is off in the same proportion."""
    track, joint = correlated()
    track.loosen(0.25)
    k = math.sqrt(1.0 + 0.25 / joint[T, T])
    scaled = np.ones(6)
    scaled[T] = k
    expected = joint * np.outer(scaled, scaled)
    expected[5, 5] += (k * k - 1.0) * joint[5, T] ** 2 / joint[T, T]
    assert np.allclose(whole(track), expected)
    certain = start()
    certain.c[T][T] = 0.0
    certain.loosen(0.25)
    assert certain.c[T][T] == 0.25


def test_a_state_that_is_set_anew_has_nothing_in_common_with_the_rest() -> None:
    """Neither with the count."""
    track, joint = correlated()
    track.replace(SLOPE, 0.01, 4e-6)
    expected = joint.copy()
    expected[SLOPE, :] = expected[:, SLOPE] = 0.0
    expected[SLOPE, SLOPE] = 4e-6
    assert track.x[SLOPE] == 0.01
    assert np.allclose(whole(track), expected)


@pytest.mark.parametrize(("done", "kept"), [(79.0, 80.0), (80.0, 80.0), (100.0, 100.0), (130.0, 130.0), (142.0, 130.0)])
def test_a_clamped_count_is_as_much_less_certain_as_it_was_moved(done: float, kept: float) -> None:
    """Rates of 0.8 to 1.3 over a hundred seconds."""
    track, _ = correlated()
    count = track.counts[1]
    count.done, var = done, count.var
    track.bound(0.8, 1.3)
    assert count.done == pytest.approx(kept)
    assert count.var == pytest.approx(var + (done - kept) ** 2)


def test_a_copy_of_a_track_is_independent() -> None:
    """State, covariance and counts."""
    track, joint = correlated()
    other = track.copy()
    other.predict(liquid_step(1.0, 8.0), NOISES["lively"])
    other.counts[1].cov[0] = 9.0
    assert np.allclose(whole(track), joint)
    assert track.counts[1].done == 100.0


def test_a_liquid_that_was_warmer_all_the_time_has_developed_at_that_rate() -> None:
    """A minute at 20 C that was at 21 C, give or take 0.3 C: the count is what that rate makes, its deviation what 0.3 C make."""
    track = start()
    track.c[T][T], track.counts[0] = 0.0, Count(LAW, done=60.0, lasted_s=60.0)
    track.all_moved(1.0, 0.3)
    count, slope = track.counts[0], math.log(2.5) / 10.0
    assert track.x[T] == 21.0
    assert count.done == pytest.approx(60.0 * 2.5**0.1)
    assert math.sqrt(count.var) == pytest.approx(count.done * slope * 0.3)
    assert count.cov[T] == pytest.approx(math.sqrt(count.var * track.c[T][T]))
