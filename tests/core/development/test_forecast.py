"""What is expected to come, and how far temperature, development and end are to be trusted: against numerical differentiation."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from monitor.core.development.beliefs import Beliefs, ProbeModel, Vessel
from monitor.core.development.filter import AIR, QUIET, SLOPE, TRANSIENT, Count, T, Track
from monitor.core.development.forecast import LONGEST_AHEAD_S, development, expected, noise_variance, solve, systematic_variance
from monitor.core.development.moment import Key, Moment, Segment
from monitor.core.development.rate import Coefficient, rate
from monitor.core.development.sensitivity import HANDS, LAG, Systematics, add_to, standard_deviations, variance
from monitor.core.development.sensitivity import LAW as LAW_NUMBER
from tests.core.development.scenes import LAW, Watched, followed

Path = Callable[[float], float]


def drifting(slope: float = 0.0, transient: float = 0.0) -> Moment:
    """A followed liquid of 20 C with these slopes, known exactly."""
    moment = followed(20.0)
    x = moment.bank.tracks[0].x
    x[SLOPE], x[TRANSIENT] = slope, transient
    return moment


def path(moment: Moment, follows: tuple[float, float, float] | None = None) -> Path:
    """What is expected of it."""
    return expected(moment, moment.bank.tracks[0], follows)


# What is expected


def test_a_slope_of_unknown_cause_fades_in_twenty_five_minutes_and_a_stir_in_one() -> None:
    """Each by its time constant."""
    at = path(drifting(0.002, 0.01))
    for ahead in (0.0, 60.0, 1500.0, 1e5):
        faded = 0.002 * 1500.0 * (1.0 - math.exp(-ahead / 1500.0)) + 0.01 * 60.0 * (1.0 - math.exp(-ahead / 60.0))
        assert at(ahead) == pytest.approx(20.0 + faded)


def test_a_held_slope_fades_in_ten_minutes() -> None:
    """As the filter carries it."""
    moment = drifting(0.002, 0.5)
    moment.drift = "held"
    assert path(moment)(600.0) == pytest.approx(20.0 + 1.2 * (1.0 - math.exp(-1.0)))


@pytest.mark.parametrize(("slope", "room_c", "limit_c"), [(-0.002, 17.0, 17.0), (-0.02, 17.0, 8.0), (0.002, 17.0, 23.0)])
def test_a_liquid_nears_the_room_and_stops_there(slope: float, room_c: float, limit_c: float) -> None:
    """Where it drifts towards a room that is known, with ten minutes at the fastest; else as if there were none."""
    moment = drifting(slope)
    moment.room = True
    moment.bank.tracks[0].x[AIR] = room_c
    assert path(moment)(1e6) == pytest.approx(limit_c)


def test_a_room_that_was_never_read_stops_nothing() -> None:
    """The air's place holds a guess."""
    moment = drifting(-0.002)
    moment.bank.tracks[0].x[AIR] = 19.0
    assert path(moment)(1e6) == pytest.approx(17.0)


def test_a_vessel_follows_what_surrounds_it() -> None:
    """Lag 300 s, a bath of 22 C that falls by 0.12 C a minute: for five minutes the solution of dT/dt = (bath - T)/lag within 0.06 C, by
    scipy. Slopes that nothing measures say nothing."""
    from scipy.integrate import solve_ivp

    moment = drifting(0.01, 0.01)
    moment.drift = "vessel"
    at = path(moment, (300.0, 22.0, -0.002))
    other = solve_ivp(lambda t, y: [(22.0 - 0.002 * t - y[0]) / 300.0], (0.0, 300.0), [20.0], t_eval=[30.0, 60.0, 150.0, 300.0], rtol=1e-9)
    for t, celsius in zip(other.t, other.y[0], strict=True):
        assert at(float(t)) == pytest.approx(float(celsius), abs=0.06)


def test_a_bath_s_slope_fades_as_an_unknown_one_does() -> None:
    """In the end it has made what it makes in 25 minutes, less the vessel's lag behind it."""
    moment = drifting()
    moment.drift = "vessel"
    assert path(moment, (300.0, 22.0, -0.002))(1e6) == pytest.approx(22.0 - 0.002 * (1500.0 - 300.0))


def test_a_measured_slope_gives_way_to_the_vessel_s_within_two_minutes() -> None:
    """A probe sees the liquid rise although the model says that it stands: the excess fades with 120 s."""
    at = path(drifting(0.005), (300.0, 20.0, 0.0))
    assert at(120.0) == pytest.approx(20.0 + 0.005 * 120.0 * (1.0 - math.exp(-1.0)))
    assert at(1e5) == pytest.approx(20.6)


# Development and end


@pytest.mark.parametrize("ahead", [30.0, 600.0, 3600.0])
def test_development_ahead_is_the_integral(ahead: float) -> None:
    """By scipy's quadrature, to a hundred-thousandth."""
    from scipy.integrate import quad

    at = path(drifting(-0.004, 0.02))
    exact, _ = quad(lambda t: rate(LAW, at(t)), 10.0, ahead, epsrel=1e-10)
    assert development(LAW, at, 10.0, ahead) == pytest.approx(exact, rel=1e-5)


@pytest.mark.parametrize(
    ("slope", "missing"), [(-0.004, 10.0), (-0.004, 600.0), (-0.004, 3000.0), (-0.02, 200.0), (0.02, 70.0), (0.02, 80.0)]
)
def test_the_end_is_where_the_integral_is(slope: float, missing: float) -> None:
    """By scipy's root finder, to three hundredths of a second."""
    from scipy.integrate import quad
    from scipy.optimize import brentq

    at = path(drifting(slope, 0.02))
    exact = brentq(lambda t: quad(lambda s: rate(LAW, at(s)), 20.0, t, epsrel=1e-10)[0] - missing, 20.0, 9000.0, xtol=1e-6)
    assert solve(LAW, at, 20.0, missing) == pytest.approx(exact, abs=0.03)


def test_an_end_that_is_over_lies_back_at_the_present_rate() -> None:
    """More done than was asked for."""
    assert solve(LAW, lambda ahead: 22.0, 0.0, -10.0) == pytest.approx(-10.0 / rate(LAW, 22.0))


def test_an_end_is_found_days_ahead_and_not_beyond_four() -> None:
    """Stand development of two days; a bath so cold that it would take weeks."""
    assert solve(LAW, lambda ahead: 20.0, 0.0, 2 * 86400.0) == pytest.approx(2 * 86400.0)
    assert LONGEST_AHEAD_S == 4 * 86400.0
    assert solve(LAW, lambda ahead: 20.0 if ahead < 1.0 else 2.0, 0.0, 10 * 86400.0) == LONGEST_AHEAD_S


# How far it is to be trusted


def uncertain(drift: str = "liquid") -> tuple[Moment, Track]:
    """A state whose parts are uncertain together, with a count that is correlated with them."""
    moment = drifting(0.002, 0.004)
    moment.drift = "held" if drift == "held" else "liquid"
    rng = np.random.default_rng(3)
    root = rng.normal(size=(4, 4)) * np.array([0.2, 8e-4, 2e-3, 3.0])[:, None]
    joint = root @ root.T  # T, slope, transient, count
    track = moment.bank.tracks[0]
    for i in range(3):
        for j in range(3):
            track.c[i][j] = float(joint[i, j])
    count = Count(LAW, 100.0, [float(joint[3, i]) for i in range(3)] + [0.0, 0.0], float(joint[3, 3]), 100.0)
    track.counts[1] = count
    return moment, track


def by_differences(moment: Moment, track: Track, answer: Callable[[Track], float]) -> float:
    """Variance of an answer by central differences in T, slope, transient and count, and their whole covariance."""
    steps = (1e-3, 1e-6, 1e-6, 1e-3)
    jacobian = []
    for i, step in enumerate(steps):
        values = []
        for sign in (1.0, -1.0):
            moved = track.copy()
            if i < 3:
                moved.x[i] += sign * step
            else:
                moved.counts[1].done += sign * step
            values.append(answer(moved))
        jacobian.append((values[0] - values[1]) / (2.0 * step))
    j = np.array(jacobian)
    count = track.counts[1]
    joint = np.zeros((4, 4))
    joint[:3, :3] = np.array(track.c)[:3, :3]
    joint[3, :3] = joint[:3, 3] = count.cov[:3]
    joint[3, 3] = count.var
    return float(j @ joint @ j)


@pytest.mark.parametrize(("drift", "ahead"), [("liquid", 5.0), ("liquid", 20.0), ("held", 20.0)])
def test_what_the_filter_is_unsure_of_makes_development_unsure(drift: str, ahead: float) -> None:
    """Variance of what was counted and of what will come, with all they have in common, to 7 %: the rate is taken at the middle."""
    moment, track = uncertain(drift)
    if drift == "held":  # its transient is a slope that stays and that the forecast does not know of
        track.x[TRANSIENT] = 0.0

    def answer(moved: Track) -> float:
        at = expected(moment, moved, None)
        more = development(LAW, (lambda h: at(h) + moved.x[TRANSIENT] * h) if drift == "held" else at, 0.0, ahead)
        return moved.counts[1].done + more

    ours = noise_variance(moment, track, 1, LAW, 0.0, ahead, expected(moment, track, None)(0.5 * ahead))
    wander = 0.0
    if drift == "liquid":
        celsius = expected(moment, track, None)(0.5 * ahead)
        wander = (rate(LAW, celsius) * LAW.log_rate_slope(celsius)) ** 2 * 2e-8 * ahead**5 / 20.0
    assert ours - wander == pytest.approx(by_differences(moment, track, answer), rel=0.07)


def test_a_slope_that_wanders_makes_the_future_unsure() -> None:
    """The integral of a liquid whose slope is a random walk of 2e-8 (C/s)^2 a second has variance q h^5/20 (in C s), to a percent."""
    moment = drifting()
    at_20 = LAW.log_rate_slope(20.0)
    assert noise_variance(moment, moment.bank.tracks[0], None, LAW, 0.0, 100.0, 20.0) == pytest.approx(at_20**2 * 2e-8 * 100.0**5 / 20.0)
    far = noise_variance(moment, moment.bank.tracks[0], None, LAW, 0.0, 3600.0, 20.0)
    assert far == pytest.approx(at_20**2 * 2e-8 * 1500.0**3 * 3600.0**2 / 20.0)
    moment.drift = "held"
    assert noise_variance(moment, moment.bank.tracks[0], None, LAW, 0.0, 100.0, 20.0) == 0.0


def test_an_unsure_slope_matters_until_it_has_faded() -> None:
    """Development of a slope that is unsure by 0.001 C/s: h^2/2 at first, then as far as it will lead."""
    moment = drifting()
    track = moment.bank.tracks[0]
    track.c[SLOPE][SLOPE] = 1e-6
    moment.drift = "vessel"
    k = LAW.log_rate_slope(20.0)
    for ahead, lever in ((600.0, 600.0**2 / 2.0), (4500.0, 1500.0 * (4500.0 - 750.0))):
        assert math.sqrt(noise_variance(moment, track, None, LAW, 0.0, ahead, 20.0)) == pytest.approx(k * 1e-3 * lever)


@pytest.mark.parametrize("ahead", [0.0, 2.0, 30.0])
@pytest.mark.parametrize("drift", ["liquid", "held", "vessel"])
def test_the_deviation_of_a_temperature_ahead_has_all_that_its_parts_have_in_common(drift: str, ahead: float) -> None:
    """F P F' of the liquid, by a transition made column by column."""
    watched = Watched()
    watched.settled(0, 10, 20.0)
    estimator, moment = watched.estimator, watched.replay.moment
    moment.drift = "liquid" if drift == "liquid" else "held" if drift == "held" else "vessel"
    moment.lag_s = 300.0 if drift == "vessel" else 8.0
    moment.ambient.read("bowl", 0.0, 20.0, 1e-3)
    moment.systematics = Systematics()
    watched.replay._mean = None
    _, track = uncertain()
    moment.bank.tracks[0] = track
    row = []
    for place in (T, SLOPE, TRANSIENT):
        unit = Track([0.0] * 5, [[0.0] * 5 for _ in range(5)], {})
        unit.predict(moment.step(ahead), QUIET)
        zero = unit.x[T]
        unit.x = [1.0 if i == place else 0.0 for i in range(5)]
        unit.predict(moment.step(ahead), QUIET)
        row.append(unit.x[T] - zero)
    f = np.array(row)
    assert estimator.temperature(moment.t + ahead).sd_c ** 2 == pytest.approx(float(f @ np.array(track.c)[:3, :3] @ f))


def test_the_deviation_of_an_end_is_that_of_development_over_the_rate_there() -> None:
    """At 24 C development runs 2.5^0.4 times as fast, and the end is known as much better."""
    watched = Watched()
    watched.estimator.begin(1, 0.0, LAW, 20.0)
    watched.settled(0, 120, 24.0)
    end = watched.estimator.end(1, 600.0, 119.0)
    done = watched.estimator.done(1, end.end_t_s)
    assert done.done_ref_s == pytest.approx(600.0, abs=0.05)
    assert end.sd_s == pytest.approx(done.sd_ref_s / rate(LAW, 24.0), rel=0.01)


# Errors that no filter sees


def modelled(
    *, probe_off_c: float = 0.0, bath_off_c: float = 0.0, lag_off_s: float = 0.0, per_10_c: float = 2.5
) -> tuple[Moment, Coefficient]:
    """Ten minutes with a probe, then ten by the vessel's lag of 300 s in a bath of 17 C, with these errors. The integral begins after
    five."""
    law = Coefficient(20.0, per_10_c, 0.1, (10.0, 30.0))
    moment = followed(22.0 + probe_off_c)
    moment.systematics.follow_probe("jug")
    moment.carry(600.0, [Key(1, 300.0, law)])
    moment.ambient.read("bowl", 600.0, 17.0 + bath_off_c, 1e-4)
    moment.follow(Segment(600.0, "vessel", "", 300.0 + lag_off_s), 0.0)
    moment.carry(1200.0, [])
    return moment, law


@pytest.mark.parametrize(("name", "step", "error"), [
    ("jug", 0.01, {"probe_off_c": 0.01}),
    ("bowl", 0.01, {"bath_off_c": 0.01}),
    (LAG, 1.0, {"lag_off_s": 1.0}),
])
def test_sensitivities_are_what_a_small_error_does(name: str, step: float, error: dict[str, float]) -> None:
    """Temperature and development with the error and without it, in a vessel that has lost its probe."""
    (right, _), (wrong, _) = modelled(), modelled(**error)
    off_c = wrong.bank.tracks[0].x[T] - right.bank.tracks[0].x[T]
    off_ref_s = wrong.bank.tracks[0].counts[1].done - right.bank.tracks[0].counts[1].done
    assert right.systematics.of_c[name] * step == pytest.approx(off_c, rel=0.02)
    of = right.systematics.of_ref_s[name] - right.bases[1].get(name, 0.0)
    assert of * step == pytest.approx(off_ref_s, rel=0.02)


def test_the_law_s_number_is_an_unknown_like_the_others() -> None:
    """One standard deviation of it, 0.1, moves development by its sensitivity."""
    (right, law), (wrong, _) = modelled(), modelled(per_10_c=2.51)
    of = right.systematics.of_ref_s[LAW_NUMBER] - right.bases[1].get(LAW_NUMBER, 0.0)
    off_ref_s = wrong.bank.tracks[0].counts[1].done - right.bank.tracks[0].counts[1].done
    assert law.sd == 0.1
    assert of * 0.1 == pytest.approx(off_ref_s, rel=0.04)


def test_a_probe_that_is_followed_brings_its_own_error_and_ends_the_others() -> None:
    """After the vessel model the developer's probe is back: bath and lag no longer matter."""
    moment, _ = modelled()
    assert len(moment.systematics.of_c) == 3
    moment.systematics.follow_probe("jug")
    assert moment.systematics.of_c == {"jug": 1.0}


def test_unknowns_add_in_quadrature_since_a_begin() -> None:
    """What came before the begin is not this integral's."""
    sds = {"jug": 0.3, "bowl": 0.2}
    assert variance({"jug": 10.0, "bowl": -5.0}, sds) == pytest.approx(9.0 + 1.0)
    assert variance({"jug": 10.0, "bowl": -5.0}, sds, {"jug": 4.0}) == pytest.approx(1.8**2 + 1.0)


def test_the_unknowns_of_a_station() -> None:
    """Each probe's comparison, the law (its sensitivity has its deviation in it already), the vessel's lag: as learned, and by a
    tenth for another volume and other hands; how firmly hands hold it."""
    sds = standard_deviations(Beliefs(20.0, (ProbeModel("jug", "developer", 8.0, 0.1),), Vessel(300.0, 12.0)))
    assert sds == {"jug": 0.1, LAG: pytest.approx(math.hypot(12.0, 30.0)), LAW_NUMBER: 1.0, HANDS: 0.4, "": 0.0}


def test_what_is_forecast_is_as_unsure_as_what_was_counted() -> None:
    """A steady probe of 0.29 C: 600 s counted and 300 s to come are as unsure as 900 s counted; before a begin only what is to come."""
    moment = followed(20.0)
    moment.systematics.follow_probe("jug")
    moment.carry(600.0, [Key(1, 0.0, LAW)])
    sds = {"jug": 0.29, LAW_NUMBER: 1.0}
    k = LAW.log_rate_slope(20.0)
    assert systematic_variance(moment, 1, LAW, sds, 300.0, 20.0) == pytest.approx((900.0 * k * 0.29) ** 2)
    assert systematic_variance(moment, None, LAW, sds, 300.0, 20.0) == pytest.approx((300.0 * k * 0.29) ** 2)


def test_sensitivities_add_up() -> None:
    """Two stretches at two temperatures."""
    of: dict[str, float] = {}
    add_to(of, {"jug": 1.0}, LAW, 22.0, 100.0)
    add_to(of, {"jug": 0.5}, LAW, 18.0, 60.0)
    parts = [(22.0, 100.0, 1.0), (18.0, 60.0, 0.5)]
    assert of["jug"] == pytest.approx(sum(rate(LAW, c) * LAW.log_rate_slope(c) * h * share for c, h, share in parts))
    assert of[LAW_NUMBER] == pytest.approx(sum(rate(LAW, c) * LAW.log_rate_sd_slope(c) * h for c, h, _ in parts))
