"""The integrals that sessions and reviews really use, against other trades' dose formulas and closed forms: same mathematics, other laws.

Each check runs through three of them: what a session counts (`Moment.carry`), what it forecasts (`forecast.development`) and what the
review sums up (`review.integrals`). An error of 0.3 % in any of the three fails every check of it, which is
tested too. A minute of a history (of concrete: an hour) is a minute of the session.
"""

from __future__ import annotations

import inspect
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from monitor.core.development.beliefs import Beliefs, ProbeModel
from monitor.core.development.estimator import Estimator
from monitor.core.development.filter import SLOPE, T
from monitor.core.development.forecast import development
from monitor.core.development.integral import simpson
from monitor.core.development.moment import Key, Moment, Segment
from monitor.core.development.rate import R_J_PER_MOL_K, ZERO_C_K, Arrhenius, RateLaw
from monitor.core.probes.readings import Reading
from monitor.review.integrals import integral, weights

UNIT_S = 60.0


@dataclass(frozen=True)
class Formula:
    """Another trade's rate, given as its natural logarithm. No bound of temperature applies to it."""

    log: Callable[[float], float]
    reference_c: float = 20.0
    valid_c: tuple[float, float] = (-300.0, 300.0)

    def log_rate(self, celsius: float) -> float:
        """ln r(T)."""
        return self.log(celsius)

    def log_rate_slope(self, celsius: float) -> float:
        """Numerically; only deviations use it."""
        return (self.log(celsius + 1e-4) - self.log(celsius - 1e-4)) / 2e-4

    def log_rate_sd_slope(self, celsius: float) -> float:
        """The formula is certain."""
        return 0.0


@dataclass(frozen=True)
class Piece:
    """A straight piece of a temperature history: from minute to minute, from Celsius to Celsius."""

    since: float
    until: float
    from_c: float
    to_c: float

    @property
    def slope(self) -> float:
        """C a second."""
        return (self.to_c - self.from_c) / ((self.until - self.since) * UNIT_S)


def steps(pieces: list[tuple[float, float]]) -> list[Piece]:
    """(duration, temperature) after each other."""
    made, t = [], 0.0
    for duration, celsius in pieces:
        made.append(Piece(t, t + duration, celsius, celsius))
        t += duration
    return made


def through(times: list[float], celsius: list[float]) -> list[Piece]:
    """Straight from point to point."""
    return [Piece(t0, t1, c0, c1) for (t0, c0), (t1, c1) in pairwise(zip(times, celsius, strict=True))]


def counted(law: RateLaw, pieces: list[Piece]) -> float:
    """As a session counts: the moment carried along the history, which is certain."""
    moment = Moment(0.0, pieces[0].from_c, 0.0, "probe")
    moment.follow(Segment(0.0, "liquid", "probe", 8.0), 0.0)
    moment.start(Key(1, 0.0, law))
    (track,) = moment.bank.tracks
    track.c = [[0.0] * 5 for _ in range(5)]
    for piece in pieces:
        track.x[T], track.x[SLOPE] = piece.from_c, piece.slope
        moment.carry(piece.until * UNIT_S, [])
    return track.counts[1].done / UNIT_S


def forecast(law: RateLaw, pieces: list[Piece]) -> float:
    """As a session forecasts, piece by piece."""
    total = 0.0
    for p in pieces:
        total += development(law, lambda ahead, p=p: p.from_c + p.slope * ahead, 0.0, (p.until - p.since) * UNIT_S)  # type: ignore[misc]
    return total / UNIT_S


def reviewed(law: RateLaw, pieces: list[Piece]) -> float:
    """As the review sums up a curve with a node a second, or a step with two nodes at once."""
    times, celsius = [], []
    for p in pieces:
        nodes = np.linspace(0.0, 1.0, 2 + int((p.until - p.since) * UNIT_S))
        times.append((p.since + nodes * (p.until - p.since)) * UNIT_S)
        celsius.append(p.from_c + nodes * (p.to_c - p.from_c))
    t = np.concatenate(times)
    return integral(law, np.concatenate(celsius), weights(t, t[0], t[-1]))[0] / UNIT_S


Integral = Callable[[RateLaw, list[Piece]], float]
every_integral = pytest.mark.parametrize("integrate", [counted, forecast, reviewed])
FINE = 1e-4
"""Relative: a node a second and straight lines between them; the other two integrals are better than 1e-6."""


@every_integral
@pytest.mark.parametrize(
    ("temps", "mean_kinetic_c"),
    [
        ([20, 25, 30], 25.858202),
        ([15, 20, 25, 30, 40], 29.901347),
        ([4, 4, 4, 4, 16], 8.108842),
        ([25, 25, 25, 25, 25, 25, 25, 37], 27.574503),
        ([21.5, 22.1, 23.0, 24.2, 25.1, 26.4, 27.0, 26.8, 25.5, 24.0, 22.7, 21.9], 24.3727),
    ],
)
def test_mean_kinetic_temperature(integrate: Integral, temps: list[float], mean_kinetic_c: float) -> None:
    """USP <1079.2> and ICH: 83.144 kJ/mol, TK = -10 000 K / ln mean exp(-10 000 K / T); the first four as pvdeg 0.7.4 gives them (run
    once, not installed here)."""
    law = Formula(lambda c: 10_000.0 * (1.0 / 293.15 - 1.0 / (c + ZERO_C_K)))
    mean = integrate(law, steps([(1.0, float(c)) for c in temps])) / len(temps)
    assert 1.0 / (1.0 / 293.15 - math.log(mean) / 10_000.0) - ZERO_C_K == pytest.approx(mean_kinetic_c, abs=2e-4)


@every_integral
@pytest.mark.parametrize(("reference_c", "hours"), [(20.0, 73.8345), (23.0, 62.1078)])
def test_equivalent_age_of_concrete(integrate: Integral, reference_c: float, hours: float) -> None:
    """ASTM C1074's form (Freiesleben Hansen and Pedersen), 5000 K and 273 as there; the history and the sum are our project's own (no
    published worked table could be read)."""
    law = Formula(lambda c: -5000.0 * (1.0 / (c + 273.0) - 1.0 / (reference_c + 273.0)))
    assert integrate(law, steps([(2, 20), (4, 30), (6, 40), (12, 25), (24, 15), (24, 10)])) == pytest.approx(hours, abs=1e-4)


def power(base: float, reference_c: float, per_c: float) -> Formula:
    """base ** ((T - reference) / per_c)."""
    return Formula(lambda c: math.log(base) * (c - reference_c) / per_c)


@every_integral
@pytest.mark.parametrize(("minutes", "celsius", "f0"), [(15.0, 121.11, 15.0), (15.0, 111.11, 1.5), (1.0, 110.0, 0.077446)])
def test_lethality_of_steady_heat(integrate: Integral, minutes: float, celsius: float, f0: float) -> None:
    """F0, z = 10 C: 15 min at 121.11 C are 15; at 111.11 C 1.5 (published); the rate at 110 C is 0.077 (published, dairy science text
    on thermal processes)."""
    assert integrate(power(10.0, 121.11, 10.0), steps([(minutes, celsius)])) == pytest.approx(f0, rel=1e-4)


@every_integral
def test_lethality_of_a_retort(integrate: Integral) -> None:
    """F0 over straight lines, each of which has a closed form."""
    profile = [60.0, 75, 88, 98, 105, 110, 114, 117, 119, 120, 120.5, 121, 121.1, 121.1, 121.1, 118, 110, 98, 85, 70, 55]
    exact = 0.0
    for a, b in pairwise(profile):
        la, lb = 10 ** ((a - 121.1) / 10), 10 ** ((b - 121.1) / 10)
        exact += 2.0 * (la if a == b else (lb - la) * 10 / (math.log(10) * (b - a)))
    ours = integrate(power(10.0, 121.1, 10.0), through([2.0 * i for i in range(len(profile))], profile))
    assert ours == pytest.approx(exact, rel=FINE)
    assert exact == pytest.approx(15.0104, rel=0.02)  # the trapezoid of the rates, whose error on two-minute steps this is


@every_integral
def test_pasteurisation_units(integrate: Integral) -> None:
    """Del Vecchio 1951: 1.393^(T - 60) a minute; 5 min at 60 C equal 0.5 min at 67 C in the form with z = 7 C (both published)."""
    one_minute = steps([(1.0, c) for c in (50.0, 55.0, 58.0, 60.0, 61.0, 62.0, 62.0, 61.0, 58.0, 52.0)])
    assert integrate(power(1.393, 60.0, 1.0), one_minute) == pytest.approx(8.9951, abs=1e-4)
    assert integrate(power(10.0, 60.0, 7.0), one_minute) == pytest.approx(8.9786, abs=1e-4)
    assert integrate(power(10.0, 60.0, 7.0), steps([(0.5, 67.0)])) == pytest.approx(5.0)


@every_integral
def test_thermal_dose(integrate: Integral) -> None:
    """CEM43 (S. A. Sapareto and W. C. Dewey, 1984): R = 0.5 from 43 C on, 0.25 below: 10 min at 44, 5 at 45, 20 at 42, 30 at 41 C are
    46.875 (constants from memory)."""
    law = Formula(lambda c: math.log(0.5 if c >= 43.0 else 0.25) * (43.0 - c))
    assert integrate(law, steps([(10, 44), (5, 45), (20, 42), (30, 41)])) == pytest.approx(46.875)


ENERGIES = pytest.mark.parametrize(
    ("energy_j", "ramp", "cooling", "two"),
    [
        (50_000.0, 10.0294784591, 11.0814414629, 10.0884672151),
        (60_000.0, 10.0432277437, 11.3201510088, 10.1297588872),
        (70_600.0, 10.0606721188, 11.5821249074, 10.1821760150),
    ],
)
"""Minutes at 20 C that equal ten minutes of: a ramp from 22 to 18 C; 19 C + 5 C exp(-t/6 min); five minutes at 22 C and five at 18 C."""


@ENERGIES
def test_the_closed_forms_are_right(energy_j: float, ramp: float, cooling: float, two: float) -> None:
    """The ramp is T exp(-E/T) - E E1(E/T) (scipy's E1), the cooling mpmath's quadrature, the plateaus by hand."""
    import mpmath
    from scipy.special import exp1

    e, ref = energy_j / R_J_PER_MOL_K, 20.0 + ZERO_C_K

    def antiderivative(celsius: float) -> float:
        kelvin = celsius + ZERO_C_K
        scale = e / ref
        return float(kelvin * math.exp(scale - e / kelvin) - e * math.exp(scale) * exp1(e / kelvin))

    assert 10.0 / 4.0 * (antiderivative(22.0) - antiderivative(18.0)) == pytest.approx(ramp, abs=1e-8)
    exact = mpmath.quad(lambda m: mpmath.exp(e * (1 / ref - 1 / (19 + 5 * mpmath.exp(-m / 6) + ZERO_C_K))), [0, 5, 10])
    assert float(exact) == pytest.approx(cooling, abs=1e-8)
    assert 5.0 * sum(math.exp(e * (1 / ref - 1 / (c + ZERO_C_K))) for c in (22.0, 18.0)) == pytest.approx(two, abs=1e-9)


@every_integral
@ENERGIES
def test_closed_forms_of_arrhenius(integrate: Integral, energy_j: float, ramp: float, cooling: float, two: float) -> None:
    """A ramp, a cooling in straight pieces of 0.3 s, two plateaus."""
    law = Arrhenius(20.0, energy_j / 1000.0, 5.0, (16.0, 24.0))
    minutes = [i / 200.0 for i in range(2001)]
    assert integrate(law, through([0.0, 10.0], [22.0, 18.0])) == pytest.approx(ramp, rel=1e-6)
    assert integrate(law, through(minutes, [19.0 + 5.0 * math.exp(-m / 6.0) for m in minutes])) == pytest.approx(cooling, rel=1e-6)
    assert integrate(law, steps([(5, 22), (5, 18)])) == pytest.approx(two, rel=1e-9)


def outside_checks() -> Iterator[tuple[Callable[..., None], dict[str, Any]]]:
    """Every check of this file that takes an integral, with each row of its other parameters."""
    for name, check in sorted(globals().items()):
        if name.startswith("test_") and "integrate" in inspect.signature(check).parameters:
            rows: list[dict[str, Any]] = [{}]
            for mark in check.pytestmark:
                names, values = mark.args
                if names != "integrate":
                    keys = [key.strip() for key in names.split(",")] if isinstance(names, str) else names
                    rows = [row | dict(zip(keys, value, strict=True)) for row in rows for value in values]
            yield from ((check, row) for row in rows)


CHECKS = list(outside_checks())


@pytest.mark.parametrize("factor", [0.997, 1.003])
@every_integral
def test_an_error_of_a_third_of_a_per_cent_fails_each_check(integrate: Integral, factor: float) -> None:
    """Three parts in a thousand too much or too little, whichever integral and whatever the history."""
    for check, row in CHECKS:
        with pytest.raises(AssertionError):
            check(integrate=lambda law, pieces: factor * integrate(law, pieces), **row)


def test_all_the_trades_are_among_the_outside_checks() -> None:
    """F0, pasteurisation units, CEM43, mean kinetic temperature, equivalent age and closed forms, with all their rows."""
    names = [check.__name__.removeprefix("test_") for check, _ in CHECKS]
    assert {name: names.count(name) for name in names} == {
        "closed_forms_of_arrhenius": 3, "equivalent_age_of_concrete": 2, "lethality_of_a_retort": 1, "lethality_of_steady_heat": 3,
        "mean_kinetic_temperature": 5, "pasteurisation_units": 1, "thermal_dose": 1,
    }  # fmt: skip


@ENERGIES
@pytest.mark.parametrize("which", ["ramp", "cooling"])
def test_a_whole_session_counts_and_ends_by_the_closed_form(energy_j: float, ramp: float, cooling: float, two: float, which: str) -> None:
    """A probe of 8 s in that liquid, read once a second with 0.02 C of noise: done after ten minutes to 0.1 %, and the end that was
    forecast a minute before to two seconds."""
    law, rng = Arrhenius(20.0, energy_j / 1000.0, 5.0, (16.0, 24.0)), random.Random(3)
    expected_s = 60.0 * (ramp if which == "ramp" else cooling)
    estimator = Estimator(Beliefs(20.0, (ProbeModel("jug", "developer", 8.0),)))
    estimator.begin(1, 0.0, law, 20.0)
    end_s = 0.0
    for t in range(601):
        shown_c = shown(t, which)
        value = round((shown_c + rng.gauss(0.0, 0.02)) * 16.0) / 16.0
        estimator.read(Reading(float(t), "jug", "developer", value, value, "good"))
        if t == 540:
            end_s = estimator.end(1, expected_s, 540.0).end_t_s
    assert estimator.done(1, 600.0).done_ref_s == pytest.approx(expected_s, rel=1e-3)
    assert end_s == pytest.approx(600.0, abs=2.0)


def shown(t_s: float, which: str) -> float:
    """What a probe with a lag of 8 s that was put in with the liquid shows (first-order lag, solved by hand)."""
    if which == "ramp":
        slope = -4.0 / 600.0
        return 22.0 + slope * (t_s - 8.0 * (1.0 - math.exp(-t_s / 8.0)))
    tau = 360.0
    return 19.0 + 5.0 * (tau * math.exp(-t_s / tau) - 8.0 * math.exp(-t_s / 8.0)) / (tau - 8.0)


def test_a_panel_is_simpsons_rule() -> None:
    """Exact for a cubic."""
    assert simpson(0.0, 0.125, 1.0, 1.0) == pytest.approx(0.25)
