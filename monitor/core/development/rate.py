"""How fast development goes at a temperature, relative to a reference: r(T) with r(reference) = 1.

Three laws (the project's contract, section 2): a coefficient per 10 C, Arrhenius' law, and the person's own pairs of
temperature and time. Each carries the standard deviation of its own number, so that a time can say how far it is to be
trusted. Outside `valid_c` a law goes on, with three times the uncertainty; `BOUND_C` is where it stops being used at
all: beyond it r stays what it is at the bound. Times are seconds, temperatures Celsius; kelvin stays inside this file.

Source of the form: S. Arrhenius, Z. phys. Chem. 4 (1889) 226; coefficient as K(25 C)/K(15 C): C. E. K. Mees, Jahrbuch
fuer Photographie 25 (1911) 167. Assumption of every user of r: temperature only scales the rate (equal k t, equal result).
Tests: tests/core/development/test_rate.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Protocol

R_J_PER_MOL_K = 8.314462618
"""Molar gas constant, CODATA 2018, J/(mol K)."""
ZERO_C_K = 273.15
OUTSIDE_FACTOR = 3.0
"""Outside the valid range the law's uncertainty is this many times as large (contract, section 2)."""
BOUND_C = (0.0, 60.0)
"""Beyond these temperatures r is that of the bound. Water freezes below; no bath of this trade is above."""


class RateLaw(Protocol):
    """One law. Implementations are frozen values. `log_rate` is the natural logarithm of r; its slope is per C."""

    @property
    def reference_c(self) -> float:
        """Temperature where r is 1."""
        ...

    @property
    def valid_c(self) -> tuple[float, float]:
        """The data's range."""
        ...

    def log_rate(self, celsius: float) -> float:
        """ln r(T)."""
        ...

    def log_rate_slope(self, celsius: float) -> float:
        """d ln r / dT, per C."""
        ...

    def log_rate_sd_slope(self, celsius: float) -> float:
        """Signed change of ln r(T) for one standard deviation of the law's own number; 0 at the reference. Threefold outside `valid_c`."""
        ...


def rate(law: RateLaw, celsius: float) -> float:
    """r(T), above 0; 1 at the reference."""
    return math.exp(law.log_rate(celsius))


def believed_at(law: RateLaw, celsius: float) -> bool:
    """Whether the law's data cover this temperature (both ends included)."""
    low, high = law.valid_c
    return low <= celsius <= high


def planned_time(law: RateLaw, time_at_reference_s: float, celsius: float) -> float:
    """Seconds that a stage takes at one steady temperature."""
    return time_at_reference_s * math.exp(-law.log_rate(celsius))


def _bounded(celsius: float) -> float:
    low, high = BOUND_C
    return low if celsius < low else high if celsius > high else celsius


def _within_bound(celsius: float) -> bool:
    return BOUND_C[0] <= celsius <= BOUND_C[1]


def _widening(valid_c: tuple[float, float], celsius: float) -> float:
    return 1.0 if valid_c[0] <= celsius <= valid_c[1] else OUTSIDE_FACTOR


@dataclass(frozen=True, slots=True)
class Coefficient:
    """r = per_10_c ** ((T - reference)/10). `sd` is the standard deviation of per_10_c."""

    reference_c: float
    per_10_c: float
    sd: float
    valid_c: tuple[float, float]

    def log_rate(self, celsius: float) -> float:
        """ln r(T)."""
        return math.log(self.per_10_c) * (_bounded(celsius) - self.reference_c) / 10.0

    def log_rate_slope(self, celsius: float) -> float:
        """d ln r / dT, per C; 0 beyond the bound, where r stays."""
        return math.log(self.per_10_c) / 10.0 if _within_bound(celsius) else 0.0

    def log_rate_sd_slope(self, celsius: float) -> float:
        """d ln r / d(per_10_c) times sd."""
        return (_bounded(celsius) - self.reference_c) / 10.0 * self.sd / self.per_10_c * _widening(self.valid_c, celsius)


@dataclass(frozen=True, slots=True)
class Arrhenius:
    """r = exp(Ea/R (1/T_ref - 1/T)), kelvin. `sd_kj_mol` is the standard deviation of the energy."""

    reference_c: float
    activation_energy_kj_mol: float
    sd_kj_mol: float
    valid_c: tuple[float, float]

    def _per_kj(self, celsius: float) -> float:
        return 1000.0 / R_J_PER_MOL_K * (1.0 / (self.reference_c + ZERO_C_K) - 1.0 / (_bounded(celsius) + ZERO_C_K))

    def log_rate(self, celsius: float) -> float:
        """ln r(T)."""
        return self.activation_energy_kj_mol * self._per_kj(celsius)

    def log_rate_slope(self, celsius: float) -> float:
        """d ln r / dT, per C; 0 beyond the bound, where r stays."""
        if not _within_bound(celsius):
            return 0.0
        kelvin = celsius + ZERO_C_K
        return self.activation_energy_kj_mol * 1000.0 / R_J_PER_MOL_K / (kelvin * kelvin)

    def log_rate_sd_slope(self, celsius: float) -> float:
        """d ln r / dEa times sd."""
        return self._per_kj(celsius) * self.sd_kj_mol * _widening(self.valid_c, celsius)


@dataclass(frozen=True, slots=True)
class Pairs:
    """The person's own pairs: exact at each, straight in (1/T, ln time) between them, the end slope outside.

    `pairs` are (Celsius, seconds), rising in temperature and falling in time, one of them at the reference (the recipe
    reader refuses others). `sd_percent_per_c`: one standard deviation of the rate, in per cent per C of distance from the
    reference.
    """

    reference_c: float
    pairs: tuple[tuple[float, float], ...]
    sd_percent_per_c: float
    valid_c: tuple[float, float]

    _lines: tuple[tuple[float, float, float, float], ...] = field(init=False, repr=False, compare=False)
    """One a segment: its upper end in Celsius, its first pair's 1/kelvin and ln time, and d ln time / d(1/T) along it."""
    _log_reference_time: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        points = [(celsius, 1.0 / (celsius + ZERO_C_K), math.log(seconds)) for celsius, seconds in self.pairs]
        lines = [(c1, x0, y0, (y1 - y0) / (x1 - x0)) for (_, x0, y0), (c1, x1, y1) in pairwise(points)]
        object.__setattr__(self, "_lines", tuple(lines))
        object.__setattr__(self, "_log_reference_time", self._log_time(self.reference_c))

    def _line(self, celsius: float) -> tuple[float, float, float, float]:
        for line in self._lines:
            if celsius <= line[0]:
                return line
        return self._lines[-1]

    def _log_time(self, celsius: float) -> float:
        _, x0, y0, slope = self._line(celsius)
        return y0 + slope * (1.0 / (celsius + ZERO_C_K) - x0)

    def log_rate(self, celsius: float) -> float:
        """ln r(T)."""
        return self._log_reference_time - self._log_time(_bounded(celsius))

    def log_rate_slope(self, celsius: float) -> float:
        """d ln r / dT, per C; at a pair that of the colder side; 0 beyond the bound, where r stays."""
        if not _within_bound(celsius):
            return 0.0
        kelvin = celsius + ZERO_C_K
        return self._line(celsius)[3] / (kelvin * kelvin)

    def log_rate_sd_slope(self, celsius: float) -> float:
        """sd_percent_per_c times the distance from the reference."""
        return self.sd_percent_per_c / 100.0 * (_bounded(celsius) - self.reference_c) * _widening(self.valid_c, celsius)


@dataclass(frozen=True, slots=True)
class Fit:
    """Ordinary least squares of ln time on 1/T over pairs of (Celsius, seconds)."""

    activation_energy_kj_mol: float
    ln_time_at_infinite: float
    pairs: tuple[tuple[float, float, float], ...]  # Celsius, seconds, residual in per cent = 100 (given/fitted - 1)

    def time_s(self, celsius: float) -> float:
        """Fitted time at a temperature, seconds."""
        return math.exp(self.ln_time_at_infinite + self.activation_energy_kj_mol * 1000.0 / R_J_PER_MOL_K / (celsius + ZERO_C_K))

    @property
    def sd_kj_mol(self) -> float | None:
        """Standard error of the energy from the residuals; None with two pairs, which leave none."""
        if len(self.pairs) < 3:
            return None
        xs = [1.0 / (celsius + ZERO_C_K) for celsius, _, _ in self.pairs]
        mean_x = math.fsum(xs) / len(xs)
        squares = math.fsum(math.log1p(residual / 100.0) ** 2 for _, _, residual in self.pairs)
        slope_sd = math.sqrt(squares / (len(xs) - 2) / math.fsum((x - mean_x) ** 2 for x in xs))
        return slope_sd * R_J_PER_MOL_K / 1000.0

    @property
    def per_10_c(self) -> float:
        """Fitted rate at 25 C over that at 15 C (the definition of Mees 1911)."""
        return self.time_s(15.0) / self.time_s(25.0)

    @property
    def rms_percent(self) -> float:
        """Root mean square of the residuals."""
        return math.sqrt(sum(r * r for _, _, r in self.pairs) / len(self.pairs))

    @property
    def worst_percent(self) -> float:
        """The residual that is largest in size, with its sign."""
        return max((r for _, _, r in self.pairs), key=abs)


def fit(pairs: Sequence[tuple[float, float]]) -> Fit:
    """Fit (Celsius, seconds) pairs. Raises `ValueError` for fewer than two different temperatures or a time not above 0."""
    if len({c for c, _ in pairs}) < 2:
        raise ValueError("fewer than two different temperatures")
    if any(s <= 0 for _, s in pairs):
        raise ValueError("a time is not above zero")
    xs = [1.0 / (c + ZERO_C_K) for c, _ in pairs]
    ys = [math.log(s) for _, s in pairs]
    mean_x, mean_y = math.fsum(xs) / len(xs), math.fsum(ys) / len(ys)
    slope = math.fsum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / math.fsum((x - mean_x) ** 2 for x in xs)
    intercept = mean_y - slope * mean_x
    rows = tuple((c, s, 100.0 * (s / math.exp(intercept + slope * x) - 1.0)) for (c, s), x in zip(pairs, xs, strict=True))
    return Fit(slope * R_J_PER_MOL_K / 1000.0, intercept, rows)
