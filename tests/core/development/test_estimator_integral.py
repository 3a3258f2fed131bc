"""The integrator of the estimator against other trades' dose formulas and closed forms: same mathematics, laws that are theirs.

Times in these trades are minutes or hours; the integrator does not mind.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import mpmath
import pytest
from scipy.special import exp1

from monitor.core.development.integral import integrate, simpson
from monitor.core.development.rate import R_J_PER_MOL_K, ZERO_C_K, Arrhenius, rate

Law = Callable[[float], float]


def equal_steps(temps: list[float], width: float = 1.0) -> tuple[list[float], list[float]]:
    """A history that holds each temperature for `width` and then steps."""
    times, shown = [], []
    for i, celsius in enumerate(temps):
        times += [i * width, (i + 1) * width]
        shown += [celsius, celsius]
    return times, shown


def steps(pieces: list[tuple[float, float]]) -> tuple[list[float], list[float]]:
    """A history of (duration, temperature)."""
    times, shown, t = [], [], 0.0
    for duration, celsius in pieces:
        times += [t, t + duration]
        shown += [celsius, celsius]
        t += duration
    return times, shown


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
def test_mean_kinetic_temperature(temps: list[float], mean_kinetic_c: float) -> None:
    """USP <1079.2> and ICH: 83.144 kJ/mol, TK = -10 000 K / ln mean exp(-10 000 K / T); the first four as pvdeg 0.7.4 gives them (run
    once, not installed here)."""
    times, shown = equal_steps([float(v) for v in temps])
    mean = integrate(lambda c: math.exp(-10_000.0 / (c + ZERO_C_K)), times, shown) / times[-1]
    assert -10_000.0 / math.log(mean) - ZERO_C_K == pytest.approx(mean_kinetic_c, abs=2e-4)


@pytest.mark.parametrize(("reference_c", "hours"), [(20.0, 73.8345), (23.0, 62.1078)])
def test_equivalent_age_of_concrete(reference_c: float, hours: float) -> None:
    """ASTM C1074's form (Freiesleben Hansen and Pedersen), 5000 K and 273 as there; the history and the sum are our project's own (no
    published worked table could be read)."""
    history = steps([(2, 20), (4, 30), (6, 40), (12, 25), (24, 15), (24, 10)])
    age = integrate(lambda c: math.exp(-5000.0 * (1.0 / (c + 273.0) - 1.0 / (reference_c + 273.0))), *history)
    assert age == pytest.approx(hours, abs=1e-4)


def test_lethality_of_heat() -> None:
    """F0, z = 10 C: 15 min at 121.11 C are 15; at 111.11 C 1.5 (published); the rate at 110 C is 0.077 (published, dairy science text
    on thermal processes)."""

    def lethal(celsius: float) -> float:
        return float(10.0 ** ((celsius - 121.11) / 10.0))

    assert integrate(lethal, [0, 15], [121.11, 121.11]) == pytest.approx(15.0)
    assert integrate(lethal, [0, 15], [111.11, 111.11]) == pytest.approx(1.5)
    assert integrate(lethal, [0, 1], [110.0, 110.0]) == pytest.approx(0.0774, abs=1e-4)
    profile = [60, 75, 88, 98, 105, 110, 114, 117, 119, 120, 120.5, 121, 121.1, 121.1, 121.1, 118, 110, 98, 85, 70, 55]
    exact = 0.0
    for a, b in pairwise(profile):
        la, lb = 10 ** ((a - 121.1) / 10), 10 ** ((b - 121.1) / 10)
        exact += 2.0 * (la if a == b else (lb - la) * 10 / (math.log(10) * (b - a)))
    ours = integrate(lambda c: float(10.0 ** ((c - 121.1) / 10.0)), [2.0 * i for i in range(len(profile))], [float(v) for v in profile])
    assert ours == pytest.approx(exact, rel=1e-6)
    assert ours == pytest.approx(15.0104, rel=0.02)  # the trapezoid of the rates, whose error on two-minute steps this is


def test_pasteurisation_units() -> None:
    """Del Vecchio 1951: 1.393^(T - 60) a minute; 5 min at 60 C equal 0.5 min at 67 C in the form with z = 7 C (both published)."""
    one_minute = equal_steps([50.0, 55.0, 58.0, 60.0, 61.0, 62.0, 62.0, 61.0, 58.0, 52.0])
    assert integrate(lambda c: float(1.393 ** (c - 60.0)), *one_minute) == pytest.approx(8.9951, abs=1e-4)
    assert integrate(lambda c: float(10.0 ** ((c - 60.0) / 7.0)), *one_minute) == pytest.approx(8.9786, abs=1e-4)
    assert integrate(lambda c: float(10.0 ** ((c - 60.0) / 7.0)), [0, 0.5], [67.0, 67.0]) == pytest.approx(5.0)


def test_thermal_dose() -> None:
    """CEM43 (S. A. Sapareto and W. C. Dewey, 1984): R = 0.5 from 43 C on, 0.25 below: 10 min at 44, 5 at 45, 20 at 42, 30 at 41 C are
    46.875 (constants from memory)."""

    def dose(celsius: float) -> float:
        return float((0.5 if celsius >= 43.0 else 0.25) ** (43.0 - celsius))

    assert integrate(dose, *steps([(10, 44), (5, 45), (20, 42), (30, 41)])) == pytest.approx(46.875)


@pytest.mark.parametrize(
    ("energy_j", "ramp", "cooling", "two"),
    [
        (50_000.0, 10.0294784591, 11.0814414629, 10.0884672151),
        (60_000.0, 10.0432277437, 11.3201510088, 10.1297588872),
        (70_600.0, 10.0606721188, 11.5821249074, 10.1821760150),
    ],
)
def test_closed_forms_of_arrhenius(energy_j: float, ramp: float, cooling: float, two: float) -> None:
    """A ramp 22 to 18 C has the closed form T exp(-E/T) - E E1(E/T) (scipy's E1); cooling is checked by mpmath's quadrature; two
    plateaus by hand."""
    law = Arrhenius(20.0, energy_j / 1000.0, 5.0, (16.0, 24.0))
    e, ref = energy_j / R_J_PER_MOL_K, 20.0 + ZERO_C_K

    def antiderivative(celsius: float) -> float:
        kelvin = celsius + ZERO_C_K
        scale = e / ref
        return float(kelvin * math.exp(scale - e / kelvin) - e * math.exp(scale) * exp1(e / kelvin))

    closed = 10.0 / 4.0 * (antiderivative(22.0) - antiderivative(18.0))
    assert closed == pytest.approx(ramp, abs=1e-8)
    assert integrate(lambda c: rate(law, c), [0.0, 10.0], [22.0, 18.0]) == pytest.approx(closed, abs=1e-9)

    minutes = [i / 200.0 for i in range(2001)]
    cooled = [19.0 + 5.0 * math.exp(-m / 6.0) for m in minutes]
    exact = mpmath.quad(lambda m: mpmath.exp(e * (1 / ref - 1 / (19 + 5 * mpmath.exp(-m / 6) + ZERO_C_K))), [0, 5, 10])
    assert float(exact) == pytest.approx(cooling, abs=1e-8)
    assert integrate(lambda c: rate(law, c), minutes, cooled) == pytest.approx(cooling, abs=1e-6)
    assert integrate(lambda c: rate(law, c), *steps([(5, 22), (5, 18)])) == pytest.approx(two, abs=1e-9)


def test_a_panel_is_simpsons_rule() -> None:
    """Exact for a cubic."""
    assert simpson(0.0, 0.125, 1.0, 1.0) == pytest.approx(0.25)


def test_a_history_that_goes_back_is_refused() -> None:
    """Times must rise; lengths must agree."""
    with pytest.raises(ValueError, match="times that rise"):
        integrate(lambda c: 1.0, [0.0, 2.0, 1.0], [20.0, 20.0, 20.0])
    with pytest.raises(ValueError, match="as many"):
        integrate(lambda c: 1.0, [0.0, 2.0], [20.0])
